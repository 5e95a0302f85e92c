# Boots the logger on the bench board and prints what it takes of the heap. The last word on the command line is
# "locked" to forbid all allocation while it flies.
#
# Garbage is collected only here, at module level: the WebAssembly interpreter's collector does not see every
# local variable of an active function.

import gc
import sys

gc.disable()
from onboard.firmware.settings import Settings  # noqa: E402

gc.collect()
from onboard.firmware.logger import Logger  # noqa: E402

gc.collect()
print("without", gc.mem_free())
import bench_board  # noqa: E402

gc.collect()
print("loaded", gc.mem_free())
board = bench_board.Board()
parity = sys.argv[2] if len(sys.argv) > 2 and sys.argv[2].startswith("[") else "[16, 10]"
logger = Logger(Settings(bench_board.SETTINGS.replace("[16, 10]", parity)), board)
del Settings  # what holds it holds its module, which only the boot needs
gc.collect()
boot = logger.boot()
while next(boot, None):
    gc.collect()
del boot
print("booted", gc.mem_free())
gc.collect()
print("free", gc.mem_free())
for _ in range(4):
    bench_board.run(logger, board, 5)
    gc.collect()
blocks = 0
allocated = 0
for _ in range(80):
    gc.collect()
    before = gc.mem_alloc()
    writes = board.card.writes
    if sys.argv[-1] == "locked":
        bench_board.run_locked(logger, board, 5)
    else:
        bench_board.run(logger, board, 5)
    blocks += board.card.writes - writes
    allocated += gc.mem_alloc() - before
print("allocated", allocated)
print("blocks", blocks)
