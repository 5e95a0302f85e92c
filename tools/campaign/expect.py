"""The independent judge: what must come out of a damaged source, from its bytes, from what was written,
and from the rules of protocol/FORMAT.md. Imports nothing of ground/ or protocol/; CRCs come from zlib
and binascii.
"""

from binascii import crc_hqx
from bisect import bisect_left
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from zlib import crc32

SECTOR = 512
MAGIC, SYNC = bytes.fromhex("8c4c42e7"), bytes.fromhex("9e4c")
# FORMAT.md, "The record": bytes of a record with kind and time.
SIZES = {1: 53, 2: 11, 3: 9, 4: 30, 5: 15, 6: 9, 7: 17, 8: 9, 9: 29, 10: 6, 11: 18}
FOREIGN, FOREIGN_SIZE = 200, 6
BURST = 4  # bits; what a repair may turn


@dataclass
class Expected:
    """whole: {offset: Written} of all blocks whose bytes survived; rebuilt: keys that the parity must
    bring back, rebuilt_may: and those that it may; repairable: {offset: Written} of damaged blocks one
    bit or short burst away; repaired: keys of those that must be; packets: survivors by offset; chance:
    packets that nobody sent, right by chance (offset, records); lone: survivors not to be believed.
    """

    whole: dict = field(default_factory=dict)
    alive: set = field(default_factory=set)
    rebuilt: set = field(default_factory=set)
    rebuilt_may: set = field(default_factory=set)
    repairable: dict = field(default_factory=dict)
    repaired: set = field(default_factory=set)
    packets: dict = field(default_factory=dict)
    chance: list = field(default_factory=list)
    lone: set = field(default_factory=set)
    foreign_known: set = field(default_factory=set)  # flights whose foreign kind a proven manifest tells
    damaged: int = 0  # blocks that still stand at their place, with changed bytes


def expect(data, placements, logs, packets):
    """Expected of these bytes. placements: where blocks stand, changed or not; logs, packets: all that
    was written.
    """
    expected = Expected()
    # What tore a write may be mended by what damaged the card later: then it is a block like others.
    blocks = {block.data: block for log in logs for block in [*log.torn, *log.blocks]}
    expected.whole = _whole(data, blocks)
    expected.alive = {id(block) for block in expected.whole.values()}
    _look_at_damage(expected, data, placements)
    _judge_packets(expected, data, packets)
    _what_must_be_repaired(expected, data)
    near = {id(block) for block in expected.repairable.values()}
    for log in logs:
        must, may = _parity(log, expected.alive, near)
        expected.rebuilt |= must
        expected.rebuilt_may |= may
    return expected


def _whole(data, blocks):
    whole, at = {}, data.find(MAGIC)
    while at >= 0:
        block = blocks.get(bytes(data[at:at + SECTOR]))
        if block is not None:
            crc = crc32(block.data[:508]).to_bytes(4, "little")
            assert crc == block.data[508:], "a block was never right"
            whole[at] = block
        at = data.find(MAGIC, at + SECTOR if block is not None else at + 4)
    return whole


def _look_at_damage(expected, data, placements):
    for offset, block in placements:
        now = bytes(data[offset:offset + SECTOR])
        if now == block.data:
            assert offset in expected.whole, "the judge contradicts itself"
            continue
        expected.damaged += 1
        if len(now) == SECTOR and id(block) not in expected.alive and is_short_burst(now, block.data):
            expected.repairable[offset] = block


def _what_must_be_repaired(expected, data):
    """Of the repairable blocks those that say plainly where they are and whose they are: the magic and
    all that tells what a block is are untouched, no other block begins within, a whole block next to it
    is of the same flight and as far away in the source as its place says, there is a whole block of its
    boot, and its records are of known kinds.
    """
    edges = sorted(expected.whole)
    boots = {(block.flight, block.boot) for block in expected.whole.values() if not block.is_parity}
    for offset, block in expected.repairable.items():
        now = data[offset:offset + SECTOR]
        plain = now[:8] == block.data[:8] and now[26:28] == block.data[26:28]
        before = data.rfind(MAGIC, max(0, offset - SECTOR + 1), offset)
        alone = before < 0 or offset - SECTOR in expected.whole
        alone &= data.find(MAGIC, offset + 1, offset + SECTOR) < 0
        at = bisect_left(edges, offset)
        around = [(place, expected.whole[place]) for place in edges[max(0, at - 1):at + 1]]
        kin = any(
            near.flight == block.flight and offset - place == SECTOR * (block.place - near.place)
            for place, near in around
        )
        is_told = len(readable(block, block.flight in expected.foreign_known)) == len(block.records)
        is_told &= (block.flight, block.boot) in boots and not block.is_parity
        if plain and alone and kin and is_told:
            expected.repaired.add(id(block))


def is_short_burst(now, before):
    """True if two blocks differ in bits that lie within BURST neighbours, in the order of the line to a
    card: the highest bit of a byte first.
    """
    difference = int.from_bytes(now, "big") ^ int.from_bytes(before, "big")
    lowest = (difference & -difference).bit_length()
    return difference > 0 and difference.bit_length() - lowest < BURST


def stands_nearly_whole(data, block):
    """True if the bytes of a block stand anywhere but for one short burst: pieces that were doubled or
    moved may have come together again. The burst spares one of two slices, by which the place is found.
    """
    for first in (64, 300):
        at = data.find(block.data[first:first + 64])
        while at >= 0:
            now = bytes(data[max(0, at - first):at - first + SECTOR])
            if len(now) == SECTOR and is_short_burst(now, block.data):
                return True
            at = data.find(block.data[first:first + 64], at + 1)
    return False


def _parity(log, alive, near):
    """(keys that the parity must bring back, keys that it may with the help of repairs)."""
    by_place = {block.place: block for block in log.blocks}
    must, may = set(), set()
    for parity in log.blocks:
        if not parity.is_parity:
            continue
        members = _members(parity, by_place)
        _check_firmware(parity, members)
        if id(parity) in alive:
            missing = [block for block in members if id(block) not in alive]
            if len(missing) == 1:
                may.add(id(missing[0]))
                if _number_is_known(missing[0], log, alive):
                    must.add(id(missing[0]))
        if id(parity) in alive | near:
            may.update(id(block) for block in members
                       if not any(id(other) not in alive | near for other in members if other is not block))
    return must, may


def may_be_rebuilt(data, log, alive, block):
    """True if a block's parity and all its other members stand in the data whole, or nearly so at any offset."""
    by_place = {one.place: one for one in log.blocks}
    for parity in log.blocks:
        group = [parity, *_members(parity, by_place)] if parity.is_parity else []
        if any(one is block for one in group):
            others = [one for one in group if one is not block]
            return all(id(one) in alive or stands_nearly_whole(data, one) for one in others)
    return False


def _members(parity, by_place):
    depth, rate, place = parity.data[6], parity.data[7], parity.place
    start = place - place % (depth * (rate + 1))
    places = [start + place % depth + depth * k for k in range(rate)]
    # What was no whole block of records of this flight when the parity was made is not in it.
    members = [by_place[p] for p in places if p in by_place]
    return [block for block in members if not block.is_parity]


def _check_firmware(parity, members):
    total = 0
    for block in members:
        total ^= int.from_bytes(block.data[20:], "little")
    is_right = total.to_bytes(492, "little") == parity.data[16:508] and parity.data[5] >> 1 == len(members)
    assert is_right, f"the parity at place {parity.place} was never right"


def _number_is_known(lost, log, alive):
    """True if the rule of the page gives the lost block's number from the next whole block of its boot,
    before or behind it.
    """
    same = [b for b in log.blocks if b.boot == lost.boot and not b.is_parity and id(b) in alive]
    before = max((b for b in same if b.place < lost.place), key=lambda b: b.place, default=None)
    behind = min((b for b in same if b.place > lost.place), key=lambda b: b.place, default=None)
    return any(
        near.number + data_places(near.place, lost.place, log.depth, log.rate) == lost.number
        for near in (before, behind) if near is not None
    )


def data_places(start, stop, depth, rate):
    """Steps from one data place to another, parity places not counted; negative downwards."""
    if not depth:
        return stop - start
    if stop < start:
        return -data_places(stop, start, depth, rate)
    stripe = depth * (rate + 1)
    return sum(place % stripe < depth * rate for place in range(start + 1, stop + 1))


def _judge_packets(expected, data, packets):
    written = {packet.data: packet for packet in packets}
    sizes = dict(SIZES)
    for _ in range(2):
        found, chance = _packets(expected, data, written, sizes)
        proven = [block for block in expected.whole.values()] + list(found.values())
        expected.foreign_known = _flights_with_foreign_manifest(proven)
        if not expected.foreign_known:
            break
        sizes[FOREIGN] = FOREIGN_SIZE
    expected.packets, expected.chance = found, chance
    if expected.whole:
        distinct = {packet.data: (packet.flight[0], packet.boot & 0xFF) for packet in found.values()}
        counts = Counter(distinct.values())
        counts.update((records[0], records[1]) for _, records in chance)
        expected.lone = {at for at, packet in found.items() if counts[distinct[packet.data]] == 1}


def _packets(expected, data, written, sizes):
    found, chance = {}, []
    edges = sorted(expected.whole)
    start = 0
    for edge in [*edges, len(data)]:
        at = data.find(SYNC, start, edge)
        while at >= 0:
            size = packet_size(data, at, edge, sizes)
            if size:
                candidate = bytes(data[at:at + size])
                if candidate in written:
                    found[at] = written[candidate]
                else:
                    chance.append((at, (candidate[3], candidate[4])))
            at = data.find(SYNC, at + (size or 2), edge)
        start = edge + SECTOR
    return found, chance


def packet_size(data, at, end, sizes):
    """Bytes of the packet that begins at an offset and ends before `end`, 0 if there is none."""
    if at + 13 > end or not 1 <= data[at + 2] <= 200 or at + 13 + data[at + 2] > end:
        return 0
    stop = at + 11 + data[at + 2]
    if crc_hqx(bytes(data[at + 2:stop]), 0xFFFF) != int.from_bytes(data[stop:stop + 2], "little"):
        return 0
    record = at + 11
    while record < stop:
        record += sizes.get(data[record], 1000)
    return stop + 2 - at if record == stop else 0


def _flights_with_foreign_manifest(envelopes):
    """Flights of which a boot's manifest is whole on one carrier; pieces of card and link need not be
    joined.
    """
    pieces = defaultdict(dict)
    for envelope in envelopes:
        for kind, _, payload in readable(envelope, foreign_known=False):
            if kind == 1:
                key = envelope.flight, envelope.boot, envelope.is_packet, payload[1]
                pieces[key][payload[0]] = payload[2:]
    return {
        flight for (flight, _, _, parts), found in pieces.items()
        if len(found) == parts and b"kind %d " % FOREIGN in b"".join(found[part] for part in range(parts))
    }


def readable(envelope, foreign_known):
    """The records that a reader gets out of an envelope: all, or those before the first of unknown size."""
    records = []
    for record in envelope.records:
        if record[0] == FOREIGN and not foreign_known:
            break
        records.append(record)
    return records
