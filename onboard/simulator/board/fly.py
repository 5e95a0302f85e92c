# Flies a prepared folder on MicroPython: the last word of the command line is the folder.
#
# The loop stands at module level, and garbage is collected only here, between two steps: the WebAssembly
# interpreter's collector does not see every local variable of an active function.

import gc
import sys

gc.disable()
from onboard.firmware.logger import Logger
from onboard.firmware.settings import FILE_NAME, load
from onboard.simulator.board.virtual import POWER_ON, VirtualBoard
from protocol.constant import const

_COLLECT_BELOW = const(12000)  # bytes of free heap
_LOOK_EVERY = const(100)  # steps between two looks at the heap: counting it takes longer than a step

folder = sys.argv[-1]
start = (0, POWER_ON)
least = gc.mem_free()
shown = -1
while start:
    board = VirtualBoard(folder, start=start)
    gc.collect()
    logger = Logger(load(folder + "/" + FILE_NAME), board)
    boot = logger.boot()
    while next(boot, None):
        gc.collect()
    boot = None  # what holds it holds the module that only the boot needs
    print("heap", gc.mem_free())
    steps = 0
    while board.is_running():
        logger.step()
        steps += 1
        if steps == _LOOK_EVERY:
            steps = 0
            free = gc.mem_free()
            if free < least:
                least = free
            if free < _COLLECT_BELOW:
                gc.collect()
            if board.permille() != shown:
                shown = board.permille()
                print("flown", shown)
    start = board.restart()
    if not start:
        logger.finish()  # otherwise the supply is gone, and with it what the memory holds
    board.card.close()
    board = logger = boot = None
    gc.collect()
print("least heap", least)
print("done")
