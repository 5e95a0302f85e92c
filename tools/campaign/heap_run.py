# Flies the logger on the tests' bench board and prints how little of the heap was ever free; the last word of the
# command line: for how many seconds. Garbage is collected here, at module level, every second of flight as main.py
# does in an idle moment.

import gc
import sys

gc.disable()
from onboard.firmware.settings import Settings  # noqa: E402

gc.collect()
from onboard.firmware.logger import Logger  # noqa: E402

gc.collect()
import bench_board  # noqa: E402

gc.collect()
board = bench_board.Board()
logger = Logger(Settings(bench_board.SETTINGS), board)
del Settings
gc.collect()
least = gc.mem_free()
boot = logger.boot()
while next(boot, None):
    least = min(least, gc.mem_free())
    gc.collect()
del boot
print("least in the boot", least)
least = gc.mem_free()
for _ in range(int(sys.argv[-1])):
    bench_board.run(logger, board, 1)
    least = min(least, gc.mem_free())
    gc.collect()
print("least in flight", least)
print("free at the end", gc.mem_free())
print("blocks", board.card.writes)
