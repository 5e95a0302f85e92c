"""What must be true of a card after power cuts, from the writes that the board made and what the card made of
them.

Blocks are taken apart here after protocol/FORMAT.md, with zlib's CRC-32; only `recovery` asks the ground.
"""

import struct
import zlib
from collections import Counter, defaultdict
from dataclasses import dataclass, field

from tools import plain_decoder
from tools.campaign.power_machine import SECTOR
from tools.campaign.reading import read

MISSING_MAX_MS = 2000
SAMPLE_MS = 100  # the fastest sensor's period: so much older than the cut may the last sample be
TICKS = 1 << 29
_SIZES = {
    number: struct.calcsize("<Bh" + "".join(wire for _, wire, _, _ in fields))
    for number, (_, fields) in plain_decoder.KINDS.items()
}


@dataclass
class Life:
    """One boot from power-on to the cut. before: the card then; tick: of power-on; cut_tick: of the cut;
    writes: all that returned; unwritten: what the same boot would have written next, if that is known;
    has_room: the log is not full.
    """

    before: dict
    tick: int
    cut_tick: int
    writes: list
    unwritten: list | None = None
    has_room: bool = True


@dataclass
class Block:
    """A whole block of records: header fields and records (kind number, tick, payload)."""

    flight: str
    boot: int
    number: int
    place: int
    phase: int
    records: list = field(default_factory=list)

    @property
    def key(self):
        return self.flight, self.boot, self.number


def is_whole(data):
    """True if these bytes are a whole block of any sort."""
    return data[:4] == plain_decoder.MAGIC and zlib.crc32(data[:508]) == int.from_bytes(data[508:], "little")


def take_apart(data):
    """The Block of these 512 bytes; None if they are no whole block of records."""
    if not is_whole(data) or data[5] & 1:
        return None
    place, number, boot, tick, used, phase = struct.unpack_from("<IIHIHB", data, 12)
    block = Block(data[8:12].hex(), boot, number, place, phase)
    at = 29
    while at < 29 + used:
        kind, difference = struct.unpack_from("<Bh", data, at)
        end = at + _SIZES[kind]
        block.records.append((kind, (tick + difference) % TICKS, data[at + 3:end]))
        at = end
    return block


def missing_ms(life):
    """How much of the time before the cut is missing on a card that kept all writes."""
    if life.unwritten is not None:
        oldest = [_age(life.cut_tick, record) for record in _records(life.unwritten)]
        return max(0, max(oldest, default=0))
    ages = [_age(life.cut_tick, record) for record in _records(life.writes)]
    return max(0, min(ages, default=(life.cut_tick - life.tick) % TICKS) - SAMPLE_MS)


def _records(writes):
    for write in writes:
        block = take_apart(write.data)
        if block:
            yield from block.records


def _age(tick, record):
    return (tick - record[1] + TICKS // 2) % TICKS - TICKS // 2


def boot_faults(life, start):
    """What one boot did wrong, in words. start: the log's first sector."""
    faults = []
    state = dict(life.before)
    for write in life.writes:
        if state.get(write.sector, b"")[:4] == plain_decoder.MAGIC:
            faults.append(f"place {write.sector - start} was written over")
        state[write.sector] = write.data
    there = newest_first(life.before)
    written = [(take_apart(write.data), write.sector - start) for write in life.writes]
    blocks = [block for block, _ in written if block]
    if blocks:
        boots = {block.boot for block in blocks}
        number = max((block.boot for block in there), default=0) + 1
        if boots != {number}:
            faults.append(f"boot {sorted(boots)} where it had to be {number}")
        phase = phase_on(life.before)
        if blocks[0].phase != phase:
            faults.append(f"boot {number} begins in phase {blocks[0].phase}, the card says {phase}")
        if [block.number for block in blocks] != list(range(len(blocks))):
            faults.append(f"boot {number} does not number its blocks from 0 without gaps")
        if any(block.place != place for block, place in written if block):
            faults.append(f"boot {number} has a block with a wrong place")
    missing = missing_ms(life)
    if missing > MISSING_MAX_MS and life.has_room:
        faults.append(f"{missing} ms before the cut are missing")
    return faults


def newest_first(state):
    """The whole blocks of records on a card, the last place first."""
    blocks = [take_apart(state[sector]) for sector in sorted(state, reverse=True)]
    return [block for block in blocks if block]


def phase_on(state):
    """The phase that a card says: that of its newest whole block of records, 0 if it has none."""
    blocks = newest_first(state)
    return blocks[0].phase if blocks else 0


def recovery_faults(path, lives, state, start):
    """What `ground.recover` makes of the log that it must not, in words, and how many blocks came back by
    parity or repair. path: where the log may be written; state: the card in the end.
    """
    last = max((sector for sector in state if sector >= start), default=start)
    path.write_bytes(b"".join(state.get(sector, bytes(SECTOR)) for sector in range(start, last + 65)))
    seen = read(path, path.stat().st_size)
    faults = [seen.balanced] if seen.balanced else []
    written, survived = defaultdict(list), defaultdict(Counter)
    offsets, keys = set(), Counter()
    for data in {data for life in lives for data in [*life.before.values(), *(w.data for w in life.writes)]}:
        block = take_apart(data)
        if block:
            written[block.key].append(block)
    for sector, data in state.items():
        if sector >= start and is_whole(data):
            offsets.add((sector - start) * SECTOR)
            block = take_apart(data)
            if block:
                keys[block.key] += 1
                survived[block.flight, block.boot].update(block.records)
    if seen.whole != offsets:
        faults.append(f"whole blocks not found or invented at {sorted(seen.whole ^ offsets)[:5]}")
    faults += [f"two blocks are called {key}" for key, count in keys.items() if count > 1]
    if dict(seen.records["proven"]) != dict(survived):
        wrong = [key for key in set(survived) | set(seen.records["proven"])
                 if seen.records["proven"].get(key) != survived.get(key)]
        faults.append(f"records of {sorted(wrong)[:3]} are not those that were written")
    restored = 0
    for level in ("rebuilt", "repaired"):
        expected = defaultdict(Counter)
        for key in seen.restored[level]:
            restored += 1
            if key in keys or len(written[key]) != 1:
                faults.append(f"{level} {key}, which is there or was written {len(written[key])} times")
            for block in written[key][:1]:
                expected[block.flight, block.boot].update(block.records)
        if {key: value for key, value in seen.records[level].items() if value} != dict(expected):
            faults.append(f"{level} records are not those that were written")
    return faults, restored
