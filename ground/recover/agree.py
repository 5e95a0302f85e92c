"""Packets that several listeners heard: the same ones, and those that contradict each other."""

from collections import Counter, defaultdict

from ground.recover.joint import CONFLICTS_TOLD, contradiction
from protocol.record import DIFFERENCE_MAX
from protocol.tick import tick_difference


def without_duplicates(packets):
    """(kept, duplicates): packets that differ in boot, number, tick or bytes, and repetitions."""
    seen, kept, duplicates = set(), [], []
    for packet in packets:
        key = (packet.flight_byte, packet.boot_byte, packet.number, packet.tick, packet.records)
        (duplicates if key in seen else kept).append(packet)
        seen.add(key)
    return kept, duplicates


def without_conflicts(joint, packets, duplicates):
    """(kept, conflicts, notes): conflicts are packets of a boot, number and time that another source before
    heard with other bytes. A CRC-16 lets a few damaged packets pass. packets, duplicates: with joint
    offsets, as without_duplicates tells them apart.

    Where more packets contradict than agree, the sources did not hear the same boot, and all are kept.
    """
    if len(joint.scans) == 1:
        return packets, [], []
    agree = Counter((packet.flight_byte, packet.boot_byte) for packet in duplicates)
    first_of, pairs = defaultdict(list), []
    for packet in packets:
        first = _same_time(first_of[_key(packet)], packet, joint)
        if first:
            pairs.append((first, packet))
        else:
            first_of[_key(packet)].append(packet)
    against = Counter((packet.flight_byte, packet.boot_byte) for _, packet in pairs)
    pairs = [
        pair for pair in pairs
        if against[pair[1].flight_byte, pair[1].boot_byte] <= agree[pair[1].flight_byte, pair[1].boot_byte]
    ]
    notes = [
        contradiction(
            f"packet {packet.number} of boot {packet.boot_byte}", joint, first.offset, packet.offset
        )
        for first, packet in pairs[:CONFLICTS_TOLD]
    ]
    if len(pairs) > CONFLICTS_TOLD:
        notes.append(f"{len(pairs) - CONFLICTS_TOLD} more packets contradict each other like these")
    out = {packet.offset for _, packet in pairs}
    return (
        [packet for packet in packets if packet.offset not in out], [packet for _, packet in pairs], notes
    )


def _key(packet):
    return packet.flight_byte, packet.boot_byte, packet.number


def _same_time(earlier, packet, joint):
    """Which of earlier packets of the same number is of the same time and of another source."""
    source = joint.locate(packet.offset)[0]
    for other in earlier:
        is_near = abs(tick_difference(other.tick, packet.tick)) <= DIFFERENCE_MAX
        if is_near and joint.locate(other.offset)[0] is not source:
            return other
    return None
