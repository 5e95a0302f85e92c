# Flies a part of a prepared folder on MicroPython and tells the time again and again; words of the command
# line: the folder, the tape's time in ms at power-on, the one at the end, the tick at power-on, the crystal's
# drift in ppm. There is no orderly end: the power goes.
#
# Garbage is collected only here, at module level: the WebAssembly interpreter's collector does not see every
# local variable of an active function.

import gc
import sys

gc.disable()
from onboard.firmware.logger import Logger  # noqa: E402
from onboard.firmware.settings import FILE_NAME, load  # noqa: E402
from onboard.simulator.board.clock import Clock  # noqa: E402
from onboard.simulator.board.virtual import VirtualBoard  # noqa: E402
from protocol.constant import const  # noqa: E402

_COLLECT_BELOW = const(12000)  # bytes of free heap
_MARK_MS = const(20)

folder = sys.argv[-5]
world_ms = int(sys.argv[-4])
until_ms = int(sys.argv[-3])
clock = Clock(int(sys.argv[-1]), world_ms, int(sys.argv[-2]))
board = VirtualBoard(folder, None, clock)
gc.collect()
logger = Logger(load(folder + "/" + FILE_NAME), board)
boot = logger.boot()
print("at", clock.world_ms(), clock.tick())
while next(boot, None):
    gc.collect()
    print("at", clock.world_ms(), clock.tick())
print("booted")
while world_ms < until_ms:
    logger.step()
    if clock.world_ms() - world_ms >= _MARK_MS:
        world_ms = clock.world_ms()
        print("at", world_ms, clock.tick())
        if gc.mem_free() < _COLLECT_BELOW:
            gc.collect()
print("done")
