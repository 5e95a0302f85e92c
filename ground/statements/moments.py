"""Statements about launch, burst and landing: when, where, how high, how far apart."""

from ground.analyse.heights import valid_fixes
from ground.analyse.places import place_at
from ground.physics.geodesy import azimuth_deg, distance_m
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement, utc_text


def statements(case):
    """Give launch, burst, landing, last_fix, duration, distance, bearing."""
    launch, landing = case.moments.launch, case.moments.landing
    return {
        "launch": _moment("Launch", launch, case),
        "burst": _moment("Burst", case.moments.burst, case),
        "landing": _moment("Landing", landing, case),
        "last_fix": _last_fix(case),
        "duration": _duration(launch, landing, case),
        "distance": _distance(
            launch, landing, distance_m, "Distance", "km", 0.001, "It landed {value} from the launch site."
        ),
        "bearing": _distance(
            launch, landing, azimuth_deg, "Bearing", "deg", 1.0,
            "The landing place lies at {value} from true north, seen from the launch site.",
        ),
    }  # fmt: skip


def _moment(title, moment, case):
    """The statement of a Moment; its value is the height."""
    rests_on = []
    if moment.source:
        rests_on.append(evidence("time", moment.source, moment.method, moment.samples))
    if moment.height_source:
        rests_on.append(evidence("height", moment.height_source))
    if moment.place_source:
        rests_on.append(evidence("place", moment.place_source))
    when = None if moment.time_s is None else case.clock_text(moment.time_s)
    text = f"{title} was at {{when}}, give or take {{seconds}}" + (
        ", at {value} above the sea." if moment.height_m is not None else "."
    )
    spread_s = None if moment.uncertainty_s is None else 2.0 * moment.uncertainty_s
    return statement(
        title, text if when else None, value=moment.height_m, unit="m", reason=moment.reason, evidence=rests_on,
        says={"when": when, "seconds": Quantity(spread_s, "s", 1)},
        utc=utc_text(moment.utc), boot=moment.boot, tick_ms=moment.tick_ms, uncertainty_s=spread_s,
        height_m=moment.height_m, latitude_deg=moment.latitude_deg, longitude_deg=moment.longitude_deg,
        place_reason=moment.place_reason,
    )  # fmt: skip


def _last_fix(case):
    fixes = case.fixes
    if len(fixes) == 0:
        return missing("Last fix", "m", "no fix in the data", place_reason="no fix in the data")
    index = len(fixes) - 1
    time_s = float(fixes.time_s[index])
    place = place_at(fixes, time_s)
    heights = valid_fixes(case.timeline, ("height_m",))
    height_m = None
    if len(heights) and heights.time_s[-1] == time_s:
        height_m = float(heights["height_m"][-1])
    source = "fix.latitude_deg, fix.longitude_deg"
    return statement(
        "Last fix", f"The last fix that fits its neighbours is of {case.clock_text(time_s)}.", value=height_m, unit="m",
        utc=utc_text(case.timeline.utc(time_s)), boot=int(fixes.boot[index]), tick_ms=int(fixes.tick_ms[index]),
        height_m=height_m, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg,
        evidence=[evidence("place", source, "the last one that fits its neighbours", 1)],
    )  # fmt: skip


def _duration(launch, landing, case):
    lacks = [moment.name for moment in (launch, landing) if moment.time_s is None]
    if lacks:
        return missing("Flight time", "s", f"no time of the {' and the '.join(lacks)}")
    seconds = landing.time_s - launch.time_s
    minutes = round(seconds / 60)
    return statement(
        "Flight time", f"The flight took {minutes // 60} h {minutes % 60} min.", value=seconds, unit="s",
        uncertainty=2.0 * (launch.uncertainty_s**2 + landing.uncertainty_s**2) ** 0.5,
        evidence=[evidence("value", f"{launch.source}; {landing.source}", "landing minus launch")],
        span=case.span(launch.time_s, landing.time_s),
    )  # fmt: skip


def _distance(launch, landing, geodesic, title, unit, factor, text):
    lacks = [moment.name for moment in (launch, landing) if moment.latitude_deg is None]
    if lacks:
        return missing(title, unit, f"no place of the {' and the '.join(lacks)}")
    value = geodesic(launch.latitude_deg, launch.longitude_deg, landing.latitude_deg, landing.longitude_deg)
    method = "geodesic on WGS 84 from launch to landing"
    return statement(
        title, text, value=float(value) * factor, unit=unit, decimals=1,
        evidence=[evidence("value", landing.place_source, method)],
    )  # fmt: skip
