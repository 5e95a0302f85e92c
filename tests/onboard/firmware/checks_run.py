# Runs the checks of the modules named on the command line; prints for each its name and "ok", or what is wrong.
#
# Garbage is collected only here, at module level, and nothing is kept but in the module's own names: the
# WebAssembly interpreter's collector does not see every local variable of an active function, nor what a loop
# or a try holds.

import gc
import sys

gc.disable()
CHECKS = {}


def load(module):
    CHECKS.update(__import__(module).CHECKS)


def outcome(name):
    try:
        CHECKS[name]()
        return "ok"
    except Exception as error:  # one failure must not hide the others
        return repr(error)


modules = sys.argv[1:]
while modules:
    load(modules.pop())
    gc.collect()
names = sorted(CHECKS)
while names:
    print(names[-1], outcome(names.pop()))
    gc.collect()
