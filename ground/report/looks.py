"""How what a source held looks in a picture: words, a colour, and a mark that tells it without colour.

Colours: the palette of M. Okabe and K. Ito, "Color Universal Design (CUD): How to make figures and
presentations that are friendly to colorblind people", 2002, revised 2008; and greys for what is none of ours.
"""

from dataclasses import dataclass

from ground.recover import ledger
from ground.recover.packet_series import NUMBER_PERIOD
from protocol.block import BLOCK_SIZE

PALETTE_SOURCE = "Okabe and Ito, Color Universal Design, 2008"
_BLACK, _SKY_BLUE, _BLUE = "#000000", "#56B4E9", "#0072B2"
_VERMILLION, _ORANGE, _PURPLE = "#D55E00", "#E69F00", "#CC79A7"
_WHITE, _GREY, _PALE = "#FFFFFF", "#D3CEC4", "#ECE7DC"
_CROSS = '<path d="M.2 .2L.8 .8M.8 .2L.2 .8" stroke="{}" stroke-width=".17"/>'
_DOT = '<circle cx=".5" cy=".5" r="{}" fill="{}"/>'
_BAR = '<path d="M.1 .5h.8" stroke="{}" stroke-width=".26"/>'


@dataclass(frozen=True)
class Look:
    """words: for the legend; colour: of a cell; mark: SVG in a square of 1 x 1 at (0, 0), '' for none."""

    words: str
    colour: str
    mark: str = ""


NOT_READ = Look("could not be read", _BLACK, _CROSS.format(_WHITE))
LOST = Look("damaged block", _VERMILLION, '<path d="M.12 .88L.88 .12" stroke="#000" stroke-width=".2"/>')
FOREIGN_INSIDE = Look("other data in the middle of a log", _PURPLE, _CROSS.format(_BLACK))
BLANK_INSIDE = Look(
    "blank in the middle of a log", _WHITE,
    '<path d="M.17 .17h.66v.66h-.66z" stroke="#000" stroke-width=".2" fill="none"/>',
)
ELSEWHERE = Look(
    "not whole here, but in another source", _BLUE, '<path d="M.1 .1h.75L.1 .85z" fill="#fff"/>'
)
PARITY_LOST = Look("damaged block of parity", _ORANGE, _BAR.format(_BLACK))
REPAIRED = Look("damaged block, repaired", _BLUE, _DOT.format(".26", _WHITE))
REBUILT = Look(
    "block rebuilt from parity and proven", _BLUE,
    '<path d="M.5 .1v.8M.1 .5h.8" stroke="#fff" stroke-width=".22"/>',
)
HEARD = Look("packets", _SKY_BLUE, '<path d="M.5 .1v.8" stroke="#fff" stroke-width=".26"/>')
WHOLE = Look("whole block", _SKY_BLUE)
PARITY = Look("whole block of parity", _SKY_BLUE, _BAR.format(_WHITE))
FOREIGN = Look("other data, none of ours", _GREY, _DOT.format(".13", "#6B665C"))
ONES = Look("blank, ones", _PALE, _DOT.format(".1", "#8D877B"))
ZEROS = Look("blank, zeros", _PALE)
# The worst first: a cell that holds several shows the first of them.
LOOKS = (
    NOT_READ, LOST, FOREIGN_INSIDE, BLANK_INSIDE, ELSEWHERE, PARITY_LOST, REPAIRED, REBUILT, HEARD, WHOLE,
    PARITY, FOREIGN, ONES, ZEROS,
)
OF_THE_LOG = (LOST, ELSEWHERE, PARITY_LOST, REPAIRED, REBUILT, HEARD, WHOLE, PARITY)
_OF_STATE = {
    ledger.BLOCK: WHOLE, ledger.BLOCK_DAMAGED: LOST, ledger.REBUILT: REBUILT, ledger.REPAIRED: REPAIRED,
    ledger.PARITY: PARITY, ledger.PARITY_DAMAGED: PARITY_LOST, ledger.PACKET: HEARD,
    ledger.UNREADABLE: NOT_READ, ledger.OTHER: FOREIGN, ledger.ONES: ONES, ledger.ZEROS: ZEROS,
}
_INSIDE = {FOREIGN: FOREIGN_INSIDE, ONES: BLANK_INSIDE, ZEROS: BLANK_INSIDE}
# So many sectors at most lie between two blocks of a log beside those of the blocks that are missing there:
# the parity of a stripe (its depth is one byte), or sectors that the card refused.
_OTHERS_MAX = 255


@dataclass(frozen=True)
class Seen:
    """A Range of the ledger and its Look."""

    range: object
    look: Look

    @property
    def blocks(self):
        """Blocks, or packets; of anything else, the blocks that would have room there."""
        if self.look is HEARD:
            detail = self.range.detail
            return (detail["last_number"] - detail["first_number"]) % NUMBER_PERIOD + 1
        return -(-self.range.length // BLOCK_SIZE)


def see(ranges):
    """Give each of a source's ranges (of the ledger, in order) its look: list of Seen, without those that
    have no length.
    """
    seen, last = [], None  # last: index of the last whole block, with records or parity
    for item in ranges:
        if not item.length:
            continue
        look = ELSEWHERE if ledger.MADE_GOOD in item.detail else _OF_STATE[item.state]
        if look in (WHOLE, PARITY):
            if last is not None and _goes_on(seen[last].range, item):
                inside = [Seen(one.range, _INSIDE.get(one.look, one.look)) for one in seen[last + 1:]]
                seen[last + 1:] = inside
            last = len(seen)
        seen.append(Seen(item, look))
    return seen


def _goes_on(before, after):
    """True if two ranges of whole blocks are of one log, and what is missing between them stood there."""
    if before.detail["flight"] != after.detail["flight"]:
        return False
    missing = 0
    if before.detail.get("boot", 0) == after.detail.get("boot"):
        missing = max(0, after.detail["first_number"] - before.detail["last_number"] - 1)
    # Every missing block may have a sector of parity.
    return after.offset - before.end <= BLOCK_SIZE * (2 * missing + _OTHERS_MAX)
