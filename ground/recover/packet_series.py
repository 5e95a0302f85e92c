"""Telling the packets of a source apart by flight and boot, and reading them in order.

A packet carries one byte of its flight and one of its boot. The rest comes from manifests, from the
running numbers (which begin anew in each boot) and from their ticks (which must rise with them).
"""

from bisect import bisect_left
from dataclasses import dataclass, field

import numpy as np

from ground.recover.packets import Packet
from ground.recover.series import BATCH, Series
from protocol.record import DIFFERENCE_MAX
from protocol.tick import TICK_PERIOD, tick_difference

NUMBER_PERIOD = 1 << 16
UNKNOWN_FLIGHT = "unknown-"  # and the one byte that is known
# A base tick may be a little older than that of the packet before: a fix is sent when its line is
# complete, with the time of its first character.
_SLACK_MS = DIFFERENCE_MAX
_MANIFEST_MIN = 256  # bytes; fewer cannot hold a whole manifest, so there is no need to look
_BOOTS_TRIED = 16  # bounds the work on a stream made to contradict itself


@dataclass
class _Run:
    """Packets of one boot, ascending by unwrapped number."""

    packets: list[Packet] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)
    times_ms: list[int] = field(default_factory=list)
    identity: tuple[str, int] | None = None

    def append(self, packet):
        """Take the next packet of a stream; False if it does not go on from the last one."""
        number, time = packet.number, packet.tick
        if self.packets:
            step = (packet.number - self.numbers[-1]) % NUMBER_PERIOD
            elapsed = tick_difference(packet.tick, self.packets[-1].tick)
            if not 0 < step < NUMBER_PERIOD // 2 or elapsed < -_SLACK_MS:
                return False
            number, time = self.numbers[-1] + step, self.times_ms[-1] + elapsed
        self.packets.append(packet)
        self.numbers.append(number)
        self.times_ms.append(time)
        return True

    def merge(self, other):
        """Take in all packets of another run; False if it cannot be of the same boot."""
        if self.identity and other.identity and self.identity != other.identity:
            return False
        later_ms = _whole_periods(self.times_ms[-1] - other.times_ms[0], TICK_PERIOD)
        times_ms = [time + later_ms for time in other.times_ms]
        nearest = min(bisect_left(self.times_ms, times_ms[0]), len(self.numbers) - 1)
        higher = _whole_periods(self.numbers[nearest] - other.numbers[0], NUMBER_PERIOD)
        numbers = [number + higher for number in other.numbers]
        if not all(map(self._agrees, numbers, times_ms)):
            return False
        for packet, number, time in zip(other.packets, numbers, times_ms, strict=True):
            at = bisect_left(self.numbers, number)
            self.packets.insert(at, packet)
            self.numbers.insert(at, number)
            self.times_ms.insert(at, time)
        self.identity = self.identity or other.identity
        return True

    def _agrees(self, number, time):
        at = bisect_left(self.numbers, number)
        if at < len(self.numbers):
            # Exact duplicates are gone already: an equal number is another boot's.
            if self.numbers[at] == number or time > self.times_ms[at] + _SLACK_MS:
                return False
        return not at or time >= self.times_ms[at - 1] - _SLACK_MS


def _whole_periods(difference, period):
    return round(difference / period) * period


def packet_series(packets):
    """One decoded Series for each boot among packets without duplicates, in the source's order."""
    groups = {}
    for packet in packets:
        groups.setdefault((packet.flight_byte, packet.boot_byte), []).append(packet)
    series = []
    for (flight_byte, boot_byte), group in groups.items():
        for index, run in enumerate(_boots(_runs(group))):
            suffix = f"-{index + 1}" if index else ""
            series.append(_series(run, f"{UNKNOWN_FLIGHT}{flight_byte:02x}{suffix}"))
    return series


def _runs(group):
    """Stretches of a stream in which numbers and ticks rise, each with what its manifest says."""
    runs = [_Run()]
    for packet in group:
        if not runs[-1].append(packet):
            runs.append(_Run())
            runs[-1].append(packet)
    for run in runs:
        run.identity = _identity(run.packets)
    return runs


def _boots(runs):
    """Runs merged where they can be of one boot: pieces of a capture, put together in any order."""
    boots = []
    for run in runs:
        if not any(boot.merge(run) for boot in boots[-_BOOTS_TRIED:]):
            boots.append(run)
    return boots


def _identity(packets):
    """(flight, boot) by the manifest in these packets; None if they hold no whole one."""
    if sum(packet.length for packet in packets) < _MANIFEST_MIN:
        return None
    manifest = _series(_Run(packets, [0] * len(packets), [0] * len(packets)), "").manifest
    return manifest and (manifest.flight, manifest.boot)


def _series(run, flight):
    first = run.packets[0]
    # Runs that were put before others may have been counted below zero.
    numbers = np.array(run.numbers, np.int64) - run.numbers[0] // NUMBER_PERIOD * NUMBER_PERIOD
    times_ms = np.array(run.times_ms, np.int64) - run.times_ms[0] // TICK_PERIOD * TICK_PERIOD
    offsets = np.array([packet.offset for packet in run.packets], np.int64)
    series = Series(
        "packet", flight, first.boot_byte, numbers, times_ms, offsets, lambda: _batches(run.packets)
    )
    series.decode(lambda manifest: (manifest.flight[:2], manifest.boot & 0xFF)
                  == (f"{first.flight_byte:02x}", first.boot_byte))
    if series.manifest:
        series.flight, series.boot = series.manifest.flight, series.manifest.boot
    return series


def _batches(packets):
    for first in range(0, len(packets), BATCH):
        batch = [packet.records for packet in packets[first:first + BATCH]]
        lengths = np.array([len(records) for records in batch], np.int64)
        ends = lengths.cumsum()
        yield first, np.frombuffer(b"".join(batch), np.uint8), ends - lengths, ends
