"""Statements about release, the end of the climb, burst and landing: when, where, how high, how far apart."""

from ground.analyse.fixes import drift_m_s
from ground.analyse.height_error import FIX_HEIGHT_M, FIX_PLACE_M
from ground.analyse.heights import valid_fixes
from ground.analyse.places import place_at
from ground.physics.geodesy import azimuth_deg, distance_m
from ground.statements import moments_after, moments_climb_end
from ground.statements.quantity import Quantity
from ground.statements.shared import at_text
from ground.statements.statement import evidence, missing, statement, utc_text
from ground.units import feet

WIDE_S = 4.0  # a moment that is not known to this is named in a caveat
WIDE_PLACE_M = 20.0
WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
# What each moment rests on, seconds before and after it.
SPANS_S = {"launch": (180.0, 60.0), "burst": (40.0, 10.0), "landing": (60.0, 180.0)}
TEXTS = {
    "launch": "The balloon was let go {when}, give or take {seconds}",
    "burst": "The balloon burst, or was cut loose, {when}, give or take {seconds}",
    "landing": "The payload came down {when}, give or take {seconds}",
}
HEIGHT = ", {value} above the sea, give or take {uncertainty}."
GROUND = (
    "When it was is not known, because {why}; the ground there lies {value} above the sea, "
    "give or take {uncertainty}."
)


def statements(case):
    """Give launch, climb_end, float_time, burst, landing, landing_place, after_landing, last_fix, duration,
    distance, bearing.
    """
    launch, landing = case.moments.launch, case.moments.landing
    return {
        "launch": _moment("Launch", launch, case),
        **moments_climb_end.statements(case),
        "burst": _moment("Burst", case.moments.burst, case),
        "landing": _moment("Landing", landing, case),
        **moments_after.statements(case),
        "last_fix": _last_fix(case),
        "duration": _duration(launch, landing, case),
        "distance": _distance(launch, landing, case),
        "bearing": _bearing(launch, landing, case),
    }


def _moment(title, moment, case):
    """The statement of a Moment; its value is the height."""
    rests_on = [evidence("time", moment.source, moment.method, moment.samples)] if moment.source else []
    if moment.height_source:
        rests_on.append(evidence("height", moment.height_source))
    if moment.place_source:
        rests_on.append(evidence("place", moment.place_source))
    known = moment.time_s is not None
    text = TEXTS[moment.name] + (HEIGHT if moment.height_m is not None else ".") if known else GROUND
    spread_s = None if moment.uncertainty_s is None else 2.0 * moment.uncertainty_s
    before_s, after_s = SPANS_S[moment.name]
    return statement(
        title, text if known or moment.height_m is not None else None, value=moment.height_m, unit="m",
        uncertainty=_twice(moment.height_error_m), reason=moment.reason, evidence=rests_on,
        caveats=_caveats(moment),
        says={
            "when": _when(moment, case) if known else "", "seconds": Quantity(spread_s, "s", 1),
            "why": moment.reason,
        },
        span=case.span(moment.time_s - before_s, moment.time_s + after_s) if known else None,
        utc=utc_text(moment.utc), boot=moment.boot, tick_ms=moment.tick_ms, uncertainty_s=spread_s,
        height_m=moment.height_m, latitude_deg=moment.latitude_deg, longitude_deg=moment.longitude_deg,
        place_reason=moment.place_reason,
    )  # fmt: skip


def _when(moment, case):
    """"at 10:42:13 UTC", "35 min 10 s after launch", or for the launch itself without UTC "95 s after boot 1"."""
    if moment.utc is None and moment.name == "launch":
        return f"{moment.tick_ms / 1000:.0f} s after the board was switched on (boot {moment.boot})"
    return at_text(case, moment.time_s)


def _caveats(moment):
    lines = []
    if moment.height_source and "fix." not in moment.height_source:
        lines.append("the height is what the standard atmosphere says for the air pressure; weather moves it")
    elif moment.height_source and "tied to fix" in moment.height_source:
        lines.append("there was no fix, so the height is carried on from the nearest fixes by air pressure")
    if moment.uncertainty_s is not None and 2.0 * moment.uncertainty_s > WIDE_S:
        lines.append("the heights around it are few, have a gap, or scatter, so the time is less sure")
    if moment.place_error_m is not None and 2.0 * moment.place_error_m > WIDE_PLACE_M:
        spread_m = 2.0 * moment.place_error_m
        lines.append(f"the place may be {spread_m:.0f} m ({feet(spread_m):.0f} ft) off")
    return lines


def _twice(deviation):
    return None if deviation is None else 2.0 * deviation


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
    speed = drift_m_s(fixes, fixes.time_s[-1:] - 15.0)
    caveats = [f"it still moved then, at about {speed[0]:.0f} m/s"] if speed[0] > 1.5 else []
    if case.phases.rest_s is None:
        caveats.append("the landing is not in the data; it may lie elsewhere")
    return statement(
        "Last fix", "The receiver last gave a place that can be believed {when}; it is good to about {radius}.",
        value=height_m, unit="m", uncertainty=None if height_m is None else 2.0 * FIX_HEIGHT_M, caveats=caveats,
        says={"when": at_text(case, time_s), "radius": Quantity(2.0 * 2.0**0.5 * FIX_PLACE_M, "m")},
        utc=utc_text(case.timeline.utc(time_s)), boot=int(fixes.boot[index]), tick_ms=int(fixes.tick_ms[index]),
        height_m=height_m, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg,
        evidence=[evidence("place", source, "the last one that fits its neighbours", 1)],
        span=case.span(time_s, time_s),
    )  # fmt: skip


def _duration(launch, landing, case):
    lacks = [moment.name for moment in (launch, landing) if moment.time_s is None]
    if lacks:
        return missing("Flight time", "s", _not_known("time", lacks))
    seconds = landing.time_s - launch.time_s
    minutes, rest = divmod(round(seconds), 60)
    hours = f"{minutes // 60} h " if minutes >= 60 else ""
    return statement(
        "Flight time", f"It was in the air for {hours}{minutes % 60} min {rest} s, give or take {{uncertainty}}.",
        value=seconds, unit="s", uncertainty=2.0 * (launch.uncertainty_s**2 + landing.uncertainty_s**2) ** 0.5,
        evidence=[evidence("value", f"{launch.source}; {landing.source}", "landing minus launch")],
        span=case.span(launch.time_s, landing.time_s), caveats=_caveats_of(launch, landing, "the time"),
    )  # fmt: skip


def _not_known(what, lacks):
    many = len(lacks) > 1
    return f"the {what}{'s' if many else ''} of the {' and the '.join(lacks)} {'are' if many else 'is'} not known"


def _caveats_of(launch, landing, word):
    """The lines of both moments that speak of this."""
    return [f"{moment.name}: {line}" for moment in (launch, landing) for line in _caveats(moment) if word in line]


def _ends(launch, landing):
    """(distance in m, its expanded uncertainty, None), or (None, None, the reason)."""
    lacks = [moment.name for moment in (launch, landing) if moment.latitude_deg is None]
    if lacks:
        return None, None, _not_known("place", lacks)
    away_m = distance_m(launch.latitude_deg, launch.longitude_deg, landing.latitude_deg, landing.longitude_deg)
    # Along the line only one of the two components of each place counts, but to be safe take both.
    return float(away_m), 2.0 * (launch.place_error_m**2 + landing.place_error_m**2) ** 0.5, None


def _rests_on(launch, landing):
    source = f"launch: {launch.place_source}; landing: {landing.place_source}"
    return [evidence("value", source, "geodesic on WGS 84 from launch to landing")]


def _flight_span(launch, landing, case):
    known = launch.time_s is not None and landing.time_s is not None
    return case.span(launch.time_s, landing.time_s) if known else None


def _distance(launch, landing, case):
    away_m, spread_m, reason = _ends(launch, landing)
    if reason:
        return missing("Distance", "km", reason)
    return statement(
        "Distance", "It came down {value} from where it was let go, give or take {uncertainty}.",
        value=away_m / 1000.0, unit="km", decimals=2, uncertainty=spread_m / 1000.0,
        evidence=_rests_on(launch, landing), span=_flight_span(launch, landing, case),
        caveats=_caveats_of(launch, landing, "the place"),
    )  # fmt: skip


def _bearing(launch, landing, case):
    away_m, spread_m, reason = _ends(launch, landing)
    if reason is None and away_m < 3.0 * spread_m:
        reason = "it came down so near to where it was let go that there is no direction"
    if reason:
        return missing("Bearing", "deg", reason)
    ends = (launch.latitude_deg, launch.longitude_deg, landing.latitude_deg, landing.longitude_deg)
    value = float(azimuth_deg(*ends))
    spread_deg = 57.29578 * spread_m / away_m
    return statement(
        "Bearing",
        "Seen from where it was let go, it came down in the {wind}: at {degrees} degrees, give or take {spread} "
        "(north is 0, east 90, south 180, west 270).",
        value=value, unit="deg", decimals=1, uncertainty=spread_deg, evidence=_rests_on(launch, landing), says={
            "wind": WINDS[round(value / 45.0) % 8], "degrees": f"{round(value, 1) % 360.0:.1f}",
            "spread": f"{max(spread_deg, 0.1):.1f}",
        }, span=_flight_span(launch, landing, case), caveats=_caveats_of(launch, landing, "the place"),
    )  # fmt: skip
