"""How long a phase has lasted, read from the log: as a plain walk over all blocks says."""

from struct import pack_into

from hypothesis import given
from hypothesis import strategies as st

from onboard.firmware.elapsed import seconds_in_phase
from protocol.block import BLOCK_HEADER, BLOCK_SIZE, FLAG_PARITY
from protocol.tick import TICK_PERIOD, tick_add, tick_difference

FLIGHT = b"abcd"


class Region:
    """Blocks are (boot, phase, tick), "parity", or None: a sector that is not whole."""

    def __init__(self, blocks):
        self.blocks = blocks
        self.next = len(blocks)
        self.reads = 0

    def whole_block(self, index, offset, flight):
        self.reads += 1
        block = self.blocks[index]
        if block is None:
            return None
        buffer = bytearray(BLOCK_SIZE)
        flags = FLAG_PARITY if block == "parity" else 0
        boot, phase, tick = (9, 9, 9) if block == "parity" else block
        pack_into(BLOCK_HEADER, buffer, 0, b"", 1, flags, 0, 0, FLIGHT, index, index, boot, tick, 0, phase)
        return buffer


def walked(blocks):
    """The same by looking at every block, newest first."""
    known = [block for block in blocks if isinstance(block, tuple)]
    if not known:
        return 0
    runs = []  # of one boot and phase each: [boot, phase, first tick, last tick], newest first
    for boot, phase, tick in reversed(known):
        if runs and runs[-1][:2] == [boot, phase]:
            runs[-1][2] = tick
        else:
            runs.append([boot, phase, tick, tick])
    seconds = 0
    for number, (boot, phase, first, last) in enumerate(runs[:8]):
        if phase != runs[0][1] or number and boot == runs[number - 1][0]:
            break
        seconds += tick_difference(last, first) // 1000
    return seconds


@st.composite
def logs(draw):
    """Boots one after the other, each with phases that only go on, a block every two seconds, some of them hurt."""
    blocks, phase = [], 0
    for boot in range(1, draw(st.integers(1, 4)) + 1):
        tick = draw(st.sampled_from([0, TICK_PERIOD - 5000]))
        for _ in range(draw(st.integers(1, 3))):
            for _ in range(draw(st.integers(1, 60))):
                blocks.append((boot, phase, tick))
                tick = tick_add(tick, 2000)
            phase = min(3, phase + draw(st.integers(0, 1)))
    for place in range(20, len(blocks), 40):
        blocks[place:place] = ["parity"] * draw(st.sampled_from([0, 4, 16]))
    for place in draw(st.lists(st.integers(0, len(blocks) - 1), max_size=6)):
        blocks[place] = None
    return blocks


@given(logs())
def test_the_search_finds_what_a_walk_over_all_blocks_finds(blocks):
    assert seconds_in_phase(Region(blocks), FLIGHT) == walked(blocks)


def test_a_long_phase_takes_few_reads():
    region = Region([(1, 1, 2000 * n) for n in range(10)] + [(1, 3, 2000 * n) for n in range(10, 40000)])
    assert seconds_in_phase(region, FLIGHT) == 2 * (40000 - 1 - 10)
    assert region.reads < 60


def test_an_empty_log_says_nothing():
    assert seconds_in_phase(Region([]), FLIGHT) == 0
