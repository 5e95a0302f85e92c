"""Telling the whole blocks of a source apart by flight and boot, and reading them in order."""

from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np

from ground.layout import OWN_KINDS
from ground.recover.arrays import chosen, picked
from ground.recover.blocks import leading_whole
from ground.recover.completed import Completed
from ground.recover.evidence import PROVEN
from ground.recover.headers import boot_keys, flight_name, flight_words, is_decoded, is_parity
from ground.recover.ledger import BLOCK, PARITY, Range
from ground.recover.records import Gatherer
from ground.recover.series import BATCH, Series, unwrapped
from ground.recover.stock import Stock
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT, BLOCK_SIZE

KEPT, NOT_DECODED, DUPLICATE, CONFLICT, HOLDS_PARITY = range(5)
_ROLE_WORDS = {
    NOT_DECODED: "format version or flags of a newer writer; found, but not decoded",
    DUPLICATE: "duplicate of a block found before",
    CONFLICT: "another block of this number was found before; this one is not used",
}


def roles_of(found):
    """What becomes of each whole block (array of FOUND_DTYPE): uint8 (n,) of KEPT, NOT_DECODED, ..."""
    roles = np.full(len(found), HOLDS_PARITY, np.uint8)
    with_records = ~is_parity(found["header"])
    rows = chosen(found, with_records)
    roles[with_records] = _roles(rows["header"], rows["crc"])
    return roles


def _roles(headers, crcs):
    roles = np.full(len(headers), KEPT, np.uint8)
    roles[~is_decoded(headers)] = NOT_DECODED
    keys, numbers = boot_keys(headers), headers["number"]
    order = np.lexsort((numbers, keys))  # stable: of equals, the one that stands first comes first
    same = np.zeros(len(headers), bool)
    same[1:] = (np.diff(keys[order]) == 0) & (np.diff(numbers[order].astype(np.int64)) == 0)
    if not same.any():
        return roles
    first = np.maximum.accumulate(np.where(same, 0, np.arange(len(headers))))
    equal = crcs[order] == crcs[order[first]]
    roles[order[same & equal]] = DUPLICATE
    roles[order[same & ~equal]] = CONFLICT
    return roles


def bytes_used(headers):
    """int64 (n,): bytes of records in each block, 0 if it is not decoded."""
    # Never beyond the block, whatever a header says.
    used = np.minimum(headers["used"], BLOCK_LIMIT - BLOCK_FIRST).astype(np.int64)
    return np.where(is_decoded(headers), used, 0)


def role_notes(roles):
    """A line for each way in which whole blocks were not used."""
    counts = np.bincount(roles, minlength=HOLDS_PARITY + 1)
    return [f"{counts[role]} whole blocks: {words}" for role, words in _ROLE_WORDS.items() if counts[role]]


def block_series(source, found, roles, notes, stock):
    """One decoded Series for each flight and boot among the blocks, the restored ones of a Stock included;
    those that are not decoded count as found, since their headers keep their meaning.
    """
    rows, restored = _with_restored(chosen(found, roles <= NOT_DECODED), stock)
    keys, numbers = boot_keys(rows["header"]), rows["header"]["number"]
    order = np.lexsort((numbers, keys))  # stable: of equals, the one that stands in the source comes first
    if restored is not None:
        again = (np.diff(keys[order]) == 0) & (np.diff(numbers[order].astype(np.int64)) == 0)
        order = order[np.concatenate([[True], ~again])]
        restored = restored[order]
    rows = picked(rows, order)
    edges = [0, *(np.flatnonzero(np.diff(keys[order])) + 1).tolist(), len(rows)]
    parts = [slice(start, stop) for start, stop in zip(edges, edges[1:], strict=False) if start < stop]
    return [
        _series(_Reader(source, stock, rows[part], None if restored is None else restored[part], notes))
        for part in parts
    ]


def _with_restored(kept, stock):
    """Rows of FOUND_DTYPE, and for each its index among the restored blocks, -1 if it stands in the source;
    None if nothing was restored.
    """
    items = [(index, item) for index, item in enumerate(stock.restored) if not is_parity(item.header)]
    if not items:
        return kept, None
    added = np.zeros(len(items), kept.dtype)
    for row, (_, item) in zip(added, items, strict=True):
        row["offset"], row["header"], row["crc"] = item.place_in_source, item.header, item.crc
    indices = np.array([index for index, _ in items])
    return np.concatenate([kept, added]), np.concatenate([np.full(len(kept), -1), indices])


def _series(reader):
    headers = reader.rows["header"]
    first = headers[0]
    series = Series(
        "block", flight_name(flight_words(headers)[0]), int(first["boot"]),
        headers["number"].astype(np.int64), unwrapped(headers["tick"]), reader.rows["offset"], reader.batches,
        places=headers["place"].astype(np.int64), evidence=reader.evidence(),
        parity=(int(first["depth"]), int(first["rate"])),
    )
    series.early = reader.early(series.base_ms)
    series.decode(lambda manifest: (manifest.flight, manifest.boot) == (series.flight, series.boot))
    return series


@dataclass
class _Reader:
    """Reads the blocks of one boot. rows: in order of number; restored: see _with_restored."""

    source: object
    stock: Stock
    rows: np.ndarray
    restored: np.ndarray | None
    notes: list

    def evidence(self):
        """Levels of evidence: uint8 (n,), None if all blocks stand in the source."""
        if self.restored is None or (self.restored < 0).all():
            return None
        levels = np.array([item.evidence for item in self.stock.restored] + [PROVEN], np.uint8)
        return levels[self.restored]

    def early(self, base_ms):
        """What was gathered early, completed by the restored blocks; None if that cannot be used."""
        stands = np.full(len(self.rows), True) if self.restored is None else self.restored < 0
        if not stands.any():
            return None
        gathered = self.source.gathered(chosen(self.rows, stands), base_ms[stands])
        if gathered is None or stands.all():
            return gathered
        missing = replace(self, rows=picked(self.rows, ~stands), restored=self.restored[~stands])
        base_ms, levels = base_ms[~stands], missing.evidence()
        added = Gatherer(OWN_KINDS)
        for first, data, starts, ends in missing.batches():
            part = slice(first, first + len(starts))
            share = part.stop / len(base_ms)
            every = np.arange(len(starts))
            added.add(data, starts, ends, base_ms[part], share, levels[part], every)
        earlier = np.cumsum(stands & is_decoded(self.rows["header"]))
        return Completed(gathered, added, earlier[~stands])

    def batches(self):
        """See Series."""
        buffer = bytearray(BATCH * BLOCK_SIZE)
        view, data = memoryview(buffer), np.frombuffer(buffer, np.uint8)
        for first in range(0, len(self.rows), BATCH):
            batch = self.rows[first:first + BATCH]
            restored = np.full(len(batch), -1)
            if self.restored is not None:
                restored = self.restored[first:first + BATCH]
            self._read(batch["offset"], restored, view)
            starts = BLOCK_SIZE * np.arange(len(batch)) + BLOCK_FIRST
            used = bytes_used(batch["header"])
            changed = _changed(view, batch["crc"])
            if changed:
                self.notes.append(f"{len(changed)} blocks read differently the second time and are not used")
                used[changed] = 0
            yield first, data, starts, starts + used

    def _read(self, offsets, restored, view):
        apart = (np.diff(offsets) != BLOCK_SIZE) | (restored[1:] >= 0) | (restored[:-1] >= 0)
        edges = [0, *(np.flatnonzero(apart) + 1).tolist(), len(offsets)]
        for start, stop in zip(edges, edges[1:], strict=False):
            piece = view[start * BLOCK_SIZE:stop * BLOCK_SIZE]
            if restored[start] < 0:
                self.source.read_into(int(offsets[start]), piece)
            else:
                self.stock.read_restored(int(restored[start]), piece)


def _changed(view, crcs):
    """Indices of blocks that are not what they were when they were found (a failing card, a file that
    is still being written). The second reading spares keeping a whole card in memory.
    """
    if leading_whole(view, len(crcs)) == len(crcs):
        return []
    return [
        i for i, crc in enumerate(crcs.tolist())
        if crc32(view[i * BLOCK_SIZE:i * BLOCK_SIZE + BLOCK_LIMIT]) != crc
    ]


def block_ranges(found, roles):
    """Ledger ranges of all whole blocks; neighbours of a boot with consecutive numbers are one range, and so
    are neighbours with parity.
    """
    headers = found["header"]
    holds_parity = roles == HOLDS_PARITY
    keys = np.where(holds_parity, flight_words(headers).astype(np.int64), boot_keys(headers))
    numbers = np.where(holds_parity, headers["place"], headers["number"]).astype(np.int64)
    follows = (
        (np.diff(found["offset"]) == BLOCK_SIZE) & (np.diff(keys) == 0)
        & (np.diff(numbers) == 1) & (np.diff(roles.astype(int)) == 0)
    )
    edges = [0, *(np.flatnonzero(~follows) + 1).tolist(), len(found)]
    flights, boots = flight_words(headers), headers["boot"]
    ranges = []
    for start, stop in zip(edges, edges[1:], strict=False):
        if start == stop:
            continue
        detail = {"flight": flight_name(flights[start])}
        first, last = int(numbers[start]), int(numbers[stop - 1])
        if holds_parity[start]:
            detail |= {"first_place": first, "last_place": last}
        else:
            detail |= {"boot": int(boots[start]), "first_number": first, "last_number": last}
        if roles[start] in _ROLE_WORDS:
            detail["note"] = _ROLE_WORDS[int(roles[start])]
        state = PARITY if holds_parity[start] else BLOCK
        ranges.append(Range(int(found["offset"][start]), (stop - start) * BLOCK_SIZE, state, detail))
    return ranges
