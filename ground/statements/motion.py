"""Statements about motion: spin and swing, the blows that the box felt, and what its sensor could measure."""

from ground.analyse import blows
from ground.statements import motion_blows, motion_turning
from ground.statements.counts import counted
from ground.statements.motion_facts import MotionFacts, find_motion
from ground.statements.motion_limits import sensor_ranges
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement

__all__ = ["MotionFacts", "find_motion", "statements"]

TITLES = {
    "spin": ("Spin", "deg/s"), "swing": ("Swing", "deg"), "burst_shock": ("Blow at the end of the climb", "g"),
    "landing_shock": ("Blow of the landing", "g"), "tumbling": ("Tumbling after the climb", "s"),
    "free_fall": ("Free fall after the climb", "s"), "motion_range": ("Range of the motion sensor", "percent"),
}  # fmt: skip


def statements(case):
    """Give spin, swing, burst_shock, landing_shock, tumbling, free_fall, motion_range."""
    found = case.once(find_motion)
    if len(found.time_s) < 10:
        reason = "the log holds no whole readings of a motion sensor"
        if found.frozen:
            reason = "the motion sensor stood still"
        return {key: missing(title, unit, reason) for key, (title, unit) in TITLES.items()}
    made = {
        "spin": motion_turning.spin, "swing": motion_turning.swing, "burst_shock": motion_blows.burst_shock,
        "landing_shock": motion_blows.landing_shock, "tumbling": motion_blows.tumbling,
        "free_fall": motion_blows.free_fall, "motion_range": _range,
    }  # fmt: skip
    return {key: make(case, found, *TITLES[key]) for key, make in made.items()}


def _range(case, found, title, unit):
    """Its value is the greater of the shares of the two ranges that were used."""
    ranges = sensor_ranges(case)
    if ranges is None:
        return missing(title, unit, "the log does not say to which range the motion sensor was set")
    of_force, of_rate, count = blows.range_used(found.force, found.rate + found.zero_taken_deg_s, *ranges)
    says = {"force": Quantity(100.0 * of_force, "percent"), "rate": Quantity(100.0 * of_rate, "percent"),
            "most_force": Quantity(ranges[0], "g"), "most_rate": Quantity(ranges[1], "deg/s")}  # fmt: skip
    text = (
        "The motion sensor can feel up to {most_force} and turns of up to {most_rate}. The hardest jolt used "
        "{force} of that, and the fastest turn {rate}, so nothing was too much for it."
    )
    caveats = []
    if count:
        text = (
            f"The motion sensor can feel up to {{most_force}} and turns of up to {{most_rate}}. "
            f"{counted(count, 'reading')} reached that end, and there the truth was more."
        )
        caveats = ["what lies beyond the end of the range is cut off, so the largest values are too small"]
    rests_on = evidence(
        "value", "motion.acceleration, motion.rate", "largest reading of any axis, as a share of its range",
        len(found.time_s),
    )  # fmt: skip
    table = {"columns": [["quantity", ""], ["used of the range", "percent"], ["end of the range", ""]], "rows": [
        ["force", round(100.0 * of_force, 1), Quantity(ranges[0], "g").metric()],
        ["rate", round(100.0 * of_rate, 1), Quantity(ranges[1], "deg/s").metric()],
    ]}  # fmt: skip
    return statement(
        title, text, value=100.0 * max(of_force, of_rate), unit=unit, says=says, caveats=caveats, table=table,
        evidence=[rests_on], span=case.span(float(found.time_s[0]), float(found.time_s[-1])),
    )  # fmt: skip
