# As onboard/simulator/board/deployed.py, and somebody presses Ctrl-C at the console after 5 s and leaves it
# alone for longer than half an hour.

import gc

gc.disable()
import sys

from onboard.simulator.board import machine_shim

STOPPED_MS = 5000
machine_shim.set_up(sys.argv[1:])
sleep_ms = sys.modules["time"].sleep_ms
bench = machine_shim._Bench


def sleep_or_stop(milliseconds):
    if bench.clock.world_ms() >= STOPPED_MS:
        raise KeyboardInterrupt
    sleep_ms(milliseconds)


sys.modules["time"].sleep_ms = sleep_or_stop
gc.collect()
import main  # noqa: E402

main.timer.run(60000)
print("done")
main.timer.run(1720000)
print("awake for", 60000 + 1720000)
main.timer.run(60000)
print("awake for ever")
