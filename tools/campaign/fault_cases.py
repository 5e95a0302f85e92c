"""The faults of the campaign, and what the log must say of each: written down by hand, from what a fault is."""

from dataclasses import dataclass, field
from itertools import combinations

PHASES = ("waiting", "climbing", "falling", "landed")
LENGTH_MS = 16_000  # of each fault
SHIFT_MS = 4_000  # the second of a pair begins so much later


@dataclass(frozen=True, eq=False)
class Case:
    """A fault. tells: devices that must be said to fail and to return. may_tell: that may be. within_ms: of its
    beginning the failure is told, and of its end the return. missing: kind -> fields that have no value
    meanwhile. may_miss: kind -> fields that may have none. loses: what of the records is lost: "" nothing,
    "blocks" what finds no room, "boot" what a reset takes.
    """

    order: str  # kind, target and number
    tells: tuple = ()
    may_tell: tuple = ()
    within_ms: tuple = (2_500, 2_500)
    missing: dict = field(default_factory=dict)
    may_miss: dict = field(default_factory=dict)
    loses: str = ""
    delays: bool = False  # samples may be late or left out, if the health records tell how many
    quiet_ms: int = 0  # so much longer the downlink may pause
    heights: tuple = ()  # what the phase is told by and this fault may mislead or silence

    @property
    def kind(self):
        return self.order.split()[0]

    @property
    def target(self):
        return self.order.split()[1]

    @property
    def number(self):
        words = self.order.split()
        return int(words[2]) if len(words) > 2 else 0


PRESSURE = {"pressure": ("pressure_counts", "temperature_counts")}
HUMIDITY = {"air": ("humidity_counts", "humidity_temperature_counts")}
MOTION = {
    "motion": tuple(f"{what}_{axis}_counts" for what in ("acceleration", "rate") for axis in "xyz"),
    "power": ("board_temperature_counts",),
}
OUTSIDE = {"air": ("temperature_counts",)}
PLACE = {"fix": (
    "latitude", "longitude", "height", "speed", "course", "vertical_speed", "satellites", "hdop", "quality", "day",
    "time_of_day",
)}  # fmt: skip
CHIPS = {**PRESSURE, **HUMIDITY, **MOTION}
ALL = {**PRESSURE, **MOTION, "air": HUMIDITY["air"] + OUTSIDE["air"]}  # with a thermometer on the bus too
_SLOW = {"within_ms": (7_500, 12_500)}  # battery and rail are read every 5 s
_SILENT = {"within_ms": (12_500, 4_000)}  # a receiver may pause for 10 s

FIRST = (
    Case("silent barometer", ("barometer",), missing=PRESSURE, heights=("barometer",)),
    Case("garbled barometer 500", may_tell=("barometer",), may_miss=PRESSURE, heights=("barometer",)),
    Case("frozen barometer", heights=("barometer",)),
    Case("zeros barometer", ("barometer",), missing=PRESSURE, heights=("barometer",)),
    Case("ones barometer", ("barometer",), missing=PRESSURE, heights=("barometer",)),
    Case("noisy barometer 30000", heights=("barometer",)),
    Case("shifted barometer 200000", heights=("barometer",)),
    Case("silent humidity", ("humidity",), missing=HUMIDITY),
    Case("garbled humidity 1000", ("humidity",), missing=HUMIDITY),
    Case("garbled humidity 300", may_tell=("humidity",), may_miss=HUMIDITY, within_ms=(20_000, 20_000)),
    Case("frozen humidity"),
    Case("zeros humidity", ("humidity",), missing=HUMIDITY),
    Case("ones humidity", ("humidity",), missing=HUMIDITY),
    Case("silent motion", ("motion",), missing=MOTION),
    Case("garbled motion 500", may_tell=("motion",), may_miss=MOTION),
    Case("frozen motion"),
    Case("zeros motion", ("motion",), missing=MOTION),
    Case("ones motion", ("motion",), missing=MOTION),
    Case("silent outside_temperature", ("outside_temperature",), missing=OUTSIDE),
    Case("zeros outside_temperature"),
    Case("ones outside_temperature"),
    Case("noisy outside_temperature 4000"),
    Case("silent battery", ("power",), missing={"power": ("battery_counts",)}, **_SLOW),
    Case("zeros battery", quiet_ms=55_000),  # to the board it is empty, and beacons are saved
    Case("silent rail", ("power",), missing={"power": ("rail_counts",)}, **_SLOW),
    Case("silent bus", ("barometer", "humidity", "motion"), missing=CHIPS, heights=("barometer",)),
    Case("stuck bus 50", ("barometer", "humidity", "motion"), missing=CHIPS, heights=("barometer",), delays=True),
    Case("silent gnss", ("gnss",), heights=("gnss",), **_SILENT),
    Case("nofix gnss", may_miss=PLACE, heights=("gnss",)),
    Case("frozen gnss", may_tell=("gnss",), may_miss=PLACE, heights=("gnss",), **_SILENT),
    Case("garbled gnss 30", may_tell=("gnss",), may_miss=PLACE, heights=("gnss",), **_SILENT),
    Case("babbling gnss", ("gnss",), may_miss=PLACE, heights=("gnss",), **_SILENT),
    Case("slow card 300", delays=True),
    Case("stalling card 300", delays=True),
    Case("refusing card 1000", ("card",), loses="blocks", within_ms=(5_000, 3_500)),
    Case("refusing card 100", may_tell=("card",), within_ms=(20_000, 3_500)),
    Case("read-only card", ("card",), loses="blocks", within_ms=(5_000, 3_500)),
    Case("pulled card", ("card",), loses="blocks", within_ms=(5_000, 3_500)),
    Case("reset board 1", loses="boot"),
    Case("silent downlink", ("downlink",), within_ms=(12_500, 40_000), quiet_ms=50_000),  # left alone for 30 s
    Case("drift clock 100"),
    Case("tight memory 16000"),
)  # fmt: skip
PROBES = {"probe": ("temperature_counts",)}
# Of a payload with other chips.
OTHER = (
    Case("silent barometer", ("barometer",), missing=PRESSURE, heights=("barometer",)),
    Case("zeros barometer", ("barometer",), missing=PRESSURE, heights=("barometer",)),
    Case("ones barometer", ("barometer",), missing=PRESSURE, heights=("barometer",)),
    Case("silent outside_temperature", ("outside_temperature",), missing=OUTSIDE),
    Case("zeros outside_temperature", may_tell=("outside_temperature",), may_miss=OUTSIDE),
    Case("ones outside_temperature", may_tell=("outside_temperature",), may_miss=OUTSIDE),
    Case(
        "stuck bus 50", ("barometer", "humidity", "motion", "outside_temperature"), missing=ALL, heights=("barometer",),
        delays=True,
    ),
    Case("silent probes", ("probe",), missing=PROBES, within_ms=(5_000, 5_000)),
    Case("stuck probes", ("probe",), missing=PROBES, within_ms=(5_000, 5_000)),
    Case("garbled probes 50", ("probe",), may_miss=PROBES, within_ms=(10_000, 10_000)),
    Case("silent gnss", ("gnss",), heights=("gnss",), **_SILENT),
    Case("babbling gnss", ("gnss",), may_miss=PLACE, heights=("gnss",), **_SILENT),
    Case("reset board 1", loses="boot"),
    Case("pulled card", ("card",), loses="blocks", within_ms=(5_000, 3_500)),
)  # fmt: skip


def pairs():
    """All pairs of the first payload's faults."""
    return list(combinations(FIRST, 2))
