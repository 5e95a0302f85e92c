"""The statement about how fast the payload met the ground."""

from ground.analyse.fall_speeds import speed_at_ground
from ground.statements.fall_found import caveats_of
from ground.statements.statement import evidence, missing, statement

STILL_ABOVE_M = 500.0  # data that end higher do not show the landing
LOWEST_REACH_M, HIGHEST_REACH_M = 150.0, 1600.0  # above the ground: what the speed may rest on
TITLE = ("Landing speed", "m/s")


def landing_speed(case, found):
    """Give the statement landing_speed of a Fall."""
    landing = case.moments.landing
    lowest_m = float(found.curve.height_m.min())
    if found.ground_m is None:
        return missing(*TITLE, landing.reason or "the height of the ground is not known")
    above_m = lowest_m - found.ground_m
    if above_m > STILL_ABOVE_M:
        return missing(*TITLE, f"the data end {above_m:.0f} m above the ground")
    reach_m = LOWEST_REACH_M
    value, uncertainty, samples = None, None, 0
    while value is None and reach_m <= HIGHEST_REACH_M:
        value, uncertainty, samples = speed_at_ground(found.curve, found.ground_m, found.ground_density, reach_m)
        reach_m *= 2.0
    if value is None:
        return missing(*TITLE, "too few heights near the ground")
    caveats = caveats_of(found)
    if landing.height_m is None:
        caveats.append("the ground's height is the mission's, as the landing is not in the data")
    if reach_m > 2.0 * LOWEST_REACH_M:
        caveats.append(f"from speeds up to {reach_m / 2:.0f} m above the ground")
    return statement(
        TITLE[0], "It came down on the ground at {value}, give or take {uncertainty}.", value=value, unit="m/s",
        decimals=1, uncertainty=uncertainty, height_m=found.ground_m, evidence=[evidence(
            "value", found.speed_source, f"mean of the speeds from 25 to {reach_m / 2:.0f} m above the ground, "
            "scaled to the density at the ground", samples
        )], span=case.span(found.end_s - 60.0, found.end_s), caveats=caveats,
    )  # fmt: skip
