"""What several topics' statements do alike."""

from dataclasses import dataclass

import numpy as np

from ground.analyse.climb_end import FLOAT
from ground.analyse.height_error import OWN_AIR_SHARE, barometer_share
from ground.analyse.heights import air_temperature, covered
from ground.analyse.moment import widest_gap
from ground.analyse.series import Series
from ground.physics.atmosphere import geopotential_height_m, standard_temperature_k
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, statement, utc_text


def of_extreme(
    case, title, text, extreme, unit, decimals=0, climb=False, uncertainty=None, caveats=(), span=None
):  # fmt: skip
    """Make the statement of an Extreme. text: may name {value}, {uncertainty}, {height}, {when} ("10:42:13 UTC")
    and {at} ("at 10:42:13 UTC").
    """
    rests_on = []
    if extreme.source:
        rests_on.append(evidence("value", extreme.source, extreme.method, extreme.samples))
    if extreme.height_source and extreme.height_source != extreme.source:
        rests_on.append(evidence("height", extreme.height_source))
    known = extreme.time_s is not None
    return statement(
        title, text, value=extreme.value, unit=unit, decimals=decimals, climb=climb, uncertainty=uncertainty,
        reason=extreme.reason, evidence=rests_on,
        utc=utc_text(case.timeline.utc(extreme.time_s)) if known else None, boot=extreme.boot,
        tick_ms=extreme.tick_ms, height_m=extreme.height_m,
        coverage_percent=share_percent(extreme.coverage), caveats=caveats, span=span,
        says={
            "height": Quantity(extreme.height_m, "m"), "when": case.clock_text(extreme.time_s) if known else "",
            "at": at_text(case, extreme.time_s) if known else "",
        },
    )  # fmt: skip


def at_text(case, time_s):
    """A time on the axis for a sentence: "at 10:42:13 UTC", or as Case.clock_text says where UTC is unknown."""
    text = case.clock_text(time_s)
    return f"at {text}" if text.endswith("UTC") else text


def share_percent(share):
    """A share in percent, with one decimal; None stays None."""
    return None if share is None else round(100.0 * share, 1)


NEAR_S = 10.0  # a temperature counts for this long
LOCAL_STANDARD_SHARE = 0.05  # by which a layer of the standard atmosphere is thicker or thinner than the real one
TOP_GAP_S, EDGE_S = 15.0, 10.0
FARTHEST_K = 40.0  # from the standard atmosphere's temperature; air that is further away is a broken thermometer's


@dataclass(frozen=True)
class RateHeights:
    """series: Series of heights whose changes are true to scale, with the values height_m and from_fix; share:
    standard deviation of a rate found from them, as a share, float array (n,); rescaled: some heights of the
    standard atmosphere were scaled by the air's own temperature; standard: share of samples that could not be.
    """

    series: Series
    share: np.ndarray
    rescaled: bool
    standard: float


def rate_heights(case, start_s, end_s) -> RateHeights:
    """The combined heights of a span of time, for finding rates. Where they are those of the standard atmosphere, a
    layer is as much thicker or thinner as its air is warmer or colder than the standard (hypsometric equation).
    """
    series = case.heights.combined.between(start_s, end_s)
    height_m, by_fix = series["height_m"], series["from_fix"] == 1
    share = np.where(by_fix, 0.0, np.hypot(OWN_AIR_SHARE, barometer_share(height_m)))
    if by_fix.all() or "hypsometric" in case.heights.barometric.source:
        return RateHeights(series, share, False, 0.0)
    air = believable_air(case, series)
    warm = covered(air.time_s, series.time_s, NEAR_S) & ~by_fix
    scale = np.ones(len(series))
    if warm.any():
        kelvin = np.interp(series.time_s, air.time_s, air["temperature_degC"]) + 273.15
        scale[warm] = (kelvin / standard_temperature_k(geopotential_height_m(height_m)))[warm]
        middle = np.where(by_fix[1:] & by_fix[:-1], 1.0, (scale[1:] + scale[:-1]) / 2)
        # Steps between a fix and a pressure are no change of height, and stay as they are.
        middle = np.where(by_fix[1:] == by_fix[:-1], middle, 1.0)
        moved_m = np.concatenate([[0.0], np.cumsum(np.diff(height_m) * middle)])
        lowest = int(np.argmin(height_m))  # near the ground the standard atmosphere is least wrong
        moved_m += height_m[lowest] - moved_m[lowest]
        if not by_fix.any():
            series = series.with_value("height_m", moved_m, series.source)
        else:
            warm[:] = False  # fixes tie both ends already
    standard = ~by_fix & ~warm
    share = np.where(standard, np.hypot(LOCAL_STANDARD_SHARE, barometer_share(height_m)), share)
    return RateHeights(series, share, bool(warm.any()), float(standard.mean()))


def climb_end_s(case):
    """When the climb ended, on the axis: of a float, where it began."""
    end = case.moments.climb_end
    return case.window.top_s if end is None or end.time_s is None else end.time_s


def fall_start_s(case):
    """When the way down began, on the axis: of a float, where it ended; else where the climb ended."""
    end = case.moments.climb_end
    if end is None or end.kind != FLOAT:
        return climb_end_s(case)
    # Without a fall that follows at once it may have risen a little more.
    return max(end.float_end_s, case.window.top_s) if end.fall_s is None else end.fall_s


def top_is_seen(case):
    """True if the heights around the highest one have no gap that could hide a higher one."""
    series = case.heights.combined.between(case.window.start_s, case.window.end_s)
    if len(series) == 0:
        return False
    top_s = float(series.time_s[int(np.argmax(series["height_m"]))])
    return widest_gap(series, top_s - 1.0, top_s + 1.0)[0] <= TOP_GAP_S


def ends_at_top(case):
    """True if the data begin or end at the greatest height, so that the payload may have been higher."""
    heights = case.heights.combined
    if len(heights) == 0:
        return False
    top_s = float(heights.time_s[int(np.argmax(heights["height_m"]))])
    return bool(min(top_s - heights.time_s[0], heights.time_s[-1] - top_s) < EDGE_S)


def believable_air(case, heights):
    """Air temperatures that air of that height can have, and that do not stand still while the height changes.

    heights: Series with height_m. Returns a Series with temperature_degC, empty if there is none.
    """
    air = air_temperature(case.timeline, "temperature_degC")
    if len(air) == 0 or len(heights) == 0:
        return air.where(slice(0, 0))
    height_m = np.interp(air.time_s, heights.time_s, heights["height_m"])
    value = air["temperature_degC"]
    off_k = value + 273.15 - standard_temperature_k(geopotential_height_m(height_m))
    before = np.searchsorted(air.time_s, air.time_s - 30.0)
    after = np.searchsorted(air.time_s, air.time_s + 30.0, side="right") - 1
    stands = np.abs(value[after] - value) + np.abs(value[before] - value) == 0
    stands &= np.abs(height_m[after] - height_m[before]) > 100.0
    return air.where((np.abs(off_k) < FARTHEST_K) & ~stands)
