"""Recovery of whole sources: from their bytes to boots, records and a ledger."""

import os
from contextlib import ExitStack
from dataclasses import replace

from ground.errors import LoftbookError
from ground.recover.account import (
    evidence_counts, mark_restored, parity_counts, parity_notes, restored_blocks, used_of,
)
from ground.recover.block_series import block_ranges, block_series, role_notes, roles_of
from ground.recover.boots import boot_logs, lend_manifests, name_flights
from ground.recover.expanded import open_source
from ground.recover.grid import Grid
from ground.recover.headers import is_parity
from ground.recover.heard import hear
from ground.recover.joint import Joint, conflict_notes
from ground.recover.joint_losses import View, claim_of, claims_of, followers, joint_losses, mark_made_good
from ground.recover.ledger import (
    BLOCK_DAMAGED, CUT_OFF, PARITY_DAMAGED, UNREADABLE, Coverage, Ledger, Range, beside, cover, repaint,
)
from ground.recover.losses import Places, packet_losses
from ground.recover.restore import restore
from ground.recover.result import Recovered
from ground.recover.scan import scan
from ground.recover.source import Source
from ground.recover.stock import Stock
from ground.recover.unproven import unproven_logs
from protocol.block import is_parity_place


def recover_source(path, progress=None):
    """Recover everything that one file or drive holds of ours: Recovered. See recover_sources."""
    return recover_sources([path], progress)


def recover_sources(paths, progress=None):
    """Recover everything that files and drives hold of ours together, however damaged: Recovered.

    paths: copied logs, raw card images, captures of a link, mixtures of them, compressed or not, or block
    devices; opened for reading only. What several of them hold is used once; where they contradict each
    other the first named counts. progress: called as progress(bytes_done, bytes_in_all) while they are
    read. Raises LoftbookError if a source cannot be read at all, or is named twice; sources that hold
    nothing of ours give no boots and a ledger that says what is there instead.
    """
    _refuse_repetition(paths)
    with ExitStack() as stack:
        sources = [stack.enter_context(open_source(path)) for path in paths]
        total = sum(source.total for source in sources)

        def report():
            if progress:
                progress(sum(source.position for source in sources), total)

        pairs = zip(sources, paths, strict=True)
        return _assemble(Joint([_read(source, path, stack, report) for source, path in pairs]))


def _read(source, path, stack, report):
    """The Scan of a source. One that only begins like a compressed file is read as it is."""
    found = scan(source, report)
    if source.broken and not found.holds_ours:
        plain = stack.enter_context(Source(path))
        plain.notes.append(f"begins like a compressed file that {source.broken}; it was read as it is")
        as_it_is = scan(plain, lambda: None)
        return as_it_is if as_it_is.holds_ours else found
    return found


def _refuse_repetition(paths):
    for index, path in enumerate(paths):
        for before in paths[:index]:
            try:
                same = os.path.samefile(path, before)
            except (OSError, ValueError):
                continue  # opening it will say what is wrong
            if same:
                raise LoftbookError(f"{path}: is named twice; name every source once")


def _assemble(joint):
    with Stock(joint, joint.found) as stock:
        return _assemble_with(joint, stock)


def _assemble_with(joint, stock):
    roles = roles_of(joint.found)
    notes = role_notes(roles) + conflict_notes(joint, roles)
    damaged = [replace(item, offset=item.offset + part.base) for part in joint.scans for item in part.damaged]

    told = hear(joint, []).series if any(item.gaps.packets for item in joint.scans) else []
    told = {item.manifest.kinds for item in told if item.manifest}

    def tables():
        return told | {item.kinds for item in block_series(joint, joint.found, roles, [], stock)}

    restore(stock, joint, damaged, tables)
    blocks = block_series(joint, joint.found, roles, notes, stock)
    heard = hear(joint, blocks)
    series = blocks + heard.series
    notes += heard.notes + name_flights(series) + lend_manifests(series)
    for item in joint.scans:
        name = f"{item.source.name}: " if len(joint.scans) > 1 else ""
        notes += [name + note for note in item.source.notes]

    restored = used_of(stock, blocks)
    views = [
        _view(item, part, packets, [one for one in restored if item is joint.locate(one.offset or 0)[0]])
        for item, part, packets in zip(joint.scans, joint.of_each(roles), heard.ranges, strict=True)
    ]
    ledger = Ledger([view.coverage for view in views], notes=notes)
    ledger.check()
    expected, following = [], followers(blocks)
    for item in series:
        if item.envelope == "block":
            losses, count = joint_losses(item, following.get((item.flight, item.boot)), views)
        else:
            losses, count = packet_losses(item)
        ledger.losses += losses
        expected.append(count)
    if len(views) > 1:
        mark_made_good(blocks, views, lambda offset: joint.locate(offset)[0].source.name)
    boots = boot_logs(series, expected)
    unproven = unproven_logs(stock, joint, damaged, blocks)
    ledger.restored = restored_blocks(restored, joint.place)
    ledger.evidence = evidence_counts(series, boots, unproven)
    ledger.parity = parity_counts(stock)
    ledger.notes += parity_notes(ledger.parity)
    return Recovered(boots, ledger, unproven)


def _view(item, roles, packets, restored):
    """The View of a Scan: what its source holds, byte by byte. restored: blocks of this source."""
    source = item.source
    grid = Grid(item.found)
    damaged = [_damaged_range(place, grid) for place in item.damaged]
    overlays = [*block_ranges(item.found, roles), *beside(damaged, packets)]
    ranges = cover(source.size, item.gaps.ranges, sorted(overlays, key=lambda overlay: overlay.offset))
    ranges = mark_restored(repaint(ranges, item.unreadable, UNREADABLE), restored, item.base)
    size = source.size
    if source.broken:
        rest = source.rest or 0
        known = {} if rest else {"length": "not known"}
        ranges.append(Range(size, rest, UNREADABLE, {"note": f"the file {source.broken}", **known}))
        source.facts[CUT_OFF] = source.broken
        size += rest
    coverage = Coverage(source.name, size, ranges, source.facts)
    claims = claims_of([one for one in item.damaged if not is_parity(one.header)])
    return View(coverage, item.found, claims, Places(ranges))


def _damaged_range(damaged, grid):
    flight, boot = claim_of(damaged)
    claim = {"flight": flight, "boot": boot, "number": int(damaged.header["number"])}
    state = BLOCK_DAMAGED
    if _held_parity(damaged, grid):
        state, claim = PARITY_DAMAGED, {"flight": flight, "place": int(damaged.header["place"])}
    return Range(damaged.offset, damaged.length, state, {"says_of_itself": claim, "why": damaged.why})


def _held_parity(damaged, grid):
    """By its place among its neighbours, if they tell; else by what it says of itself."""
    known = grid.place_at(damaged.offset)
    if known is None:
        return bool(is_parity(damaged.header))
    header, place = known
    return is_parity_place(place, int(header["depth"]), int(header["rate"]))
