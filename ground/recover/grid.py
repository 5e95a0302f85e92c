"""The grid of whole blocks in a source: who a block at an offset must be, by those that stand next to it."""

import numpy as np

from protocol.block import BLOCK_MAGIC, BLOCK_SIZE

_IDENTITY = ("version", "depth", "rate", "flight")


class Grid:
    """found: whole blocks in order of offset, array of FOUND_DTYPE."""

    def __init__(self, found):
        self._found = found
        self._offsets = np.ascontiguousarray(found["offset"])  # a search would copy a field every time

    def around(self, offset):
        """The whole blocks next to an offset, before and behind it: rows of `found`, one or two."""
        at = int(np.searchsorted(self._offsets, offset))
        return [self._found[i] for i in (at - 1, at) if 0 <= i < len(self._found)]

    def fits(self, header, offset):
        """True if a block at this offset can have this header: magic as ever, version, flight and parity
        those of a block next to it, and the place that its offset says, if it stands on the grid of one of them.
        """
        if bytes(header["magic"]) != BLOCK_MAGIC:
            return False
        kin = [
            row for row in self.around(offset)
            if all(row["header"][name] == header[name] for name in _IDENTITY)
        ]
        places = []
        for row in kin:
            step, rest = divmod(offset - int(row["offset"]), BLOCK_SIZE)
            if not rest:
                places.append(int(row["header"]["place"]) + step)
        return bool(kin) and (not places or int(header["place"]) in places)

    def place_at(self, offset):
        """(header of a block next to it, place) of the sector at an offset, by the nearest whole block on
        whose grid it stands; None if there is none.
        """
        rows = sorted(self.around(offset), key=lambda row: abs(offset - int(row["offset"])))
        for row in rows:
            step, rest = divmod(offset - int(row["offset"]), BLOCK_SIZE)
            if not rest and int(row["header"]["place"]) + step >= 0:
                return row["header"], int(row["header"]["place"]) + step
        return None
