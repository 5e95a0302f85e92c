# Runs a deployed folder, unchanged, against the virtual board: deployed.py DEPLOYED FLIGHT [SECONDS].
#
# DEPLOYED: what `loftbook deploy --to-folder` made; FLIGHT: a prepared folder with tape, board.json and card.
# Nothing else stands at this level: see main.py.

import gc

gc.disable()
import sys

from onboard.simulator.board import machine_shim

machine_shim.set_up(sys.argv[1:])
gc.collect()
import main  # noqa: E402, F401
