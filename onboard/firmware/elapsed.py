# How long the flight has been in its phase, from the log on the card: a reset must not make a switch forget
# what time it is. Loaded at a boot in flight only, and let go after it.

from struct import unpack_from

from protocol.block import BLOCK_FLIGHT, BLOCK_HEADER, BLOCK_HEADER_FIELDS, FLAG_PARITY
from protocol.constant import const
from protocol.tick import tick_difference

_FLAGS = BLOCK_HEADER_FIELDS.index("flags")
_BOOT = BLOCK_HEADER_FIELDS.index("boot")
_TICK = BLOCK_HEADER_FIELDS.index("tick")
_PHASE = BLOCK_HEADER_FIELDS.index("phase")
_LOOK_BACK = const(70)  # sectors: parity, at most 64 in a row, says nothing of the phase
_BOOTS = const(8)  # so many boots back

# A mark is (index of a block of records, boot, phase, tick), or None.


def _mark(region, flight, index):
    # The newest whole block of records at this index or a little before it.
    for at in range(index, max(index - _LOOK_BACK, -1), -1):
        block = region.whole_block(at, BLOCK_FLIGHT, flight)
        if block is not None:
            header = unpack_from(BLOCK_HEADER, block, 0)
            if not header[_FLAGS] & FLAG_PARITY:
                return at, header[_BOOT], header[_PHASE], header[_TICK]
    return None


def _is_same(mark, other):
    return mark is not None and mark[1] == other[1] and mark[2] == other[2]


def _first(region, flight, mark):
    # The first block of the mark's boot and phase: ever larger strides back, then a binary search.
    step = 1
    earlier = mark
    while _is_same(earlier, mark):
        first = earlier
        low = first[0] - step
        earlier = _mark(region, flight, low)
        step *= 2
    while first[0] - low > 1:
        middle = (first[0] + low) // 2
        earlier = _mark(region, flight, middle)
        if _is_same(earlier, mark):
            first = earlier
        else:
            low = middle
    return first


def seconds_in_phase(region, flight):
    """Whole seconds that the flight's newest blocks prove for the phase that they are in, over several boots.

    The time without power between two boots is not in it: it says at least so long. region: a LogRegion
    after resume.
    """
    seconds = 0
    mark = _mark(region, flight, region.next - 1)
    for _ in range(_BOOTS):
        if mark is None:
            break
        first = _first(region, flight, mark)
        seconds += max(0, tick_difference(mark[3], first[3])) // 1000
        earlier = _mark(region, flight, first[0] - 1)
        if earlier is None or earlier[1] == first[1] or earlier[2] != first[2]:
            break
        mark = earlier
    return seconds
