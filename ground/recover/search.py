"""Finding byte sequences in windows, many times faster than byte by byte."""

import numpy as np

_CHUNK = 1 << 16
_SHORT = 1 << 12  # bytes that are searched faster than numpy can be called for it


def positions(data, needle):
    """Ascending offsets of a needle of two bytes or more, which does not overlap itself, in a
    uint8 array. int64 array.
    """
    if len(data) <= _SHORT:
        return _in_short(data.tobytes(), needle)
    pair = np.frombuffer(needle[:2], "<u2")[0]
    found = []
    for start in range(0, len(data) - len(needle) + 1, _CHUNK):
        chunk = data[start:start + _CHUNK + 1]
        if not chunk.max():
            continue  # unwritten space, the most of a card: one fast pass is enough
        for phase in (0, 1):
            count = (len(chunk) - phase) // 2
            pairs = chunk[phase:phase + 2 * count].view("<u2")
            hits = np.flatnonzero(pairs == pair)
            if len(hits):
                found.append(start + phase + 2 * hits)
    if not found:
        return np.empty(0, np.int64)
    hits = np.sort(np.concatenate(found))
    hits = hits[hits <= len(data) - len(needle)]
    for i in range(2, len(needle)):
        hits = hits[data[hits + i] == needle[i]]
    return hits


def _in_short(data, needle):
    found = []
    at = data.find(needle)
    while at >= 0:
        found.append(at)
        at = data.find(needle, at + len(needle))
    return np.array(found, np.int64)


def overlapping(data, dtype):
    """View of a uint8 array as items of a dtype that begin at every byte: (len - itemsize + 1,)."""
    return np.ndarray((max(0, len(data) - dtype.itemsize + 1),), dtype, data, 0, (1,))
