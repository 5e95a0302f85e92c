"""A small flight log, built with the protocol's own builder: the invented Napraforgo-1 waits,
climbs for ten minutes, bursts, loses power on the way down, falls on in a second boot and lands.
"""

from binascii import crc32
from random import Random
from struct import pack, pack_into

from ground.physics.atmosphere import standard_pressure_pa, standard_temperature_k
from protocol.block import BlockBuilder
from protocol.manifest import Pieces, build_manifest
from protocol.record import Layout
from protocol.table import KINDS, event_code
from protocol.tick import TICK_MASK

FLIGHT = bytes.fromhex("1a2b3c4d")
PAYLOAD = "Napraforgo-1"
MS5611_WORDS = (40127, 36924, 23317, 23282, 33464, 28312)  # the datasheet's example
SENSORS = (
    ("barometer", "ms5611") + MS5611_WORDS,
    ("outside_temperature", "pt1000_divider", 1000),
    ("humidity", "sht3x"),
    ("motion", "mpu6050", 16, 2000),
    ("board_temperature", "mpu6050"),
    ("battery", "adc_divider", 3300, 3000),
    ("rail", "adc_divider", 3300, 2000),
    ("gnss", "nmea"),
)
RATES = (("pressure", 500), ("air", 1000), ("motion", 1000))
DAY = 20589  # 2026-05-16, days since 1970-01-01
LAUNCH_TIME_OF_DAY_S = 8 * 3600 + 30 * 60
GROUND_M = 96.0
BURST_S = 630
RESET_S = 700  # after power came back 3 s later, boot 2 counts from its own start
DARK_S = 3
LANDED_S = 830
END_S = 860
EXTRA_KIND = (77, (11, -3, 500))  # a kind of the future: number, and what one record holds


class LogWriter:
    """Writes the blocks of one boot, one record at a time."""

    def __init__(self, flight, boot, manifest):
        self._flight = flight
        self._boot = boot
        self._layouts = {name: Layout(name) for _, name, _ in KINDS}
        self._manifest = Pieces(self._layouts["manifest"], "text", manifest)
        self._builder = BlockBuilder()
        self._number = 0
        self.phase = 0
        self.blocks = []

    def add(self, kind, tick_ms, **values):
        """Write one record; fields that are not given are missing."""
        layout = self._layouts[kind]
        layout.clear()
        for name, value in values.items():
            layout.values[layout.index(name)] = value
        self._put(layout, tick_ms)

    def add_pieces(self, kind, pieces, tick_ms):
        """Write a text in pieces."""
        pieces.restart()
        while pieces.pending():
            pieces.fill()
            self._put(self._layouts[kind], tick_ms)

    def add_manifest(self, tick_ms):
        """Write the manifest."""
        self.add_pieces("manifest", self._manifest, tick_ms)

    def add_text(self, text, tick_ms):
        """Write a message."""
        self.add_pieces("text", Pieces(self._layouts["text"], "characters", text.encode()), tick_ms)

    def add_raw(self, number, payload, tick_ms):
        """Write a record of a kind that the protocol's table does not have."""
        self._put(_RawLayout(number, payload), tick_ms)

    def close(self):
        """Finish the last block. Returns all blocks as bytes."""
        if self._builder.is_open:
            self._close_block()
        return b"".join(self.blocks)

    def _put(self, layout, tick_ms):
        tick = tick_ms & TICK_MASK
        if self._builder.is_open and not self._builder.fits(layout, tick):
            self._close_block()
        if not self._builder.is_open:
            self._builder.open(tick)
        self._builder.add(layout, tick)

    def _close_block(self):
        self._builder.close(self._flight, self._boot, self._number, self.phase)
        self.blocks.append(bytes(self._builder.buffer))
        self._number += 1


class _RawLayout:
    format = "<Bh"

    def __init__(self, number, payload):
        self.number, self.values, self.size = number, payload, 3 + len(payload)

    @staticmethod
    def packer(layout, buffer, at, difference):
        pack_into(layout.format, buffer, at, layout.number, difference)
        buffer[at + 3 : at + layout.size] = layout.values


def height_m(second):
    """The height above mean sea level, by seconds since the first boot."""
    if second < 30:
        return GROUND_M
    if second < BURST_S:
        return GROUND_M + 5.0 * (second - 30)
    return max(GROUND_M, GROUND_M + 5.0 * (BURST_S - 30) - 15.0 * (second - BURST_S))


def manifest_of(flight, boot, extra_kind=False):
    """The manifest's bytes, if wanted with a kind that this version's table does not have."""
    text = build_manifest("0.1.0", PAYLOAD, flight, boot, "0badcafe", SENSORS, RATES)
    if not extra_kind:
        return text
    lines = text.decode().splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if line.startswith("sensor"))
    extra = [
        f"kind {EXTRA_KIND[0]} wind\n",
        "field a B 1 count\n",
        "field b h 10 deg\n",
        "field c I 1 count\n",
    ]
    body = "".join(lines[:at] + extra + lines[at:-1]).encode()
    return body + f"end {crc32(body):08x}\n".encode()


def build_log(flight=FLIGHT, extra_kind=False, with_fix=True):
    """The whole log as bytes: two boots, one after the other."""
    random = Random(20260516)
    first = LogWriter(flight, 1, manifest_of(flight, 1, extra_kind))
    _fly(first, range(RESET_S), 0, random, extra_kind, with_fix)
    second = LogWriter(flight, 2, manifest_of(flight, 2, extra_kind))
    _fly(second, range(RESET_S + DARK_S, END_S), RESET_S + DARK_S, random, extra_kind, with_fix)
    return first.close() + second.close()


def _phase(second):
    return 0 if second < 30 else 1 if second < BURST_S else 2 if second < LANDED_S else 3


def _fly(log, seconds, start_s, random, extra_kind, with_fix):
    log.phase = _phase(start_s)
    log.add_manifest(0)
    log.add("event", 5, code=event_code("booted"), subject=1, detail=0)
    log.add_text("jo utat, " + PAYLOAD, 10)
    for second in seconds:
        tick_ms = 1000 * (second - start_s)
        if _phase(second) != log.phase:
            log.phase = _phase(second)
            log.add(
                "event",
                tick_ms,
                code=event_code("phase changed"),
                subject=log.phase,
                detail=int(height_m(second)),
            )
        _sample(log, second, tick_ms, random, with_fix)
        if extra_kind and second % 7 == 0:
            number, values = EXTRA_KIND
            log.add_raw(number, pack("<BhI", *values[:2], values[2] + second), tick_ms + 90)
        if second % 300 == 299:
            log.add_manifest(tick_ms + 95)


def _sample(log, second, tick_ms, random, with_fix):
    for half in (0, 500):
        log.add("pressure", tick_ms + half, **pressure(height_m(second + half / 1000)))
    celsius = float(standard_temperature_k(height_m(second))) - 273.15
    log.add("air", tick_ms + 20, **air(celsius))
    log.add(
        "motion", tick_ms + 40, acceleration_x_counts=random.randrange(-50, 50), acceleration_z_counts=2048
    )
    if second % 5 == 0:
        log.add(
            "power", tick_ms + 60, battery_counts=28000, rail_counts=32700, board_temperature_counts=-5000
        )
    if second % 10 == 0:
        log.add("health", tick_ms + 70, queue_fill=1, missed_samples=0, card_errors=0, reset_cause=1)
    if with_fix:
        # The tick of a fix is that of its first character; it is written later.
        log.add("fix", tick_ms - (120 if tick_ms else 0), **fix(second))


def fix(second):
    return {
        "latitude": int(47.0321 * 5000000) + 300 * second,
        "longitude": int(19.8127 * 5000000) + 500 * second,
        "height": int(100 * height_m(second)),
        "speed": 500,
        "course": 5600,
        "satellites": 9,
        "quality": 1,
        "hdop": 11,
        "day": DAY,
        "time_of_day": 1000 * (LAUNCH_TIME_OF_DAY_S + second),
    }


def pressure(height):
    # MS5611 datasheet, "Pressure and temperature calculation", at dT = 0 and solved for D1.
    c1, c2, c5 = MS5611_WORDS[0], MS5611_WORDS[1], MS5611_WORDS[4]
    pressure_pa = float(standard_pressure_pa(height))
    d1 = (pressure_pa * 2**15 + c2 * 2**16) * 2**21 / (c1 * 2**15)
    return {"pressure_counts": round(d1), "temperature_counts": c5 * 2**8}


def air(celsius):
    # IEC 60751 above 0 degC, good enough for a test's sky below it too; SHT3x datasheet 4.13.
    ohm = 1000.0 * (1 + 3.9083e-3 * celsius - 5.775e-7 * celsius**2)
    return {
        "temperature_counts": round(65535 * ohm / (ohm + 1000)),
        "humidity_counts": round(0.55 * 65535),
        "humidity_temperature_counts": round((celsius + 45) / 175 * 65535),
    }
