# Flies a folder with a periodic tape on MicroPython and tells what the heap holds again and again; words of
# the command line: the folder, the tick at power-on.
#
# Garbage is collected only here, at module level: the WebAssembly interpreter's collector does not see every
# local variable of an active function.

import gc
import json
import sys

gc.disable()
from endurance_tape import PeriodicTape, Plan  # noqa: E402
from onboard.firmware.logger import Logger  # noqa: E402
from onboard.firmware.settings import FILE_NAME, load  # noqa: E402
from onboard.simulator.board.clock import Clock  # noqa: E402
from onboard.simulator.board.tape import Tape  # noqa: E402
from onboard.simulator.board.virtual import VirtualBoard  # noqa: E402
from protocol.constant import const  # noqa: E402

_COLLECT_BELOW = const(12000)  # bytes of free heap
_LOOK_EVERY = const(100)  # steps between two looks at the heap: counting it takes longer than a step
_TELL_MS = const(60000)

folder = sys.argv[-2]
with open(folder + "/endurance.json") as file:
    plan = Plan(json.load(file))
tape = PeriodicTape(Tape(folder), plan)
clock = Clock(tape.drift_ppm, 0, int(sys.argv[-1]))
board = VirtualBoard(folder, tape, clock)
gc.collect()
logger = Logger(load(folder + "/" + FILE_NAME), board)
boot = logger.boot()
while next(boot, None):
    gc.collect()
boot = None
tell_ms = 0
steps = 0
while board.is_running():
    logger.step()
    steps += 1
    if steps == _LOOK_EVERY:
        steps = 0
        if gc.mem_free() < _COLLECT_BELOW:
            gc.collect()
        if clock.world_ms() >= tell_ms:
            tell_ms += _TELL_MS
            gc.collect()
            print("held", clock.world_ms(), gc.mem_alloc())
logger.finish()
board.card.close()
print("done")
