"""What `ground.recover` says of a source, in the judge's words: judge and oracle know nothing of ground/."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field

from ground.recover import recover_source
from ground.recover.evidence import EVIDENCE_WORDS

SECTOR = 512
TICKS = 1 << 29
LOSS_MAX = 1 << 17  # more than any case writes


@dataclass
class Reading:
    """whole: offsets of the blocks that the ledger calls whole, those of parity included; restored:
    {"rebuilt" or "repaired": keys (flight, boot, number)}; records: {level: {(flight, boot): Counter of
    (kind number, tick, payload)}}; losses: {(flight, boot): Counter of numbers of blocks}; balanced:
    what is wrong with the ledger, empty if nothing is.
    """

    whole: set = field(default_factory=set)
    restored: dict = field(default_factory=lambda: {"rebuilt": set(), "repaired": set()})
    records: dict = field(default_factory=lambda: {level: defaultdict(Counter) for level in EVIDENCE_WORDS})
    losses: dict = field(default_factory=lambda: defaultdict(Counter))
    balanced: str = ""


def read(path, size):
    """Reading of a file. size: bytes that its contents have."""
    recovered = recover_source(path)
    ledger = recovered.ledger
    reading = Reading(balanced=_imbalance(ledger.ranges, size))
    for item in ledger.ranges:
        if item.state in ("block", "parity"):
            reading.whole.update(range(item.offset, item.end, SECTOR))
    for item in ledger.restored:
        reading.restored[item["evidence"]].add((item["flight"], item["boot"], item["number"]))
    for boot in [*recovered.boots, *recovered.unproven]:
        key = boot.flight, boot.boot
        for records in boot.records.values():
            for level, record in records_of(records):
                reading.records[level][key][record] += 1
    for loss in ledger.losses:
        if loss.count > LOSS_MAX:
            reading.balanced = reading.balanced or f"a loss of {loss.count} envelopes, which nobody wrote"
        elif loss.envelope == "block":
            reading.losses[loss.flight, loss.boot].update(range(loss.first_number, loss.last_number + 1))
    return reading


def records_of(records):
    """(level, (kind number, tick, payload)) of each of a kind's records, as they stood in the log."""
    size = records.values.dtype.itemsize
    raw = records.values.tobytes()
    number = records.layout.number
    levels = [EVIDENCE_WORDS[level] for level in records.evidence.tolist()]
    return [
        (level, (number, tick % TICKS, raw[i * size:(i + 1) * size]))
        for i, (tick, level) in enumerate(zip(records.tick_ms.tolist(), levels, strict=True))
    ]


def _imbalance(ranges, size):
    """The campaign's own sum of the ledger: every byte once, in order."""
    at = 0
    for item in ranges:
        if item.offset != at or item.length <= 0:
            return f"the ledger does not balance at byte {at}"
        at = item.offset + item.length
    return "" if at == size else f"the ledger covers {at} of {size} bytes"
