# Flies a few faults and prints for each how many blocks stand on the card in the end and their CRC-32. Runs
# on CPython and MicroPython; test_fault_bytes.py compares.
#
# Garbage is collected only here, at module level: the WebAssembly interpreter's collector does not see every
# local variable of an active function.

import gc
from binascii import crc32

gc.disable()
from fault_board import Board, Hits, boot, fly  # noqa: E402
from fault_card import Card  # noqa: E402
from protocol.tick import TICK_PERIOD  # noqa: E402


def height_m(second):
    return 100 if second < 20 else 100 + 8 * (second - 20)


def fly_on(card, faults, until_s, start_tick=0):
    # faults: (second, function of board and card)
    board = Board(card, height_m, start_tick)
    logger = None
    for second, fault in faults:
        if second:
            logger = logger or boot(board)
            fly(logger, board, second)
        fault(board, card)
    logger = logger or boot(board)
    fly(logger, board, until_s)
    logger.finish()


def show(name, card):
    crc = 0
    for place in sorted(card.log):
        crc = crc32(card.log[place], crc)
    print(name, len(card.log), crc)


def noisy(board, card):
    board.uart.says = Hits(board.has_fix, 7, 1311)


def refuse(board, card):
    card.refuses = lambda number: True


def take_again(board, card):
    card.refuses = None


card = Card()
fly_on(card, [(0, lambda board, card: board.humidity.fail())], 40)
show("humidity", card)
gc.collect()
card = Card()
fly_on(card, [(0, noisy)], 60)
show("noise", card)
gc.collect()
card = Card()
fly_on(card, [(20, refuse), (42, take_again)], 60)
show("refusal", card)
gc.collect()
# All of it, a barometer that comes late, a clock that wraps and a reset.
card = Card()
fly_on(card, [
    (0, lambda board, card: board.barometer.fail()), (0, noisy),
    (5, lambda board, card: board.barometer.come_back()),
    (8, lambda board, card: board.motion.come_back()), (10, refuse), (15, take_again),
], 40, TICK_PERIOD - 9000)
gc.collect()
fly_on(card, [(0, noisy)], 20)
show("all", card)
