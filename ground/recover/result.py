"""What recovery hands on: the boots of each flight with their records, and the ledger."""

from dataclasses import dataclass, field

import numpy as np

from ground.layout import OWN_KINDS, FieldLayout, KindLayout
from ground.recover.evidence import PROVEN
from ground.recover.ledger import Coverage, Ledger, Loss, Range

__all__ = [
    "BootLog", "Coverage", "FieldLayout", "KindLayout", "KindRecords", "Ledger", "Loss", "Manifest",
    "Range", "Recovered",
]


@dataclass
class KindRecords:
    """All records of one kind in a boot, sorted stably by time.
    tick_ms: int64 (n,), milliseconds since boot, not modulo the board's tick period;
    values: structured (n,), stored integers as they stood in the log;
    evidence: uint8 (n,), see ground.recover.evidence; all proven if not given.
    """

    layout: KindLayout
    tick_ms: np.ndarray
    values: np.ndarray
    evidence: np.ndarray | None = None

    def __post_init__(self):
        if self.evidence is None:
            self.evidence = np.full(len(self.tick_ms), PROVEN, np.uint8)


@dataclass
class Manifest:
    """A log's description of itself."""

    version: int
    firmware: str
    payload: str
    flight: str
    boot: int
    configuration: str
    kinds: tuple[KindLayout, ...]
    sensors: dict[str, tuple[str, tuple[str, ...]]]
    rates: dict[str, int]
    text: str


@dataclass
class BootLog:
    """One boot (from a reset to the next) of one flight.
    flight: 8 hexadecimal digits, or 'unknown-XX' if only the packets' byte XX of it is known;
    envelopes_*: blocks, or packets of a capture; unreadable_records: envelopes whose records
    could not be walked to the end, because a kind's size is not known;
    manifest_borrowed: the manifest is that of another boot of the same flight;
    envelopes_rebuilt, envelopes_repaired: how many of those found rest on weaker evidence;
    packets_found, packets_expected: how many of them are packets, where a capture was recovered with a card.
    """

    flight: str
    boot: int
    manifest: Manifest | None
    records: dict[str, KindRecords]
    envelopes_found: int
    envelopes_expected: int
    unreadable_records: int
    manifest_borrowed: bool = False
    envelopes_rebuilt: int = 0
    envelopes_repaired: int = 0
    packets_found: int = 0
    packets_expected: int = 0

    @property
    def kinds(self):
        """The table that the records were decoded with."""
        return self.manifest.kinds if self.manifest else OWN_KINDS


@dataclass
class UnprovenLog:
    """Records of one boot out of blocks whose check sum is wrong: see ground.recover.unproven.
    why: kind name to object array of str (n,), what is wrong with the block of each record.
    """

    flight: str
    boot: int
    manifest: Manifest | None
    records: dict[str, KindRecords]
    why: dict[str, np.ndarray]


@dataclass
class Recovered:
    """Everything recovered from one source, or from several together; boots in order of (flight first seen,
    boot). unproven: what may be read of damaged blocks; no part of the boots.
    """

    boots: list[BootLog] = field(default_factory=list)
    ledger: Ledger | None = None
    unproven: list[UnprovenLog] = field(default_factory=list)
