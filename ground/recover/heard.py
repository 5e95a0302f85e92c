"""What becomes of the packets that were found between the blocks of a source."""

from collections import Counter
from dataclasses import dataclass

from ground.layout import OWN_KINDS
from ground.recover.ledger import OTHER, PACKET, Range
from ground.recover.packet_series import NUMBER_PERIOD, packet_series
from ground.recover.packets import PACKET_MAX, PacketFinder
from ground.recover.series import Series
from ground.recover.source import WINDOW_SIZE

_TABLES_MAX = 8  # tables of kinds that packets are tried against
_DUPLICATE = "duplicate of a packet found before"
_LONE = "looks like one packet, but no other of its flight and boot is near; not believed"


@dataclass
class Heard:
    """series: the packets of each boot; ranges: where all packets stand, for the ledger."""

    series: list[Series]
    ranges: list[Range]
    notes: list[str]


def hear(source, gaps, blocks, is_card):
    """Sort the packets of `gaps` (see Gaps) into boots. If manifests (of the Series in `blocks`, or of the
    packets) tell of kinds that this program's table has not, packets are searched for once more.
    is_card: the source holds blocks, so that a single packet is more likely chance.
    """
    heard = _sort_out(gaps.packets, is_card)
    tables = _tables(blocks + heard.series)
    if len(tables) > 1:
        heard = _sort_out(_search_again(source, gaps.ranges, tables), is_card)
    return heard


def _tables(series):
    learned = {item.manifest.kinds: None for item in series if item.manifest}
    return list({OWN_KINDS: None, **learned})[:_TABLES_MAX]


def _search_again(source, ranges, tables):
    packets = []
    finder = PacketFinder(tables)
    view = memoryview(bytearray(WINDOW_SIZE))
    for item in ranges:
        if item.state == OTHER:
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


def _sort_out(packets, is_card):
    kept, duplicates = _without_duplicates(packets)
    counts = Counter((packet.flight_byte, packet.boot_byte) for packet in kept)
    lone = [p for p in kept if is_card and counts[p.flight_byte, p.boot_byte] == 1]
    if lone:
        kept = [p for p in kept if counts[p.flight_byte, p.boot_byte] > 1]
    notes = []
    if duplicates:
        notes.append(f"{len(duplicates)} packets stand in the source more than once; each is used once")
    notes += [f"byte {p.offset}: {_LONE}" for p in lone]
    ranges = [*_ranges(kept), *_ranges(duplicates, note=_DUPLICATE), *_ranges(lone, OTHER, _LONE)]
    return Heard(packet_series(kept), ranges, notes)


def _without_duplicates(packets):
    """(kept, duplicates): packets that differ in boot, number, tick or bytes, and repetitions."""
    seen, kept, duplicates = set(), [], []
    for packet in packets:
        key = (packet.flight_byte, packet.boot_byte, packet.number, packet.tick, packet.records)
        (duplicates if key in seen else kept).append(packet)
        seen.add(key)
    return kept, duplicates


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
