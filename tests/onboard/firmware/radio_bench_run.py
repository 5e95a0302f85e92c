# Boots the logger with a downlink and a receiver that takes commands on the bench board, flies, and prints what
# it takes of the heap. The last word on the command line is "locked" to forbid all allocation while it flies.
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
import bench_board  # noqa: E402

gc.collect()


class Port:
    # Counts what is sent, and keeps nothing.
    def __init__(self):
        self.bytes = 0
        self.packets = 0

    def write(self, buffer, offset, count):
        if offset == 0:
            self.packets += 1
        self.bytes += count
        return count


class Line(bench_board.Line):
    # Answers every message with UBX-ACK-ACK for UBX-CFG-NAV5.
    ANSWER = b"\xb5\x62\x05\x01\x02\x00\x06\x24\x32\x5b"
    asked = 0
    left = 0

    def write(self, buffer):
        self.asked += 1
        self.left = 10
        return len(buffer)

    def any(self):
        return self.left or bench_board.Line.any(self)

    def readinto(self, buffer, count):
        if not self.left:
            return bench_board.Line.readinto(self, buffer, count)
        buffer[0] = self.ANSWER[10 - self.left]
        self.left -= 1
        return 1


board = bench_board.Board()
board.uart = Line(board)
board.downlink = Port()
text = bench_board.SETTINGS[:-1] + """, "gnss": {"model": 8}, "downlink": {"baud": 9600, "period_s": 2,
"landed_s": 1, "low_battery_counts": 20000, "low_battery_s": 3, "duty_permille": 100}}"""
settings = Settings(text)
gc.collect()
logger = Logger(settings, board)
boot = logger.boot()
while next(boot, None):
    gc.collect()
del Settings, settings, boot
gc.collect()
print("free", gc.mem_free())
for _ in range(4):
    bench_board.run(logger, board, 5)
    gc.collect()
print("asked", board.uart.asked)
blocks = board.card.writes
packets = board.downlink.packets
allocated = 0
for _ in range(40):
    gc.collect()
    before = gc.mem_alloc()
    if sys.argv[-1] == "locked":
        bench_board.run_locked(logger, board, 5)
    else:
        bench_board.run(logger, board, 5)
    allocated += gc.mem_alloc() - before
print("allocated", allocated)
print("blocks", board.card.writes - blocks)
print("packets", board.downlink.packets - packets)
print("bytes", board.downlink.bytes)
