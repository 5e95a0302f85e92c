# As onboard/simulator/board/deployed.py, with a card that takes 450 ms for every block. Says the time in s at
# power-on and when the log file is there.

import gc

gc.disable()
import sys

from onboard.simulator.board import machine_shim

machine_shim.set_up(sys.argv[1:])
bench = machine_shim._Bench
bench.card.busy_ms = 450
print("power-on", bench.clock.world_ms() // 1000)
sleep_ms = sys.modules["time"].sleep_ms


def sleep_and_tell(milliseconds):
    sys.modules["time"].sleep_ms = sleep_ms
    print("logs", bench.clock.world_ms() // 1000)
    bench.card.busy_ms = 2
    sleep_ms(milliseconds)


sys.modules["time"].sleep_ms = sleep_and_tell
gc.collect()
import main  # noqa: E402, F401
