"""Statements about where the payload came down, and what became of it on the ground."""

from ground.analyse.height_error import FIX_PLACE_M
from ground.analyse.landing_place import DRAGGED, LAY_STILL, find_after_landing
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement

SOURCE = "fix.latitude_deg, fix.longitude_deg"
DRIVEN_M_S = 3.0  # faster than a walk


def find_after(case):
    """Find what became of the payload after the landing: AfterLanding, or None. For Case.once."""
    landing_s = _landing_s(case)
    return None if landing_s is None else find_after_landing(case.fixes, case.heights, landing_s)


def statements(case):
    """Give landing_place, after_landing."""
    after = case.once(find_after)
    return {"landing_place": _place(case, after), "after_landing": _after(case, after)}


def _landing_s(case):
    return case.phases.rest_s if case.moments.landing.time_s is None else case.moments.landing.time_s


def _place(case, after):
    landing = case.moments.landing
    title = "Landing place"
    if landing.latitude_deg is None:
        reason = landing.place_reason or "there are no fixes on the ground there"
        return missing(title, "m", reason, place_reason=reason)
    radius_m = 2.0 * landing.place_error_m
    north = f"{abs(landing.latitude_deg):.5f} degrees {'north' if landing.latitude_deg >= 0 else 'south'}"
    east = f"{abs(landing.longitude_deg):.5f} degrees {'east' if landing.longitude_deg >= 0 else 'west'}"
    text = "It came down at {north}, {east}, give or take {radius}"
    caveats = []
    if after is not None and after.kind != LAY_STILL:
        text += "; it was moved afterwards"
    if landing.time_s is None:
        caveats.append("the landing itself is not in the data; this is where it lay afterwards")
    if "interpolated" in landing.place_source:
        caveats.append("it did not lie still there, so the place is where it was at the moment of the landing")
    at_s = _landing_s(case)
    return statement(
        title, text + ".", unit="m", says={"north": north, "east": east, "radius": Quantity(radius_m, "m")},
        evidence=[evidence("place", landing.place_source)], caveats=caveats, span=case.span(at_s, at_s + 600.0),
        utc=case.at(at_s)["utc"], height_m=landing.height_m, latitude_deg=landing.latitude_deg,
        longitude_deg=landing.longitude_deg,
        table={
            "columns": [["latitude", "deg"], ["longitude", "deg"], ["uncertainty", "m"]],
            "rows": [[round(landing.latitude_deg, 7), round(landing.longitude_deg, 7), round(radius_m, 1)]],
        },
    )  # fmt: skip


def _after(case, after):
    """Its value is how far the payload was moved, as the crow flies."""
    title = "After the landing"
    if after is None:
        known = _landing_s(case) is not None
        reason = "there are too few fixes after the landing" if known else "the landing is not known"
        return missing(title, "m", reason)
    says = {"seen": _time_text(after.seen_s)}
    caveats = []
    if after.kind == LAY_STILL:
        text = "After the landing it lay still for the {seen} that the data still hold"
        if after.drop_m is not None:
            text += ", but it dropped by {drop}, as from a tree"
            says["drop"] = Quantity(after.drop_m, "m")
        text += "."
    else:
        says["fastest"] = Quantity(after.fastest_m_s, "m/s", 1)
        says["when"] = case.clock_text(after.start_s)
        says["moving"] = _time_text(after.end_s - after.start_s)
        if after.kind == DRAGGED:
            text = (
                "From the landing on it moved over the ground for {moving}, {value} in all, at up to {fastest}. "
                "The wind probably dragged it."
            )
            caveats.append("that it was the wind is a guess")
        else:
            way = "drove away with it" if (after.fastest_m_s or 0.0) > DRIVEN_M_S else "carried it away"
            text = f"It lay still until {{when}}; then somebody probably {way}: {{value}} in {{moving}}, at up to "
            text += "{fastest}."
            caveats.append("that somebody took it is a guess")
    if after.on_the_way:
        caveats.append("the data end while it still moves, so it went farther")
    landing_s = _landing_s(case)
    return statement(
        title, text, value=after.moved_m, unit="m", uncertainty=2.0 * 2.0 * FIX_PLACE_M, says=says, caveats=caveats,
        evidence=[evidence("value", SOURCE, "displacement over half a minute", after.samples)],
        span=case.span(landing_s, landing_s + after.seen_s),
        **(case.at(after.start_s, case.fixes) if after.start_s is not None else {}),
    )  # fmt: skip


def _time_text(seconds):
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min" if minutes >= 5 else f"{minutes} min {rest} s"
