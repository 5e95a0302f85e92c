"""Flights through real soundings with a slow thermometer, as cases.

Data: tests/data/soundings and onboard/simulator/soundings (see SOURCES.md in both).
"""

import csv
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from made_flight import START_UTC_MS, boot_log, ms5611_counts, pt1000_counts, records_of

from ground.decode import decode_flight
from ground.physics.atmosphere import geometric_height_m, geopotential_height_m, standard_density_kg_m3
from ground.statements.case import build_case

ROOT = Path(__file__).parents[3]
FOLDERS = (ROOT / "tests" / "data" / "soundings", ROOT / "onboard" / "simulator" / "soundings")
PRAHA, KOROR, DARWIN = "praha-libus-2007-11-20-1115z", "koror-2008-12-08-12z", "darwin-2006-01-19-2316z"
WAIT_S, REST_S = 180, 700
LAG_S = 6.0
MISSION = SimpleNamespace(outside_temperature=SimpleNamespace(time_constant_s=LAG_S))


class Flight:
    """A flight up and down through a sounding, sampled every second."""

    def __init__(self, name, top_m=29_000.0, lag_s=LAG_S, fall=True):
        path = next(folder / f"{name}.csv" for folder in FOLDERS if (folder / f"{name}.csv").is_file())
        with open(path, encoding="utf-8", newline="") as file:
            rows = [row for row in csv.DictReader(file) if row["temperature_degC"]]
        self.z, self.celsius, self.hpa = (
            np.array([float(row[column]) for row in rows])
            for column in ("geopotential_height_m", "temperature_degC", "pressure_hPa")
        )
        ground_m = float(geometric_height_m(self.z[0])) + 2.0
        climb = np.arange(ground_m, top_m, 5.0)
        sink = [top_m]
        while fall and sink[-1] > ground_m:
            sink.append(sink[-1] - 5.5 * np.sqrt(1.225 / standard_density_kg_m3(geopotential_height_m(sink[-1]))))
        parts = [np.full(WAIT_S, ground_m), climb, sink] + [np.full(REST_S, ground_m)] * fall
        self.height_m = np.maximum(np.concatenate(parts), ground_m)
        self.time_s = np.arange(len(self.height_m))
        self.top_s = WAIT_S + len(climb)
        self.climb = slice(WAIT_S, self.top_s)
        at = geopotential_height_m(self.height_m)
        self.air = np.interp(at, self.z, self.celsius)
        self.pressure = np.exp(np.interp(at, self.z, np.log(self.hpa)))
        self.read = self.air.copy()
        factor = np.clip(np.sqrt(1.225 / standard_density_kg_m3(at)), 1.0, 6.0)
        for i in range(1, len(self.read) if lag_s else 0):
            middle = (self.air[i] + self.air[i - 1]) / 2.0
            self.read[i] = middle + (self.read[i - 1] - middle) * np.exp(-1.0 / (lag_s * factor[i]))
        self.read += 0.05 * np.random.default_rng(1).standard_normal(len(self.read))

    def case(self, mission=MISSION, keep=None, chip_says=None, fixes_to_m=1e9):
        tick_ms = 1000 * self.time_s
        sees = self.height_m < fixes_to_m
        utc_ms = START_UTC_MS + tick_ms
        d1, d2 = ms5611_counts(100.0 * self.pressure)
        chip = {}
        if chip_says is not None:  # SHT3x: -45 + 175 * word / 65535, no lower than its word 0 (data sheet, 4.13)
            word = np.clip((chip_says + 45.0) / 175.0 * 65535, 0, 65534)
            chip = {"humidity_temperature_counts": word, "humidity_counts": np.full(len(word), 32768)}
        air_at = np.ones(len(tick_ms), bool) if keep is None else keep
        fields = {"temperature_counts": pt1000_counts(self.read), **chip}
        log = boot_log({
            "pressure": records_of("pressure", tick_ms, pressure_counts=d1, temperature_counts=d2),
            "air": records_of("air", tick_ms[air_at], **{name: part[air_at] for name, part in fields.items()}),
            "fix": records_of(
                "fix", tick_ms, quality=sees.astype(int), day=utc_ms // 86_400_000, time_of_day=utc_ms % 86_400_000,
                latitude=np.where(sees, 235_000_000, -(2**31)), longitude=np.where(sees, 99_000_000, -(2**31)),
                height=np.where(sees, np.rint(self.height_m * 100), -(2**31)),
            ),
        })  # fmt: skip
        return build_case(decode_flight([log]), None, mission)
