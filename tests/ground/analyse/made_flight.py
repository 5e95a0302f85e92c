"""A flight made of equations, with its truth: what the analysis must find again.

The payload waits, climbs at a nearly constant rate, bursts, falls under drag in the standard
atmosphere's density, and rests. Or, if the plan says so, it is let up on a line before the launch, floats, leaks
instead of bursting, is cut loose, falls under a tangled canopy, lands in a tree, or is dragged or driven away.
Air pressure is hydrostatic in an atmosphere that is warmer or colder than the standard one. Every number that
is logged derives from its time and the seed.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ground.decode import chips
from ground.layout import OWN_KINDS
from ground.physics.atmosphere import (
    GAS_CONSTANT_DRY_AIR_J_KG_K,
    STANDARD_GRAVITY_M_S2,
    geopotential_height_m,
    standard_density_kg_m3,
    standard_temperature_k,
)
from ground.physics.geodesy import move
from ground.recover.result import BootLog, Coverage, KindRecords, Ledger, Manifest, Recovered
from protocol.table import event_code

MS5611_WORDS = ("40127", "36924", "23317", "23282", "33464", "28312")  # MS5611-01BA03 data sheet, example
SENSORS = {
    "barometer": ("ms5611", MS5611_WORDS),
    "outside_temperature": ("pt1000_divider", ("1000",)),
    "humidity": ("sht3x", ()),
    "motion": ("mpu6050", ("16", "2000")),
    "board_temperature": ("mpu6050", ()),
    "battery": ("adc_divider", ("3300", "3000")),
    "rail": ("adc_divider", ("3300", "2000")),
    "gnss": ("nmea", ()),
}
START_UTC_MS = 1_778_313_600_000  # 2026-05-09T08:00:00Z
FLIGHT = "1a2b3c4d"
SITE_DEG = (46.9, 19.7)
OWN = {layout.name: layout for layout in OWN_KINDS}
TOP_STEP_S = 0.05
RUN_UP_S = 1.0  # a balloon's climb rate over its first acceleration


@dataclass(frozen=True)
class Plan:
    wait_s: float = 400.0
    ground_m: float = 95.0
    climb_m_s: float = 5.0
    burst_m: float = 9000.0
    fall_at_sea_level_m_s: float = 5.5
    landing_m: float = 120.0
    rest_s: float = 400.0
    wind_m_s: float = 15.0
    warmer_k: float = 6.0
    drift_ppm: float = 40.0
    fix_noise_m: float = 2.5
    pressure_noise_pa: float = 1.5
    ceiling_m: float = 1e9
    fix_every_s: float = 1.0
    seed: int = 1
    hop_m: float = 0.0  # let up on a line so high, and pulled down, 100 s before the launch
    float_s: float = 0.0  # floats at burst_m, up and down by some metres, before it falls
    leak_m_s: float = 0.0  # sinks so fast instead of bursting, to landing_m
    cut: bool = False  # a switch lets the balloon go at burst_m
    tree_m: float = 0.0  # comes to rest in a tree so high, swings, and drops after 200 s
    dragged_m_s: float = 0.0  # over the ground for the first minute and a half after the landing
    driven_m_s: float = 0.0  # carried away 250 s after the landing


@dataclass(frozen=True)
class Truth:
    time_s: np.ndarray  # since the boot, true seconds
    height_m: np.ndarray
    east_m: np.ndarray
    launch_s: float
    burst_s: float
    landing_s: float

    def height_at(self, time_s):
        return np.interp(time_s, self.time_s, self.height_m)

    def place_at(self, time_s):
        latitude, longitude = move(*SITE_DEG, float(np.interp(time_s, self.time_s, self.east_m)), 0.0)
        return float(latitude), float(longitude)


@lru_cache(maxsize=64)
def truth_of(plan):
    """Fly the plan."""
    step = TOP_STEP_S
    waiting = np.full(round(plan.wait_s / step), plan.ground_m)
    climb_s = (plan.burst_m - plan.ground_m) / plan.climb_m_s
    rate = plan.climb_m_s * (1 + 0.08 * np.sin(np.arange(0, climb_s * 1.1, step) / 170.0))
    # From rest against a drag with the square of the speed: the hyperbolic tangent (Newton's second law).
    rate *= np.tanh(np.arange(len(rate)) * step / RUN_UP_S)
    climbing = plan.ground_m + np.cumsum(rate * step)
    climbing = climbing[climbing <= plan.burst_m]
    sea_level = plan.fall_at_sea_level_m_s**2 * 1.225
    grid_m = np.arange(-100.0, plan.burst_m + 200.0, 10.0)
    terminal_squared = sea_level / standard_density_kg_m3(geopotential_height_m(grid_m))
    height, speed, falling = float(climbing[-1]), float(rate[len(climbing) - 1]), []
    if plan.hop_m:
        before_s = np.arange(len(waiting)) * step - plan.wait_s
        waiting = waiting + np.interp(before_s, (-190, -180, -110, -100), (0, plan.hop_m, plan.hop_m, 0))
    floating = np.arange(0, plan.float_s, step)
    climbing = np.concatenate([climbing, height + 12.0 * np.sin(floating / 40.0)])
    if plan.float_s:
        height, speed = float(climbing[-1]), 0.0
    ground_m = plan.landing_m + plan.tree_m
    while plan.leak_m_s and height > ground_m:  # the rate turns within some minutes
        speed = max(speed - plan.climb_m_s / 240.0 * step, -plan.leak_m_s)
        height += speed * step
        falling.append(height)
    while height > ground_m:
        square = terminal_squared[int((height + 100.0) / 10.0)]
        speed -= STANDARD_GRAVITY_M_S2 * (1 + np.sign(speed) * speed**2 / square) * step
        height += speed * step
        falling.append(height)
    rest_s = np.arange(round(plan.rest_s / step)) * step
    resting = plan.landing_m + np.where(rest_s < 200.0, plan.tree_m, 0.0)
    heights = np.concatenate([waiting, climbing, falling[:-1], resting])
    times = np.arange(len(heights)) * step
    launch_s, burst_s = len(waiting) * step, (len(waiting) + len(climbing)) * step
    landing_s = burst_s + len(falling) * step
    flying = (times >= launch_s) & (times < landing_s)
    wind = np.where(flying, plan.wind_m_s * (1 + heights / 20000.0), 0.0)
    wind += np.where((times >= landing_s) & (times < landing_s + 90.0), plan.dragged_m_s, 0.0)
    wind += np.where(times >= landing_s + 250.0, plan.driven_m_s, 0.0)
    east = np.cumsum(wind * step)
    return Truth(times, heights, east, launch_s, burst_s, landing_s)


def pressure_pa(height_m, warmer_k):
    """Hydrostatic pressure in the standard atmosphere's temperatures plus warmer_k, 101325 Pa at 0 m."""
    grid_m = np.arange(-500.0, 41000.0, 20.0)
    temperature = standard_temperature_k(grid_m) + warmer_k
    slope = STANDARD_GRAVITY_M_S2 / (GAS_CONSTANT_DRY_AIR_J_KG_K * temperature)
    depth = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) / 2 * 20.0)])
    depth -= np.interp(0.0, grid_m, depth)
    return 101325.0 * np.exp(-np.interp(geopotential_height_m(height_m), grid_m, depth))


def ms5611_counts(pressure):
    """Raw words of the data sheet's example chip at its example temperature (20.07 degC)."""
    d2 = np.full(len(pressure), 8569150)
    trial = np.array([5e6, 9e6])
    low, high = chips.ms5611(MS5611_WORDS, trial, np.full(2, 8569150.0))[0]
    return np.rint(5e6 + (pressure - low) * 4e6 / (high - low)).astype(int), d2


def pt1000_counts(temperature_degc):
    t = np.asarray(temperature_degc)
    ohm = 1000 * (1 + 3.9083e-3 * t - 5.775e-7 * t**2 + np.where(t < 0, -4.183e-12 * (t - 100) * t**3, 0.0))
    return np.rint(65535 * ohm / (ohm + 1000.0)).astype(int)


def records_of(kind, tick_ms, **fields):
    """KindRecords of this program's table; fields that are not given are missing."""
    layout = OWN[kind]
    values = np.zeros(len(tick_ms), layout.dtype)
    for f in layout.fields:
        if f.missing is not None:
            values[f.name] = f.missing
        if f.name in fields:
            values[f.name] = fields[f.name]
    return KindRecords(layout, np.asarray(tick_ms, np.int64), values)


def boot_log(records, boot=1, manifest=True, flight=FLIGHT):
    """A BootLog around records by kind."""
    described = Manifest(
        1, "0.1.0", "Napraforgo-1", flight, boot, "00000000", OWN_KINDS, dict(SENSORS), {"pressure": 500}, ""
    )
    return BootLog(flight, boot, described if manifest else None, dict(records), 90, 100, 0)


def log_of(plan, first_s=0.0, last_s=1e9, boot=1):
    """The boot log of a plan's flight between two times since its start; ticks start at first_s."""
    truth = truth_of(plan)
    rng = np.random.default_rng(plan.seed + 1000 * boot)
    end_s = min(last_s, truth.time_s[-1])

    def every(interval_s):
        return np.arange(np.ceil(first_s / interval_s) * interval_s, end_s, interval_s)

    def ticks(time_s):
        return np.rint((time_s - first_s) * 1000 * (1 + plan.drift_ppm * 1e-6)).astype(np.int64)

    t = every(plan.fix_every_s)
    height = truth.height_at(t)
    east = np.interp(t, truth.time_s, truth.east_m)
    latitude, longitude = move(
        np.full(len(t), SITE_DEG[0]), np.full(len(t), SITE_DEG[1]),
        east + rng.normal(0, plan.fix_noise_m, len(t)), rng.normal(0, plan.fix_noise_m, len(t)),
    )  # fmt: skip
    moving = (t > truth.launch_s) & (t < truth.landing_s)
    # Leaves above the antenna, and a payload that swings.
    leaves = np.where(t < truth.landing_s, 0.0, 1.5 * plan.tree_m**0.5) * rng.normal(0, 1, len(t))
    utc_ms = START_UTC_MS + np.rint(t * 1000).astype(np.int64)
    sees = height < plan.ceiling_m
    fix = records_of(
        "fix", ticks(t + 0.12 + rng.uniform(0, 0.03, len(t))),
        latitude=np.where(sees, np.rint(latitude * 5e6), -(2**31)),
        longitude=np.where(sees, np.rint(longitude * 5e6), -(2**31)),
        height=np.where(sees, np.rint((height + leaves + rng.normal(0, plan.fix_noise_m, len(t))) * 100), -(2**31)),
        speed=np.where(sees, np.rint(moving * plan.wind_m_s * (1 + height / 20000.0) * 100), 65535),
        course=9000, satellites=np.where(sees, 9, 0), quality=sees.astype(int), hdop=9,
        day=utc_ms // 86_400_000, time_of_day=utc_ms % 86_400_000,
    )  # fmt: skip
    t = every(0.5)
    pascal = pressure_pa(truth.height_at(t), plan.warmer_k) + rng.normal(0, plan.pressure_noise_pa, len(t))
    d1, d2 = ms5611_counts(pascal)
    pressure = records_of("pressure", ticks(t), pressure_counts=d1, temperature_counts=d2)
    t = every(1.0)
    outside = standard_temperature_k(geopotential_height_m(truth.height_at(t))) - 273.15 + plan.warmer_k
    air = records_of("air", ticks(t), temperature_counts=pt1000_counts(outside), humidity_counts=26214)
    records = {"fix": fix, "pressure": pressure, "air": air}
    if plan.cut and first_s < truth.burst_s < last_s:
        code = event_code("switch changed")
        tick_ms = ticks(np.array([truth.burst_s - 0.4]))
        records["event"] = records_of("event", tick_ms, code=code, subject=1, detail=1)
    return boot_log(records, boot)


def garbled(log, share, seed=5):
    """The log with one decimal digit wrong in a field of this share of its fixes, as two wrong characters leave it
    whose check sum is right: places from ten-thousandths of minutes on, heights and speeds from decimetres on.
    """
    rng = np.random.default_rng(seed)
    old = log.records["fix"]
    values = old.values.copy()
    place = 5e6 / 6e5
    fields = (("latitude", place, 6), ("longitude", place, 6), ("height", 10, 5), ("speed", 10, 4))
    for field, unit, most in fields:
        chosen = np.flatnonzero((rng.random(len(values)) < share / 4) & (values["quality"] > 0))
        wrong = rng.choice([-1, 1], len(chosen)) * rng.integers(1, 9, len(chosen)) * unit
        changed = values[field][chosen] + wrong * 10.0 ** rng.integers(0, most, len(chosen))
        values[field][chosen] = np.rint(np.where(field == "speed", np.clip(np.abs(changed), 0, 65000), changed))
    return replace(log, records={**log.records, "fix": KindRecords(old.layout, old.tick_ms, values)})


def recovered_of(boots):
    """A Recovered that holds these boots and a ledger without ranges."""
    return Recovered(list(boots), Ledger([Coverage("made.img", 0, [])]))


def keep(log, kind, mask):
    """The log with only the records of a kind that the mask, a function of ticks in s, selects."""
    old = log.records[kind]
    chosen = mask(old.tick_ms / 1000.0)
    records = {**log.records, kind: KindRecords(old.layout, old.tick_ms[chosen], old.values[chosen])}
    return replace(log, records=records)


def keep_all(log, mask):
    """The log with only the records of any kind that the mask selects."""
    for kind in list(log.records):
        log = keep(log, kind, mask)
    return log
