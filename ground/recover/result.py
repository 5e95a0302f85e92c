"""What recovery hands on: the boots of each flight with their records, and the ledger."""

from dataclasses import dataclass, field

import numpy as np

from ground.layout import OWN_KINDS, FieldLayout, KindLayout
from ground.recover.ledger import Ledger, Loss, Range

__all__ = [
    "BootLog", "FieldLayout", "KindLayout", "KindRecords", "Ledger", "Loss", "Manifest", "Range",
    "Recovered",
]


@dataclass
class KindRecords:
    """All records of one kind in a boot, sorted stably by time.
    tick_ms: int64 (n,), milliseconds since boot, not modulo the board's tick period;
    values: structured (n,), stored integers as they stood in the log.
    """

    layout: KindLayout
    tick_ms: np.ndarray
    values: np.ndarray


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
    manifest_borrowed: the manifest is that of another boot of the same flight.
    """

    flight: str
    boot: int
    manifest: Manifest | None
    records: dict[str, KindRecords]
    envelopes_found: int
    envelopes_expected: int
    unreadable_records: int
    manifest_borrowed: bool = False

    @property
    def kinds(self):
        """The table that the records were decoded with."""
        return self.manifest.kinds if self.manifest else OWN_KINDS


@dataclass
class Recovered:
    """Everything recovered from one source; boots in order of (flight first seen, boot)."""

    boots: list[BootLog] = field(default_factory=list)
    ledger: Ledger | None = None
