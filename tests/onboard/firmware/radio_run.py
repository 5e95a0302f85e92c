# Runs all checks of receiver and downlink and prints for each its name and "ok", or what is wrong.
#
# Garbage is collected only here, at module level, and nothing is kept but in the module's own names: the
# WebAssembly interpreter's collector does not see every local variable of an active function, nor what a loop or
# a try holds.

import gc

gc.disable()
import downlink_checks  # noqa: E402
import receiver_checks  # noqa: E402

CHECKS = dict(receiver_checks.CHECKS)
CHECKS.update(downlink_checks.CHECKS)


def outcome(name):
    try:
        CHECKS[name]()
        return "ok"
    except Exception as error:  # one failure must not hide the others
        return repr(error)


names = sorted(CHECKS)
while names:
    print(names[-1], outcome(names.pop()))
    gc.collect()
