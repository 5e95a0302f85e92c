"""Set the statements of a flight beside the truth, and count."""

from dataclasses import dataclass, field

import numpy as np

from tools.campaign.statement_truth import TRUTHS
from tools.campaign.statement_words import WORDS

COVERED, NOT_COVERED, CANNOT_TELL, NO_TRUTH, NO_UNCERTAINTY = "ok", "off", "?", "-", "bare"


@dataclass
class Verdict:
    """Of one statement in one flight. state: one of the words above; parts: Parts that carry an uncertainty; bare:
    those that carry none; words: True, False or None where there are none to judge; why: for a reader.
    """

    state: str
    parts: list = field(default_factory=list)
    bare: list = field(default_factory=list)
    words: bool | None = None
    why: str = ""

    @property
    def covered(self):
        """(covered, all) of the parts with an uncertainty, and of the words."""
        hits = [part.error <= part.uncertainty for part in self.parts]
        hits += [] if self.words is None else [self.words]
        return sum(hits), len(hits)

    @property
    def worst(self):
        """The greatest error in uncertainties, 0 without any part."""
        return max((part.error / max(part.uncertainty, 1e-9) for part in self.parts), default=0.0)


def judge(world, statement):
    """The Verdict on a statement."""
    key = statement["id"]
    if statement["confidence"] == "cannot tell" or (statement["value"] is None and statement["reason"]):
        return Verdict(CANNOT_TELL, why=statement["reason"] or statement["text"])
    found = TRUTHS[key](world, statement) if key in TRUTHS else []
    parts = [part for part in found if part.uncertainty is not None]
    bare = [part for part in found if part.uncertainty is None]
    words = WORDS[key](world, statement["text"]) if key in WORDS else None
    if not parts and words is None:
        return Verdict(NO_UNCERTAINTY if bare else NO_TRUTH, bare=bare)
    verdict = Verdict(COVERED, parts, bare, words)
    hit, count = verdict.covered
    # Of a table with many rows, one in twenty may be off: its uncertainties promise no more.
    if hit < count and (count < 5 or hit < 0.9 * count):
        verdict.state = NOT_COVERED
    off = [part for part in parts if part.error > part.uncertainty]
    told = [f"{part.what}: off by {part.error:.3g}, give or take {part.uncertainty:.3g}, true {_short(part.truth)}"
            for part in sorted(off, key=lambda part: -part.error / max(part.uncertainty, 1e-9))[:2]]  # fmt: skip
    if words is False:
        told.append(f"it says: {statement['text']}")
    verdict.why = "; ".join(told)
    return verdict


def _short(truth):
    return f"{truth:.6g}" if isinstance(truth, (int, float)) else str(truth)


def width(verdicts):
    """Median of uncertainty over the size of the value, over the Verdicts of a statement; None without any."""
    shares = [part.uncertainty / part.size for verdict in verdicts for part in verdict.parts if part.size]
    return float(np.median(shares)) if shares else None
