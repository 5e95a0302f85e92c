"""What a faulty board's card holds, as the independent plain decoder reads it."""

import importlib.util
import zlib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from fault_board import adc_reading, barometer_reading, humidity_reading, motion_reading
from fault_card import ZEROS
from protocol.block import BLOCK_LIMIT, MEMBER_FIRST, PARITY_FIRST, is_parity_place, parity_member
from protocol.table import DEVICES, EVENTS, PHASES
from protocol.tick import TICK_PERIOD

DECODER = Path(__file__).resolve().parents[3] / "tools" / "plain_decoder.py"


def load_decoder():
    """The plain decoder, made fast: its own CRC-32 is proven by its tests, zlib's is the same."""
    spec = importlib.util.spec_from_file_location("plain_decoder", DECODER)
    decoder = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(decoder)
    decoder.crc32 = zlib.crc32
    return decoder


plain = load_decoder()
SAMPLED = ("pressure", "air", "motion", "power", "health", "fix")


@dataclass(frozen=True)
class Record:
    boot: int
    kind: str
    tick: int
    values: dict


class Log:
    """All that stands on a card. blocks: headers of the blocks of records, in the order of their places."""

    def __init__(self, card):
        image = b"".join(card.log.get(place, ZEROS) for place in range(max(card.log, default=-1) + 1))
        found = plain.scan(image)
        self.whole = len(found)  # blocks of any sort
        self.parity = [header for _, _, header, _ in found if header["flags"]]
        found = [(header, records) for _, _, header, records in found if not header["flags"]]
        self.blocks = [header for header, _ in found]
        self.records = [
            Record(header["boot"], kind, tick, values)
            for header, records in found for kind, tick, values in records
        ]  # fmt: skip

    def of(self, kind, boot=None):
        return [record for record in self.records if record.kind == kind and boot in (None, record.boot)]

    def counts(self):
        return Counter(record.kind for record in self.records)

    def boots(self):
        return sorted({header["boot"] for header in self.blocks})

    def phases(self, boot):
        """The phases in the headers of a boot's blocks, without repeats."""
        phases = [PHASES[header["phase"]] for header in self.blocks if header["boot"] == boot]
        return [phase for phase, before in zip(phases, [None, *phases[:-1]], strict=True) if phase != before]

    def events(self, *names, boot=None):
        """(tick, event, subject, detail) of the events of these names; phases and devices by their names."""
        words = {"booted": range(256), "phase changed": PHASES}
        found = []
        for record in self.of("event", boot):
            name = dict(EVENTS)[record.values["code"]]
            if name in names:
                subject = words.get(name, DEVICES)[record.values["subject"]]
                found.append((record.tick, name, subject, record.values["detail"]))
        return found

    def device_events(self):
        """[("device failed" or "device returned", device)] in the order of their happening."""
        return [(name, device) for _, name, device, _ in self.events("device failed", "device returned")]

    def messages(self):
        """The short messages, joined from their pieces."""
        messages = []
        for record in self.of("text"):
            if record.values["part"] == 0:
                messages.append(b"")
            messages[-1] += bytes.fromhex(record.values["characters"])
        return [message.rstrip(b"\0").decode() for message in messages]

    def manifest(self, boot):
        return plain.join_manifest([record.values for record in self.of("manifest", boot)])


def check(card, start_tick=0):
    """Read a card without torn writes; check what must hold whatever failed. Returns its Log."""
    log = Log(card)
    assert card.written_over == 0
    assert log.whole == len(card.log)  # no block is torn or mixed up
    for boot in log.boots():
        numbers = [header["number"] for header in log.blocks if header["boot"] == boot]
        assert numbers == list(range(len(numbers)))
        for kind in SAMPLED:
            ticks = [(record.tick - start_tick) % TICK_PERIOD for record in log.of(kind, boot)]
            assert ticks == sorted(set(ticks))
    for header in log.blocks + log.parity:
        is_parity = is_parity_place(header["place"], header["depth"], header["rate"])
        assert bool(header["flags"]) == is_parity and header["place"] in card.log
    for header in log.parity:
        assert _is_right(card.log, header["place"], header["depth"], header["rate"])
    return log


def _is_right(sectors, place, depth, rate):
    """True if a parity block holds the exclusive or of its members; a sector left out stands for zeros."""
    total = 0
    for k in range(rate):
        member = sectors.get(parity_member(place, depth, rate, k), ZEROS)
        total ^= int.from_bytes(member[MEMBER_FIRST:], "little")
    return total == int.from_bytes(sectors[place][PARITY_FIRST:BLOCK_LIMIT], "little")


def strange(log, height_m=lambda second: 100, start_tick=0):
    """The records that tell something else than what the chips said in the second of their tick."""
    return [record for record in log.records if not _is_true(record, height_m, start_tick)]


def _is_true(record, height_m, start_tick):
    second = (record.tick - start_tick) % TICK_PERIOD // 1000
    # A sample that begins at the end of a second may have been converted in the next one.
    return any(_tells(record, moment, height_m(moment)) for moment in (second, second + 1))


def _tells(record, second, height_m):
    values = record.values
    expected = {}
    if record.kind == "pressure":
        expected["pressure_counts"], expected["temperature_counts"] = barometer_reading(second, height_m)
    elif record.kind == "air":
        expected["temperature_counts"] = adc_reading(second)
        expected["humidity_temperature_counts"], expected["humidity_counts"] = humidity_reading(second)
    elif record.kind == "motion":
        expected = dict(zip(values, [c for i, c in enumerate(motion_reading(second)) if i != 3], strict=True))
    elif record.kind == "power":
        expected["battery_counts"] = expected["rail_counts"] = adc_reading(second)
        expected["board_temperature_counts"] = motion_reading(second)[3]
    elif record.kind == "fix":
        expected = {"height": height_m, "time_of_day": second}
    return all(values[name] in (None, expected[name]) for name in expected)
