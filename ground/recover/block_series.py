"""Telling the whole blocks of a source apart by flight and boot, and reading them in order."""

from zlib import crc32

import numpy as np

from ground.recover.blocks import leading_whole
from ground.recover.ledger import BLOCK, Range
from ground.recover.series import BATCH, Series, unwrapped
from protocol.block import BLOCK_FIRST, BLOCK_LIMIT, BLOCK_SIZE
from protocol.table import FORMAT_VERSION

KEPT, NOT_DECODED, DUPLICATE, CONFLICT = range(4)
_ROLE_WORDS = {
    NOT_DECODED: "format version or flags of a newer writer; found, but not decoded",
    DUPLICATE: "duplicate of a block found before",
    CONFLICT: "another block of this number was found before; this one is not used",
}


def flight_words(headers):
    """The flights of block headers as uint32 (n,); see flight_name."""
    return np.ascontiguousarray(headers["flight"]).view("<u4")


def flight_name(word):
    """Eight hexadecimal digits, in the order of the bytes."""
    return int(word).to_bytes(4, "little").hex()


def boot_keys(headers):
    """int64 (n,): equal for blocks of the same flight and boot."""
    return flight_words(headers).astype(np.int64) << 16 | headers["boot"]


def roles_of(found):
    """What becomes of each whole block (array of FOUND_DTYPE): uint8 (n,) of KEPT, NOT_DECODED, ..."""
    headers = found["header"]
    roles = np.full(len(found), KEPT, np.uint8)
    roles[~_is_decoded(headers)] = NOT_DECODED
    keys, numbers = boot_keys(headers), headers["number"]
    order = np.lexsort((numbers, keys))  # stable: of equals, the one that stands first comes first
    same = np.zeros(len(found), bool)
    same[1:] = (np.diff(keys[order]) == 0) & (np.diff(numbers[order].astype(np.int64)) == 0)
    first = np.maximum.accumulate(np.where(same, 0, np.arange(len(found))))
    equal = found["crc"][order] == found["crc"][order[first]]
    roles[order[same & equal]] = DUPLICATE
    roles[order[same & ~equal]] = CONFLICT
    return roles


def _is_decoded(headers):
    return (headers["version"] == FORMAT_VERSION) & (headers["flags"] == 0)


def role_notes(roles):
    """A line for each way in which whole blocks were not used."""
    counts = np.bincount(roles, minlength=len(_ROLE_WORDS) + 1)
    return [f"{counts[role]} whole blocks: {words}" for role, words in _ROLE_WORDS.items() if counts[role]]


def block_series(source, found, roles, notes):
    """One decoded Series for each flight and boot among the blocks; those that are not decoded count as
    found, since their headers keep their meaning.
    """
    kept = found[roles <= NOT_DECODED]
    keys = boot_keys(kept["header"])
    order = np.lexsort((kept["header"]["number"], keys))
    edges = np.flatnonzero(np.diff(keys[order])) + 1
    return [_series(source, kept[part], notes) for part in np.split(order, edges) if len(part)]


def _series(source, blocks, notes):
    headers = blocks["header"]
    series = Series(
        "block", flight_name(flight_words(headers)[0]), int(headers["boot"][0]),
        headers["number"].astype(np.int64), unwrapped(headers["tick"]), blocks["offset"],
        lambda: _batches(source, blocks, notes),
    )
    series.decode(lambda manifest: (manifest.flight, manifest.boot) == (series.flight, series.boot))
    return series


def _batches(source, blocks, notes):
    buffer = bytearray(BATCH * BLOCK_SIZE)
    view, data = memoryview(buffer), np.frombuffer(buffer, np.uint8)
    for first in range(0, len(blocks), BATCH):
        batch = blocks[first:first + BATCH]
        offsets = batch["offset"]
        edges = [0, *(np.flatnonzero(np.diff(offsets) != BLOCK_SIZE) + 1).tolist(), len(batch)]
        for start, stop in zip(edges, edges[1:], strict=False):
            source.read_into(int(offsets[start]), view[start * BLOCK_SIZE:stop * BLOCK_SIZE])
        starts = BLOCK_SIZE * np.arange(len(batch)) + BLOCK_FIRST
        # Never beyond the block, whatever a header says.
        used = np.minimum(batch["header"]["used"], BLOCK_LIMIT - BLOCK_FIRST).astype(np.int64)
        used[~_is_decoded(batch["header"])] = 0
        changed = _changed(view, batch["crc"])
        if changed:
            notes.append(f"{len(changed)} blocks read differently the second time and are not used")
            used[changed] = 0
        yield first, data, starts, starts + used


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
    """Ledger ranges of all whole blocks; neighbours of a boot with consecutive numbers are one range."""
    headers = found["header"]
    keys, numbers = boot_keys(headers), headers["number"].astype(np.int64)
    follows = (
        (np.diff(found["offset"]) == BLOCK_SIZE) & (np.diff(keys) == 0)
        & (np.diff(numbers) == 1) & (np.diff(roles.astype(int)) == 0)
    )
    edges = [0, *(np.flatnonzero(~follows) + 1).tolist(), len(found)]
    ranges = []
    for start, stop in zip(edges, edges[1:], strict=False):
        if start == stop:
            continue
        detail = {
            "flight": flight_name(flight_words(headers[start:start + 1])[0]),
            "boot": int(headers["boot"][start]),
            "first_number": int(numbers[start]),
            "last_number": int(numbers[stop - 1]),
        }
        if roles[start] != KEPT:
            detail["note"] = _ROLE_WORDS[int(roles[start])]
        ranges.append(Range(int(found["offset"][start]), (stop - start) * BLOCK_SIZE, BLOCK, detail))
    return ranges
