# What the board runs when it gets power: loads the configuration, boots the logger and runs it for ever.
#
# The loop stands at module level and garbage is collected only there, at an idle moment that is chosen, never
# in the middle of a sample. The module level itself stays small, because the WebAssembly interpreter's
# collector does not see everything that a larger active frame holds. The watchdog is fed only while the
# logger is healthy; whatever else happens ends in a reset and a new boot of the same flight.

import gc

gc.disable()
import sys
import time

import machine

from onboard.firmware.hardware import WATCHDOG_MS, Board
from onboard.firmware.logfile import make_log
from onboard.firmware.logger import Logger
from onboard.firmware.settings import FILE_NAME, load
from protocol.constant import const
from protocol.tick import tick_difference

_COLLECT_MS = const(10000)  # how often garbage is collected
_IDLE_MS = const(10)  # how long the logger must have had nothing to do before
_COLLECT_AT_LAST_MS = const(30000)  # never idle: then whenever it comes
_BLOCKS_AN_HOUR = const(2400)  # with parity, at the usual rates
_LITTLE_ROOM = const(9600)
_FEEDS = const(900)  # of the watchdog after a stop from the console, every two seconds

watchdog = machine.WDT(timeout=WATCHDOG_MS)
board = None
logger = None
timer = None
fed = 0
collected = 0  # tick of the last collection
has_failed = False


def say(text):
    """Print a line on the console."""
    print("loftbook: " + text)


def start():
    """Load, open and boot everything, in steps that yield True."""
    global board, logger
    settings = load(FILE_NAME)
    yield True
    board = Board(settings, watchdog)
    board.card.on_transfer = board.feed  # a large card takes a while
    gc.enable()  # on the bench, where nothing is sampled yet
    try:
        make_log(board.card, say)
    except OSError as error:
        say("the card cannot be used yet: " + repr(error))
    gc.disable()
    yield True
    logger = Logger(settings, board)
    for _ in logger.boot():
        board.feed()
        yield True
    board.card.on_transfer = None
    say(settings.payload + ", flight " + "".join("{:02x}".format(b) for b in settings.flight) + " is logging")
    room = logger.store.room()
    if logger.card_error is not None:
        say("but not onto the card: " + str(logger.card_error))
    elif room < _LITTLE_ROOM:
        say("but the log on the card is nearly full: use a card without an old log")
    else:
        say("room for " + str(room // 2048) + " MB, about " + str(room // _BLOCKS_AN_HOUR) + " hours")


def is_starting():
    """Do a step of the start. False when it is over."""
    try:
        return next(starting, False)
    except Exception as error:
        say("cannot start: " + repr(error) + "; check " + FILE_NAME + " and deploy again. Reset follows")
        sys.print_exception(error)
        while True:  # until the watchdog bites
            time.sleep_ms(100)


def step():
    """Let the logger do a step."""
    global has_failed
    try:
        logger.step()
        if logger.is_healthy():
            board.feed()
    except Exception as error:  # not fed: if this goes on, the watchdog makes a new start
        if not has_failed:
            has_failed = True
            say(repr(error))


def wants_collection():
    """Whether now is the time to collect garbage."""
    global collected
    now = board.ticks_ms()
    since = tick_difference(now, collected)
    if since < _COLLECT_MS or (logger.idle_ms < _IDLE_MS and since < _COLLECT_AT_LAST_MS):
        return False
    collected = now
    return True


def feed_a_while(_):
    """Feed the watchdog, so many times and no more."""
    global fed
    fed += 1
    if fed < _FEEDS:
        watchdog.feed()


def keep_awake():
    """Feed the watchdog in the background: whoever stopped the logger wants the console. But a board that was
    forgotten like that must not fly without a log.
    """
    global timer
    timer = machine.Timer(0 if sys.platform == "esp32" else -1)
    timer.init(period=WATCHDOG_MS // 4, mode=machine.Timer.PERIODIC, callback=feed_a_while)
    say("stopped from the console; nothing is logged until a reset, which comes by itself in half an hour")


starting = start()
try:
    while is_starting():
        gc.collect()
    gc.collect()
    collected = board.ticks_ms()
    while True:
        step()
        if wants_collection():
            gc.collect()
except KeyboardInterrupt:
    gc.enable()
    keep_awake()
