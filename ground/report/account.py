"""A short account, for people, of what a recovery found and lost, where and why, and what to do about it."""

from collections import Counter

import numpy as np

from ground.statements.words import INDENT, WIDTH
from ground.recover import losses
from ground.recover.ledger import BLOCK, BLOCK_DAMAGED, CUT_OFF, MADE_GOOD, PACKET, UNREADABLE
from ground.recover.packet_series import UNKNOWN_FLIGHT
from ground.report.holes import find_holes, logged_s
from ground.report.plain import duration, filled, grouped, printable, several

_REASONS = {
    losses.DAMAGED: "damaged (wrong bits)",
    losses.TORN: "torn (the last write did not end)",
    losses.WIPED: "wiped (zeros or ones instead)",
    losses.NOT_READABLE: "in places that could not be read",
    losses.OVERWRITTEN: "overwritten (something else instead)",
    losses.NOT_FOUND: "not found (the place is not known)",
    losses.LINK_GAP: "not heard (gaps in the link)",
}
_COPY_AGAIN = "Copy the card again with loftbook card: what fails once may be read the next time."
_FETCH_AGAIN = "Copy or compress the source again, if the original is still there: this file is not whole."
_ANOTHER = "Give loftbook recover another source beside this: {}."
_BESIDE_CARD = "a second copy of the card, or what was heard on the ground"
_BESIDE_LINK = "its card, or what others heard"
_USUAL = "Nothing: the write that is under way when the power goes is lost as a rule."

_NOT_HEARD = "Nothing: what was not heard is on the card."


def account(ledger, flight, summary, unproven=()):
    """Say what came back of a flight, what did not, and what to do next.

    ledger: Ledger, flight: Flight, summary: Summary and unproven: list of UnprovenLog, all of one recovery.
    Returns text of at most 80 columns, two lines if nothing is lost. It gives no reason that the ledger does
    not give.
    """
    thing = _thing(ledger, flight.flight)
    lost = [loss for loss in ledger.losses if loss.flight == flight.flight]
    holes = find_holes(lost, flight, summary.case)
    bad = [
        *_unproven(flight, unproven), *_lost(flight, holes), *_where(holes, flight), *_not_read(ledger),
        *_beside(ledger, flight, thing),
    ]
    if not bad:
        return _nothing_lost(flight, thing)
    rows = [("Found", _found(flight, thing)), *bad, ("What to do", _what_to_do(ledger, lost, thing, flight))]
    lines = [f"What came back of flight {flight.flight}, and what did not", ""]
    for title, words in rows:
        lines += filled(words, WIDTH, title.ljust(INDENT), " " * INDENT)
    return "\n".join(lines) + "\n"


def _thing(ledger, flight):
    """What a flight was found in: block, packet, or both."""
    byte = flight.removeprefix(UNKNOWN_FLIGHT)[:2]
    has_blocks = any(item.state == BLOCK and item.detail["flight"] == flight for item in ledger.ranges)
    has_packets = any(item.state == PACKET and item.detail["flight_byte"] == byte for item in ledger.ranges)
    return "packet" if not has_blocks else "block or packet" if has_packets else "block"


def _nothing_lost(flight, thing):
    lines = (
        f"Nothing of flight {flight.flight} is lost, by its numbers, in {duration(logged_s(flight))}:",
        f"{_evidence(flight, thing)}.",
    )
    return "".join(f"{line}\n" for text in lines for line in filled(text, WIDTH))


def _found(flight, thing):
    found = sum(boot.envelopes_found for boot in flight.boots)
    expected = sum(boot.envelopes_expected for boot in flight.boots)
    words = f"{grouped(found)} of {several(expected, thing)}, in {several(len(flight.boots), 'boot')}"
    return f"{words}: {_evidence(flight)}"


def _evidence(flight, thing=None):
    """How many blocks or packets came back on which evidence; thing: names them."""
    rebuilt = sum(boot.envelopes_rebuilt for boot in flight.boots)
    repaired = sum(boot.envelopes_repaired for boot in flight.boots)
    whole = sum(boot.envelopes_found for boot in flight.boots) - rebuilt - repaired
    words = [f"{several(whole, thing) if thing else grouped(whole)} whole"]
    words += [f"{grouped(rebuilt)} rebuilt from parity"] * bool(rebuilt)
    words += [f"{grouped(repaired)} repaired"] * bool(repaired)
    return ", ".join(words) if repaired else ", ".join([*words, "proven by check sums"])


def _unproven(flight, logs):
    mine = [kind for log in logs if log.flight == flight.flight for kind in log.records.values()]
    count = sum(len(kind.tick_ms) for kind in mine)
    if not count:
        return []
    return [("Unproven", f"{several(count, 'record')} of damaged blocks, in no table (recover --unproven)")]


def _lost(flight, holes):
    if not holes:
        return []
    kinds, reasons = Counter(), Counter()
    for hole in holes:
        kinds[hole.envelope] += hole.count
        reasons.update(hole.reasons)
    number = " and ".join(several(count, kind) for kind, count in kinds.items())
    why = [f"{grouped(count)} {_REASONS.get(reason, reason)}" for reason, count in reasons.most_common()]
    expected = sum(boot.envelopes_expected for boot in flight.boots)
    return [("Lost", f"{number}, {_percent(kinds.total(), expected)}: {', '.join(why)}")]


def _percent(part, whole):
    percent = 100.0 * part / whole
    return f"{percent:.1f}\u00a0%" if percent >= 0.05 else "less than 0.1\u00a0%"


def _where(holes, flight):
    """Between which times and heights, the longest hole, and how long all are together."""
    if not holes:
        return []
    edges = [edge for hole in holes for edge in hole.edges]
    rows = [("When", _when(edges)), ("Heights", _heights(edges))]
    if len(holes) > 1:
        longest = max(holes, key=lambda hole: hole.seconds)
        words = f"{duration(longest.seconds)} from {_when([longest.begin])}, height {_heights(longest.edges)}"
        rows.append(("Longest hole", words))
    gone, aloft = sum(hole.seconds for hole in holes), sum(hole.seconds for hole in holes if hole.in_flight)
    words = f"{duration(gone)} of {duration(logged_s(flight))}"
    if any(edge.launch_s is not None for edge in edges):
        words += f", {'none' if not aloft else 'all' if aloft == gone else duration(aloft)} of it in flight"
    return [*rows, ("Without data", words)]


def _when(edges):
    """The first and the last of these moments, in words."""
    known = [edge for edge in edges if edge.utc is not None]
    if not known:
        return " to ".join(dict.fromkeys([_clock(edges[0]), _clock(edges[-1])]))
    first, last = min(known, key=lambda edge: edge.utc), max(known, key=lambda edge: edge.utc)
    clocks = list(dict.fromkeys([_clock(first), _clock(last)]))
    if clocks[0][:10] == clocks[-1][:10]:
        clocks[1:] = [clock[11:] for clock in clocks[1:]]
    words = [f"{' to '.join(clocks)} UTC"]
    if first.launch_s is not None and last.launch_s is not None:
        words.append(_after_launch(first.launch_s, last.launch_s))
    if len(known) < len(edges):
        words.append("and at times that are not known")
    return ", ".join(words)


def _clock(edge):
    if edge.utc is None:
        return f"{edge.tick_ms / 1000:.1f}\u00a0s into boot {edge.boot}"
    return str(edge.utc + np.timedelta64(500, "ms"))[:19].replace("T", " ")


def _after_launch(first_s, last_s):
    sides = ["after" if seconds >= 0 else "before" for seconds in (first_s, last_s)]
    first, last = duration(abs(first_s)), duration(abs(last_s))
    if sides[0] != sides[1]:
        return f"{first} {sides[0]} to {last} {sides[1]} launch"
    return f"{' to '.join(dict.fromkeys([first, last]))} {sides[0]} launch"


def _heights(edges):
    """Heights in words, to 10 m."""
    heights = sorted(10 * round(edge.height_m / 10) for edge in edges if edge.height_m is not None)
    if not heights:
        return "not known"
    if heights[0] == heights[-1]:
        return f"near {grouped(heights[0])} m"
    return f"between {grouped(heights[0])} and {grouped(heights[-1])} m"


def _not_read(ledger):
    rows = []
    for source in ledger.sources:
        length = sum(item.length for item in _unread_places(source))
        if length:
            rows.append(("Not read", f"{several(length, 'byte')} of {printable(source.source)}"))
    return rows + [("Not read", printable(doubt, 200)) for doubt in ledger.doubts]


def _unread_places(source):
    """Ranges that could not be read and that no other source holds; not the rest of one that is cut off."""
    ranges = source.ranges[:-1] if CUT_OFF in source.facts else source.ranges
    return [item for item in ranges if item.state == UNREADABLE and MADE_GOOD not in item.detail]


def _beside(ledger, flight, thing):
    """What is wrong and shows in no number."""
    rows = []
    explained = sum(loss.count for loss in ledger.losses if loss.reason in (losses.DAMAGED, losses.TORN))
    others = len(ledger.places(BLOCK_DAMAGED)) - explained
    if others > 0:
        words = f"{several(others, 'place')} more where a block may have stood, though no number is missing"
        rows.append(("Damaged", words))
    cut_short = sum(boot.unreadable_records for boot in flight.boots)
    if cut_short:
        rows.append(("Cut short", f"{several(cut_short, thing)}, from a record of unknown size on"))
    return rows


def _what_to_do(ledger, lost, thing, flight):
    reasons = {loss.reason for loss in lost}
    unread = any(map(_unread_places, ledger.sources)) or losses.NOT_READABLE in reasons
    if reasons == {losses.TORN} and not unread and not ledger.doubts:
        return _USUAL
    on_card = all(boot.packets_expected < boot.envelopes_expected for boot in flight.boots)
    if reasons == {losses.LINK_GAP} and thing != "packet" and on_card and not unread and not ledger.doubts:
        return _NOT_HEARD
    another = _ANOTHER.format(_BESIDE_LINK if thing == "packet" else _BESIDE_CARD)
    return " ".join([*[_COPY_AGAIN] * unread, *[_FETCH_AGAIN] * bool(ledger.doubts), another])
