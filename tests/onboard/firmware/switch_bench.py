# Boots the logger with switches on the bench board and lets it fly with the heap locked: any allocation ends it.
# Runs on MicroPython; test_switch_memory.py reads what it prints.

import gc

gc.disable()
import bench_board  # noqa: E402
from onboard.firmware.logger import Logger  # noqa: E402
from onboard.firmware.settings import Settings  # noqa: E402

gc.collect()
SWITCHES = """, "switches": [
{"pin": 15, "inverted": 0, "without_data": 1, "phases": [0, 1, 2], "after_s": 2, "until_landed_s": 60,
"conditions": [["height", 1000, 980, -1000, 100000], ["battery", 20000, 19000, 1, 65534]], "blink": [0, 0]},
{"pin": 12, "inverted": 1, "without_data": 0, "phases": [0, 1, 2, 3], "after_s": 0,
"conditions": [["outside", 30000, 31000, 1, 65534], ["board", 4000, 5000, -32767, 32766]], "blink": [0, 0]},
{"pin": 13, "inverted": 0, "without_data": 0, "phases": [0, 1, 2, 3], "after_s": 5, "conditions": [],
"blink": [200, 1000]}]}"""


class Output:
    levels = 0

    def value(self, level):
        Output.levels += 1


class Board(bench_board.Board):
    def output(self, pin, level):
        return Output()


board = Board()
settings = Settings(bench_board.SETTINGS[:-1] + SWITCHES)
gc.collect()
before = gc.mem_free()
logger = Logger(settings, board)
boot = logger.boot()
while next(boot, None):
    gc.collect()
del settings, boot, Settings
gc.collect()
print("free", gc.mem_free())
for _ in range(4):
    bench_board.run(logger, board, 5)
    gc.collect()
for _ in range(40):
    gc.collect()
    bench_board.run_locked(logger, board, 5)
print("levels", Output.levels)
