"""What a scenario wiped from a card, and what parity brings back: from the card's sectors and the format's rules."""

from dataclasses import dataclass
from struct import calcsize, unpack_from

import numpy as np

from onboard.simulator.damage import block_offsets
from protocol.block import BLOCK_HEADER, BLOCK_HEADER_FIELDS, BLOCK_SIZE, is_parity_place, parity_member


@dataclass(frozen=True)
class Kept:
    """Blocks of records of a card, in order: tick_s (n,), when each begins, in s of the board's clock, interpolated
    for those that are lost; there (n,): whole, or made anew from parity.
    """

    tick_s: np.ndarray
    there: np.ndarray

    def share(self, from_s=-np.inf, to_s=np.inf):
        """Share of the blocks that begin within a time which came back."""
        inside = (self.tick_s >= from_s) & (self.tick_s <= to_s)
        return float(self.there[inside].mean())

    def longest_gap_s(self, from_s, to_s):
        """Longest run of lost blocks that begin within a time."""
        inside = (self.tick_s >= from_s) & (self.tick_s <= to_s)
        edges_s = self.tick_s[inside][self.there[inside]]
        lost = np.diff(np.flatnonzero(self.there[inside])) > 1
        usual_s = float(np.median(np.diff(self.tick_s)))
        return float((np.diff(edges_s) - usual_s)[lost].max()) if lost.any() else 0.0


def read_kept(path):
    """The Kept of a card image (Path) of one boot, whose log lies in one piece."""
    image = path.read_bytes()
    offsets = block_offsets(image)
    headers = [dict(zip(BLOCK_HEADER_FIELDS, unpack_from(BLOCK_HEADER, image, at))) for at in offsets]
    whole = {header["place"]: header for header in headers}
    last = offsets[-1] - offsets[0]
    assert last // BLOCK_SIZE == headers[-1]["place"] - headers[0]["place"] and calcsize(BLOCK_HEADER) < BLOCK_SIZE
    depth, rate = headers[0]["depth"], headers[0]["rate"]
    places = range(headers[0]["place"], headers[-1]["place"] + 1)
    data = [place for place in places if not is_parity_place(place, depth, rate)]
    there = {place for place in data if place in whole}
    known = {place: whole[place]["tick"] / 1000.0 for place in there}
    for place in whole.keys() - there:
        members = [parity_member(place, depth, rate, k) for k in range(rate)]
        missing = [member for member in members if member not in whole]
        if len(missing) == 1:
            there.add(missing[0])
    tick_s = np.interp(data, sorted(known), [known[place] for place in sorted(known)])
    return Kept(tick_s, np.array([place in there for place in data]))
