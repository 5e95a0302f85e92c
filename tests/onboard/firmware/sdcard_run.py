# Runs all checks of the SD card driver and prints for each its name and "ok", or what is wrong; see
# driver_run.py.

import gc

gc.disable()
from sdcard_checks import CHECKS  # noqa: E402


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
