# The board's clock: milliseconds since its boot, modulo TICK_PERIOD (6.2 days).
#
# The period is half of what a 31-bit small integer holds, so that differences need no big
# integers on a 32-bit board and every interpreter computes the same ones.

from protocol.constant import const

TICK_PERIOD = 1 << 29
TICK_MASK = TICK_PERIOD - 1
_MASK = const((1 << 29) - 1)
_HALF = const(1 << 28)


def tick_difference(later, earlier):
    """Milliseconds from earlier to later, in -2**28 .. 2**28-1; negative if later comes first."""
    return ((later - earlier + _HALF) & _MASK) - _HALF


def tick_add(tick, milliseconds):
    """The tick so many milliseconds after (or, if negative, before) a tick."""
    return (tick + milliseconds) & _MASK
