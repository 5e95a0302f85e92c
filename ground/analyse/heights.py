"""Heights of a flight on one axis of time, from fixes and from air pressure."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.fixes import PLACE, clean_fixes, drift_m_s
from ground.analyse.series import Series, covered, running_median, without_outliers
from ground.physics.atmosphere import geometric_height_m, hypsometric_heights_m

LOWEST_M, HIGHEST_M = -1000.0, 60_000.0  # no latex balloon flies higher (common practice, no source)
FAR_M, NEAR_M = 400.0, 60.0  # deviations from half a minute, and from the next samples, that are no outliers
NO_FIX_S = 10.0  # where fixes are further away than this, heights come from pressure
TIE_FIXES = 9  # that pressure is tied to at a time; more would lag behind where they are rare
LAYER = 0.02  # thickness of a layer of the temperature profile, in the logarithm of pressure


@dataclass(frozen=True)
class Heights:
    """gnss: heights above mean sea level of the fixes. pressure: heights in the standard atmosphere.
    barometric: the best that pressure gives, above mean sea level where fixes tie it down, by "tie_m". combined:
    fixes, and barometric samples where there are none; its value "from_fix" is 1 or 0, and "drift_m_s" the
    speed over ground from places, NaN where unknown. All have the value "height_m".
    """

    gnss: Series
    pressure: Series
    barometric: Series
    combined: Series
    notes: tuple

    def span_m(self):
        """From the lowest to the highest sample; 0 without any."""
        return float(np.ptp(self.combined["height_m"])) if len(self.combined) else 0.0

    def at(self, time_s, gap_s=30.0):
        """Give (height_m, source) at a time, interpolated; (None, None) if the samples around it
        lie further apart than gap_s.
        """
        for series in (self.gnss, self.barometric):
            if covered(series.time_s, time_s, gap_s):
                return float(np.interp(time_s, series.time_s, series["height_m"])), series.source
        return None, None


def interpolated(sample_times_s, values, time_s, gap_s):
    """Give samples at other times, linear between them; NaN where those around lie further apart than gap_s.

    sample_times_s: sorted array (n,), values: float array (n,), time_s: array (k,). Returns a float array (k,).
    """
    if len(sample_times_s) == 0:
        return np.full(len(time_s), np.nan)
    known = covered(sample_times_s, time_s, gap_s)
    return np.where(known, np.interp(time_s, sample_times_s, values), np.nan)


def build_heights(timeline) -> Heights:
    """Gather the heights that a timeline has; the series are empty where there is nothing."""
    notes = []
    gnss = _plausible(valid_fixes(timeline, ("height_m",)), "height_m")
    pressure = timeline.series("pressure", ("pressure_height_m", "pressure_hPa"))
    pressure = pressure.where(pressure["pressure_hPa"] > 0.0)  # a broken barometer, or too large a correction
    pressure = pressure.with_value("height_m", pressure["pressure_height_m"], pressure.source)
    pressure = _plausible(pressure, "height_m")
    gnss, pressure = _agreeing(gnss, pressure, notes)
    barometric = _barometric(gnss, pressure, air_temperature(timeline, "temperature_degC"))
    combined = _combine(gnss, barometric)
    drift = drift_m_s(valid_fixes(timeline, PLACE), combined.time_s)
    combined = combined.with_value("drift_m_s", drift, combined.source)
    if (combined["from_fix"] == 0).any() and "hypsometric" not in barometric.source:
        notes.append(
            "where there are no fixes, heights are those of the standard atmosphere, without the air's "
            "own temperature; aloft they can be wrong by some per cent"
        )
    return Heights(gnss, pressure, barometric, combined, tuple(notes))


def valid_fixes(timeline, names):
    """The fixes with a position in which all of these columns are known, and right as far as their
    neighbours can tell, see clean_fixes.
    """
    return clean_fixes(timeline, names)


def air_temperature(timeline, column):
    """The samples of an air temperature that air can have, and that do not stand out."""
    air = timeline.series("air", (column,))
    possible = (air[column] > -120.0) & (air[column] < 70.0)
    return without_outliers(air.where(possible), column, 4.0, 2.0)


def _plausible(series, name):
    values = series[name]
    return without_outliers(series.where((values >= LOWEST_M) & (values <= HIGHEST_M)), name, FAR_M, NEAR_M)


def _agreeing(gnss, pressure, notes):
    """Drop what fixes and barometer cannot both be right about.

    The air is up to 15 % warmer or colder than the standard atmosphere's, and the pressure at sea
    level differs by some hundred metres' worth (common practice, no source).
    """
    near = covered(pressure.time_s, gnss.time_s, NO_FIX_S)
    if not near.any():
        return gnss, pressure
    expected_m = np.interp(gnss.time_s, pressure.time_s, pressure["height_m"])
    agrees = ~near | (np.abs(gnss["height_m"] - expected_m) <= 1000.0 + 0.15 * np.abs(gnss["height_m"]))
    wrong = int((~agrees).sum())
    if wrong <= 0.2 * near.sum():
        if wrong:
            notes.append(f"{wrong} fixes had a height that the air pressure contradicts; they were left out")
        return gnss.where(agrees), pressure
    notes.append(
        f"the barometer contradicts {wrong} of {int(near.sum())} fixes by more than weather can explain, "
        f"so heights are from the fixes alone"
    )
    return gnss, pressure.where(slice(0, 0))


def _barometric(gnss, pressure, air):
    """Heights from pressure: by the hypsometric equation if the air's temperature was logged, tied to
    the fixes where there are any, else those of the standard atmosphere.
    """
    near = covered(pressure.time_s, gnss.time_s, NO_FIX_S)
    if not near.any():
        return pressure
    height_m = _hypsometric(pressure, air)
    source = "pressure.pressure_hPa and air.temperature_degC (hypsometric equation)"
    if height_m is None:
        height_m, source = pressure["height_m"], pressure.source
    fix_time_s = gnss.time_s[near]
    difference = gnss["height_m"][near] - np.interp(fix_time_s, pressure.time_s, height_m)
    correction = np.interp(pressure.time_s, fix_time_s, running_median(difference, TIE_FIXES))
    tied = pressure.with_value("height_m", height_m + correction, source + ", tied to fix.height_m")
    return tied.with_value("tie_m", correction, tied.source)


def _hypsometric(pressure, air):
    """Geometric heights above the lowest level, or None if temperatures do not reach all the way up."""
    near = covered(pressure.time_s, air.time_s, NO_FIX_S)
    if near.sum() < 10:
        return None
    log_p = np.log(pressure["pressure_hPa"])
    top = int(np.argmin(log_p))
    on_way_up = near & (air.time_s <= pressure.time_s[top])
    depth = log_p.max() - np.interp(air.time_s[on_way_up], pressure.time_s, log_p)
    temperature_k = air["temperature_degC"][on_way_up] + 273.15
    layer = np.floor(depth / LAYER).astype(int)
    layers, start = np.unique(np.sort(layer), return_index=True)
    total = log_p.max() - log_p.min()
    if len(layers) < 3 or (layers[-1] + 1) * LAYER < total - 5 * LAYER:
        return None
    order = np.argsort(layer, kind="stable")
    middle_k = np.array([np.median(part) for part in np.split(temperature_k[order], start[1:])])
    middle = (layers + 0.5) * LAYER
    inside = middle < total
    nodes = np.concatenate([[0.0], middle[inside], [total]])
    nodes_k = np.concatenate([middle_k[:1], middle_k[inside], middle_k[-1:]])
    levels_m = hypsometric_heights_m(np.exp(-nodes), nodes_k)
    return geometric_height_m(np.interp(log_p.max() - log_p, nodes, levels_m))


def _combine(gnss, barometric):
    if len(gnss) == 0:
        alone = barometric
    else:
        alone = barometric.where(~covered(gnss.time_s, barometric.time_s, NO_FIX_S))
    parts = [(gnss, 1.0), (alone, 0.0)]
    time_s = np.concatenate([s.time_s for s, _ in parts])
    order = np.argsort(time_s, kind="stable")
    values = {
        "height_m": np.concatenate([s["height_m"] for s, _ in parts])[order],
        "from_fix": np.concatenate([np.full(len(s), flag) for s, flag in parts])[order],
    }
    boot = np.concatenate([s.boot for s, _ in parts])[order]
    tick_ms = np.concatenate([s.tick_ms for s, _ in parts])[order]
    source = gnss.source if len(alone) == 0 else barometric.source
    if len(gnss) and len(alone):
        source = f"{gnss.source}; {barometric.source} where there is no fix"
    return Series(time_s[order], values, boot, tick_ms, source)
