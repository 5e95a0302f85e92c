# As onboard/simulator/board/deployed.py, and the card is out of its socket from 20 s to 35 s.

import gc

gc.disable()
import sys

from onboard.simulator.board import machine_shim

PULLED_MS, BACK_MS = 20000, 35000
machine_shim.set_up(sys.argv[1:])
sleep_ms = sys.modules["time"].sleep_ms
bench = machine_shim._Bench
is_in = True


def sleep_and_look(milliseconds):
    global is_in
    wanted = not PULLED_MS <= bench.clock.world_ms() < BACK_MS
    if wanted != is_in:
        is_in = wanted
        if is_in:
            bench.card.insert()
        else:
            bench.card.pull()
    sleep_ms(milliseconds)


sys.modules["time"].sleep_ms = sleep_and_look
gc.collect()
import main  # noqa: E402, F401
