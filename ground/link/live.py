"""What is known of a flight in the air, from the packets heard so far."""

from collections import deque
from dataclasses import dataclass
from math import isfinite
from statistics import median
from struct import calcsize, unpack_from

import numpy as np

from ground.decode.columns import field_numbers
from ground.decode.sensors import convert
from ground.layout import OWN_KINDS
from ground.link.trend import Trend
from ground.recover.manifest import Pieces, parse_manifest
from ground.recover.result import KindRecords
from protocol.record import RECORD_HEADER
from protocol.table import event_code
from protocol.tick import tick_add

_HEADER = "<" + RECORD_HEADER
_PHASE_CHANGED = event_code("phase changed")
_SAME_FIX_S = 2.0  # a beacon's age is in whole seconds: what it says may be the fix that was heard
_BEACONS = 6  # whose spacing tells when the next is due


@dataclass(frozen=True)
class Fix:
    """A position. height_m is NaN if the receiver gave none, utc_s if a beacon told it, which has no time."""

    latitude_deg: float
    longitude_deg: float
    height_m: float  # above mean sea level
    utc_s: float  # since midnight
    heard_s: float  # on the listener's clock: when it was so


@dataclass(frozen=True)
class Reading:
    """A sensor's latest answer: NaN if it had none."""

    value: float
    heard_s: float


class Live:
    """Takes packets and keeps what was heard last.

    None as long as it was not heard: fix (Fix; of fix records and beacons whichever is newer), phase
    (number), pressure_height_m, outside_degc and battery_v (Reading). The readings need the sensors'
    calibration, so they begin with the manifest. beacon_s: seconds from beacon to beacon, 0 as long as
    that is not known. kinds is the table that the packets are read with: this program's own, then the
    manifest's.
    """

    def __init__(self):
        self._takers = {
            "fix": self._take_fix,
            "pressure": self._take_pressure,
            "air": self._take_air,
            "event": self._take_event,
            "beacon": self._take_beacon,
            "manifest": self._take_manifest,
        }
        self._begin_flight(None)
        self._begin_boot(None)

    def take(self, packet, now_s):
        """Take a packet (ground.recover.packets.Packet), heard at now_s on the listener's clock."""
        boot = packet.flight_byte, packet.boot_byte
        if packet.flight_byte != self._flight:
            self._begin_flight(packet.flight_byte)
        if boot != self._boot:
            self._begin_boot(boot)
        records = list(self._records(packet))
        newest = max((difference for _, difference, _ in records), default=0)
        # Beacons last: what they say of a fix is coarser than the fix record that may come with them.
        for layout, difference, payload in sorted(records, key=lambda record: record[0].name == "beacon"):
            taker = self._takers.get(layout.name)
            if taker and layout.payload_size:
                # How long before the packet's newest record the sample was taken.
                heard_s = now_s - (newest - difference) / 1000
                taker(_Record(layout, payload), tick_add(packet.tick, difference), heard_s)

    def _begin_flight(self, flight):
        self._flight = flight
        self.fix = self.phase = self.pressure_height_m = self.outside_degc = self.battery_v = None
        self._beacons_s = deque(maxlen=_BEACONS)
        self.fix_trend = Trend()
        self.pressure_trend = Trend()

    @property
    def beacon_s(self):
        """Seconds from beacon to beacon: the median of the last few."""
        times_s = list(self._beacons_s)
        return median(b - a for a, b in zip(times_s, times_s[1:])) if len(times_s) > 1 else 0.0

    def _begin_boot(self, boot):
        self._boot = boot
        self.kinds = OWN_KINDS
        self._layouts = {layout.number: layout for layout in OWN_KINDS}
        self._sensors = None
        self._pieces = Pieces()

    def _records(self, packet):
        """Yield (layout, time difference in ms, payload), up to a kind of unknown size."""
        data, at = packet.records, 0
        header_size = calcsize(_HEADER)
        while at + header_size <= len(data):
            number, difference = unpack_from(_HEADER, data, at)
            layout = self._layouts.get(number)
            at += header_size
            if layout is None or at + layout.payload_size > len(data):
                return
            yield layout, difference, data[at : at + layout.payload_size]
            at += layout.payload_size

    def _take_fix(self, record, tick, heard_s):
        latitude, longitude = record.number("latitude"), record.number("longitude")
        if not record.number("quality") > 0 or not isfinite(latitude + longitude):
            return
        height_m = record.number("height")
        self._note_fix(Fix(latitude, longitude, height_m, record.number("time_of_day"), heard_s), tick)

    def _note_fix(self, fix, tick):
        self.fix = fix
        if isfinite(fix.height_m):
            self.fix_trend.add(tick, fix.height_m)

    def _take_beacon(self, record, tick, heard_s):
        self._beacons_s.append(heard_s)
        if isfinite(record.number("phase")):
            self.phase = int(record.number("phase"))
        self.battery_v = Reading(self._converted("beacon", record, "battery_V"), heard_s)
        latitude, longitude, age_s = (record.number(name) for name in ("latitude", "longitude", "fix_age"))
        if not isfinite(latitude + longitude + age_s):
            return
        fix = Fix(latitude, longitude, record.number("height"), float("nan"), heard_s - age_s)
        if self.fix is None or fix.heard_s > self.fix.heard_s + _SAME_FIX_S:
            self._note_fix(fix, tick_add(tick, -round(age_s * 1000)))

    def _take_pressure(self, record, tick, heard_s):
        height_m = self._converted("pressure", record, "pressure_height_m")
        self.pressure_height_m = Reading(height_m, heard_s)
        if isfinite(height_m):
            self.pressure_trend.add(tick, height_m)

    def _take_air(self, record, tick, heard_s):
        self.outside_degc = Reading(self._converted("air", record, "temperature_degC"), heard_s)

    def _take_event(self, record, tick, heard_s):
        if record.number("code") == _PHASE_CHANGED and isfinite(record.number("subject")):
            self.phase = int(record.number("subject"))

    def _take_manifest(self, record, tick, heard_s):
        if self._sensors is not None:
            return
        self._pieces.add(KindRecords(record.layout, np.array([tick]), record.values))
        text = self._pieces.text()
        if text:
            manifest = parse_manifest(text)
            self._sensors = manifest.sensors
            self.kinds = manifest.kinds
            self._layouts = {layout.number: layout for layout in (OWN_KINDS[0], *manifest.kinds)}

    def _converted(self, kind, record, column_name):
        columns, _, _ = convert(kind, record.numbers(), self._sensors or {})
        return next((float(c.values[0]) for c in columns if c.name == column_name), float("nan"))


class _Record:
    """One record's fields."""

    def __init__(self, layout, payload):
        self.layout = layout
        self.values = np.frombuffer(payload, layout.dtype)

    def numbers(self):
        """Numbers by name, arrays of one, NaN for missing."""
        return {
            f.name: field_numbers(f, self.values[f.name]) for f in self.layout.fields if f.missing is not None
        }

    def number(self, name):
        """One number; NaN if it is missing, or not in this log's table."""
        return float(self.numbers().get(name, [np.nan])[0])
