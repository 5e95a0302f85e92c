"""Recovery of a whole source: from its bytes to boots, records and a ledger."""

from ground.recover.block_series import (
    block_ranges, block_series, flight_name, flight_words, role_notes, roles_of,
)
from ground.recover.blocks import BlockScanner
from ground.recover.boots import boot_logs, lend_manifests, name_flights
from ground.recover.gaps import Gaps
from ground.recover.heard import hear
from ground.recover.ledger import BLOCK_DAMAGED, UNREADABLE, Ledger, Range, cover, repaint
from ground.recover.losses import Places, block_losses, packet_losses
from ground.recover.packets import PacketFinder
from ground.recover.result import Recovered
from ground.recover.source import Source


def recover_source(path, progress=None):
    """Recover everything that a file or drive holds of ours, however damaged: Recovered.

    path: a copied log, a raw card image, a capture of a link, a mixture of them, or a block device;
    opened for reading only. progress: called as progress(bytes_done, bytes_in_all) while the
    source is read. Raises LoftbookError if the source cannot be read at all; a source that holds
    nothing of ours gives no boots and a ledger that says what is there instead.
    """
    with Source(path) as source:
        gaps = Gaps(PacketFinder())
        scanner = BlockScanner(source.size, gaps)
        for offset, view, own in source.windows():
            scanner.window(offset, view, own)
            if progress:
                progress(offset + own, source.size)
        gaps.finish()
        return _assemble(source, scanner, gaps)


def _assemble(source, scanner, gaps):
    unreadable = list(source.unreadable)
    found, damaged = scanner.found(), scanner.damaged
    roles = roles_of(found)
    notes = role_notes(roles)
    blocks = block_series(source, found, roles, notes)
    heard = hear(source, gaps, blocks, is_card=len(found) > 0)
    series = blocks + heard.series
    notes += heard.notes + name_flights(series) + lend_manifests(series)

    overlays = [*block_ranges(found, roles), *map(_damaged_range, damaged), *heard.ranges]
    ranges = cover(source.size, gaps.ranges, sorted(overlays, key=lambda item: item.offset))
    for offset, length in unreadable:
        ranges = repaint(ranges, offset, length, UNREADABLE)
    ledger = Ledger(source.name, source.size, ranges, notes=notes)
    ledger.check()
    expected = _count_losses(ledger, series, damaged)
    return Recovered(boot_logs(series, expected), ledger)


def _count_losses(ledger, series, damaged):
    """Put all losses into the ledger; returns how many envelopes each series must have had."""
    places = Places(ledger.ranges)
    claims = {}
    for item in damaged:
        claims.setdefault(_claim(item), {}).setdefault(int(item.header["number"]), item)
    expected = []
    for item in series:
        if item.envelope == "block":
            losses, count = block_losses(item, claims.get((item.flight, item.boot), {}), places)
        else:
            losses, count = packet_losses(item)
        ledger.losses += losses
        expected.append(count)
    return expected


def _claim(damaged):
    """(flight, boot) that a damaged block says it is of."""
    headers = damaged.header.reshape(1)
    return flight_name(flight_words(headers)[0]), int(damaged.header["boot"])


def _damaged_range(damaged):
    flight, boot = _claim(damaged)
    claim = {"flight": flight, "boot": boot, "number": int(damaged.header["number"])}
    return Range(damaged.offset, damaged.length, BLOCK_DAMAGED, {"says_of_itself": claim, "why": damaged.why})
