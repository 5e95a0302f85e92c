# Flies the short flight with switches, with a reset after the landing, and prints what the outputs did and the
# CRC-32 of the log. Runs on CPython and MicroPython; test_switch_flight.py compares.
#
# Garbage is collected only here, at module level: the WebAssembly interpreter's collector does not see every
# local variable of an active function.

import gc
from binascii import crc32

gc.disable()
from fault_board import boot, fly  # noqa: E402
from fault_card import Card  # noqa: E402
from switch_board import SwitchBoard, settings  # noqa: E402


def show(board):
    for pin in sorted(board.pins):
        print(pin, board.pins[pin].changes)


card = Card()
board = SwitchBoard(card)
logger = boot(board, settings())
for second in range(20, 200, 20):
    fly(logger, board, second)
    gc.collect()
show(board)
board = SwitchBoard(card, lambda second: 100)
logger = boot(board, settings())
gc.collect()
fly(logger, board, 30)
logger.finish()
show(board)
crc = 0
for place in sorted(card.log):
    crc = crc32(card.log[place], crc)
print("log", len(card.log), crc)
