"""The thermometer that a flight's air temperature is from: which one, its good samples, and how slow it is."""

from dataclasses import dataclass, replace

import numpy as np

from ground.analyse.extremes import coverage
from ground.analyse.heights import air_temperature, interpolated
from ground.analyse.lag import SEA_LEVEL_DENSITY_KG_M3, sample_noise
from ground.analyse.thermometer_faults import shifted, standing_still, stuck_in_noise
from ground.analyse.time_constant import TimeConstant, estimate_time_constant
from ground.physics.atmosphere import air_density_kg_m3, geopotential_height_m, standard_pressure_pa
from ground.statements.thermometer_kinds import name_of, scale_end

ZERO_K = 273.15
OUTSIDE, CHIP = "temperature_degC", "humidity_chip_temperature_degC"
NO_DATA = "no air temperature in the data"
GAP_S = 30.0
UNKNOWN_TIME_CONSTANT_S = 10.0  # a bare small thermometer is quicker (common practice, no source)
# A stated time constant is that of one ventilation and one way of mounting (common practice, no source).
SHARE_OF_TIME_CONSTANT = 0.25
# A correction smooths, so that it shows less than what the lag took away (found with known time constants).
LAG_NOT_BROUGHT_BACK = 1.4
USELESS_K = 5.0  # scatter of a thermometer that is not worth listening to
ENOUGH_OF_OTHER = 0.7  # the outside thermometer may know so much less of the flight before the chip's is taken


@dataclass(frozen=True)
class Thermometer:
    """column: of the table air; chip: its name in the manifest; series: its good samples with height_m and
    density_kg_m3; all: its samples before cleaning, in flight; constant_s: the time constant at sea level that is
    corrected for, 0 for no correction; other_s: another one that may as well be true; estimate: TimeConstant, from
    the flight; from_mission: bool; still, shifted, at_end: numbers of samples left out because it stood still, was
    beside itself, or at the end of its scale. reason: why there is none.
    """

    column: str | None = None
    chip: str = ""
    series: object = None
    all: object = None
    constant_s: float = 0.0
    other_s: float = UNKNOWN_TIME_CONSTANT_S
    estimate: TimeConstant = TimeConstant()
    from_mission: bool = False
    still: int = 0
    shifted: int = 0
    at_end: int = 0
    reason: str | None = None

    @property
    def source(self):
        return f"air.{self.column}"

    @property
    def name(self):
        return name_of(self.chip)

    def has_data(self):
        """True if it has good samples."""
        return self.series is not None and len(self.series) > 0


def find_thermometer(case) -> Thermometer:
    """Choose the thermometer: the outside one, or the humidity chip's if that knows far more of the flight."""
    both = case.once(find_both)
    with_data = [one for one in both if one.has_data()]
    if not with_data:
        return next((one for one in both if one.reason), Thermometer(reason=NO_DATA))
    shares = [coverage(one.series.time_s, case.window.start_s, case.window.end_s) or 0.0 for one in with_data]
    return _with_time_constant(case, with_data[int(shares[0] < ENOUGH_OF_OTHER * shares[-1])])


def find_both(case):
    """[the outside Thermometer, the humidity chip's], each without its time constant."""
    return [_cleaned(case, OUTSIDE, "outside_temperature"), _cleaned(case, CHIP, "humidity")]


def heights_at(case, time_s):
    """Heights at these times, m, float array (n,), NaN where none is near."""
    heights = case.heights.combined
    return interpolated(heights.time_s, heights["height_m"], time_s, GAP_S)


def pressures_at(case, time_s):
    """Air pressures at these times, hPa, linear in their logarithm, float array (n,), NaN where none is near."""
    pressure = case.heights.pressure
    return np.exp(interpolated(pressure.time_s, np.log(pressure["pressure_hPa"]), time_s, GAP_S))


def _cleaned(case, column, role):
    chip = (getattr(case.flight, "sensors", None) or {}).get(role, ("",))[0]
    series = air_temperature(case.timeline, column)
    height_m = heights_at(case, series.time_s)
    series = series.with_value("height_m", height_m, series.source)
    flown = (series.time_s >= case.window.start_s) & (series.time_s <= case.window.end_s)
    everything = series.where(flown)
    if len(everything) == 0:
        return Thermometer(column, chip, everything, everything)
    values, lowest = series[column], scale_end(chip)
    end = (values <= lowest + 0.01) if lowest is not None else np.zeros(len(values), bool)
    # The height stands in as 0 where it is unknown: no change of height is seen there.
    way = (series.time_s, values, np.nan_to_num(_filled(series.time_s, height_m)))
    still = (standing_still(*way) | stuck_in_noise(*way)) & ~end
    beside = np.zeros(len(values), bool)
    left = ~still & ~end
    beside[left] = shifted(series.time_s[left], values[left])
    density = _density(case, series, column)
    sound = left & ~beside
    good = series.with_value("density_kg_m3", density, series.source).where(sound)
    reason, scatter_k = None, sample_noise(good[column])
    dense = len(good) > 1 and np.median(np.diff(good.time_s)) <= GAP_S
    if scatter_k > USELESS_K and dense:
        reason = f"the thermometer's readings scatter by {scatter_k:.0f} K"
    elif not (sound & flown).any():
        reason = "the thermometer said the same all the time" if ((still | end) & flown).any() else NO_DATA
    if reason:
        good = good.where(slice(0, 0))
    counts = [int((mask & flown).sum()) for mask in (still, beside, end)]
    return Thermometer(
        column, chip, good, everything, still=counts[0], shifted=counts[1], at_end=counts[2], reason=reason
    )


def _filled(time_s, values):
    known = np.isfinite(values)
    return np.interp(time_s, time_s[known], values[known]) if known.any() else values


def _density(case, series, column):
    """Of the air, kg/m3; where the pressure is unknown, with the standard atmosphere's of that height."""
    pascal = 100.0 * pressures_at(case, series.time_s)
    standard = standard_pressure_pa(geopotential_height_m(_filled(series.time_s, series["height_m"])))
    pascal = np.where(np.isfinite(pascal), pascal, standard)
    return np.nan_to_num(air_density_kg_m3(pascal, series[column] + ZERO_K), nan=SEA_LEVEL_DENSITY_KG_M3)


def _with_time_constant(case, found):
    window, ways = case.window, []
    for start_s, end_s in ((window.start_s, window.top_s), (window.top_s, window.end_s)):
        part = found.series.between(start_s, end_s)
        part = part.where(np.isfinite(part["height_m"]))
        ways.append((part.time_s, part[found.column], part["height_m"], part["density_kg_m3"]))
    estimate = estimate_time_constant(*ways)
    seconds, around = estimate.seconds, estimate.uncertainty_s
    stated = case.mission.outside_temperature.time_constant_s if case.mission and found.column == OUTSIDE else None
    if stated is None:
        other = UNKNOWN_TIME_CONSTANT_S if seconds is None else LAG_NOT_BROUGHT_BACK * (seconds + around)
        return replace(found, estimate=estimate, constant_s=0.0, other_s=other)
    other = stated * (1.0 + SHARE_OF_TIME_CONSTANT)
    if seconds is not None:
        far = seconds + around if seconds >= stated else seconds - around
        other = far if abs(seconds - stated) > around else stated + max(around, abs(seconds - stated))
    return replace(found, estimate=estimate, constant_s=stated, other_s=max(other, 0.0), from_mission=True)
