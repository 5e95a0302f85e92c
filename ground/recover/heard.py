"""What becomes of the packets that were found between the blocks of sources."""

from collections import Counter
from dataclasses import dataclass, replace

from ground.layout import OWN_KINDS
from ground.recover.agree import without_conflicts, without_duplicates
from ground.recover.ledger import OTHER, PACKET, Range
from ground.recover.packet_series import NUMBER_PERIOD, packet_series
from ground.recover.packets import PACKET_MAX, PacketFinder
from ground.recover.series import Series
from ground.recover.source import WINDOW_SIZE

_TABLES_MAX = 8  # tables of kinds that packets are tried against
_DUPLICATE = "duplicate of a packet found before"
_CONFLICT = "another packet of this number was found in a source before; this one is not used"
_LONE = "looks like one packet, but no other of its flight and boot is near; not believed"


@dataclass
class Heard:
    """series: the packets of each boot; ranges: where all packets stand, for the ledger, a list for each
    source, in order.
    """

    series: list[Series]
    ranges: list[list[Range]]
    notes: list[str]


def hear(joint, blocks):
    """Sort the packets of all sources (see Joint) into boots. If manifests (of the Series in `blocks`, or of
    the packets) tell of kinds that this program's table has not, packets are searched for once more.
    """
    heard = _sort_out(joint, [item.gaps.packets for item in joint.scans])
    tables = _tables(blocks + heard.series)
    if len(tables) > 1:
        heard = _sort_out(joint, [_search_again(item, tables) for item in joint.scans])
    return heard


def _tables(series):
    learned = {item.manifest.kinds: None for item in series if item.manifest}
    return list({OWN_KINDS: None, **learned})[:_TABLES_MAX]


def _search_again(scan, tables):
    packets = []
    finder = PacketFinder(tables)
    source = scan.source.again()
    view = memoryview(bytearray(WINDOW_SIZE))
    for item in sorted([*scan.gaps.ranges, *_damaged(scan)], key=lambda item: item.offset):
        if item.state == OTHER:
            if item.offset != finder.offset:
                packets += finder.skip(item.offset - finder.offset)
            size = item.length
        else:
            # The tail of a packet may look like unwritten space.
            size = min(PACKET_MAX, item.length) if item.offset == finder.offset else 0
        for start in range(item.offset, item.offset + size, len(view)):
            piece = view[:min(len(view), item.offset + size - start)]
            source.read_into(start, piece)
            packets += finder.feed(piece)
    return packets + finder.finish()


def _damaged(scan):
    return [Range(item.offset, item.length, OTHER) for item in scan.damaged]


def _sort_out(joint, found):
    """found: list of packets for each scan."""
    packets = [
        replace(packet, offset=packet.offset + scan.base) if scan.base else packet
        for scan, group in zip(joint.scans, found, strict=True) for packet in group
    ]
    kept, duplicates = without_duplicates(packets)
    kept, conflicts, notes = without_conflicts(joint, kept, duplicates)
    counts = Counter((packet.flight_byte, packet.boot_byte) for packet in kept)
    lone, believed = [], []
    for packet in kept:
        # In a source that holds blocks, a single packet is more likely chance.
        alone = counts[packet.flight_byte, packet.boot_byte] == 1
        doubtful = alone and len(joint.locate(packet.offset)[0].found)
        (lone if doubtful else believed).append(packet)
    if duplicates:
        where = "the source" if len(joint.scans) == 1 else "the sources"
        notes.append(f"{len(duplicates)} packets stand in {where} more than once; each is used once")
    notes += [f"{joint.place(p.offset)}: {_LONE}" for p in lone]
    ranges = [
        *_ranges(believed), *_ranges(duplicates, note=_DUPLICATE), *_ranges(conflicts, note=_CONFLICT),
        *_ranges(lone, OTHER, _LONE),
    ]
    return Heard(packet_series(believed), joint.moved(ranges), notes)


def _ranges(packets, state=PACKET, note=None):
    """Ledger ranges of packets in order of offset; packets of a boot that follow each other in the
    source with consecutive numbers are one range. note: why they are not used, if so.
    """
    ranges = []
    previous = None
    for packet in packets:
        last = ranges[-1] if ranges else None
        if last and _follows(previous, packet):
            detail = {**last.detail, "last_number": packet.number}
            ranges[-1] = Range(last.offset, last.length + packet.length, last.state, detail)
        else:
            detail = {
                "flight_byte": f"{packet.flight_byte:02x}", "boot_byte": packet.boot_byte,
                "first_number": packet.number, "last_number": packet.number,
            }
            if note:
                detail["note"] = note
            ranges.append(Range(packet.offset, packet.length, state, detail))
        previous = packet
    return ranges


def _follows(previous, packet):
    return (
        previous.offset + previous.length == packet.offset
        and previous.flight_byte == packet.flight_byte
        and previous.boot_byte == packet.boot_byte
        and (previous.number + 1) % NUMBER_PERIOD == packet.number
    )
