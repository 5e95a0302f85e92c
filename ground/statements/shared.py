"""What several topics' statements do alike."""

from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, statement, utc_text


def of_extreme(case, title, text, extreme, unit, decimals=0, climb=False, uncertainty=None):
    """Make the statement of an Extreme. text: may name {value}, {height} and {when}."""
    rests_on = []
    if extreme.source:
        rests_on.append(evidence("value", extreme.source, extreme.method, extreme.samples))
    if extreme.height_source and extreme.height_source != extreme.source:
        rests_on.append(evidence("height", extreme.height_source))
    known = extreme.time_s is not None
    share = None if extreme.coverage is None else round(100.0 * extreme.coverage, 1)
    return statement(
        title, text, value=extreme.value, unit=unit, decimals=decimals, climb=climb, uncertainty=uncertainty,
        reason=extreme.reason, evidence=rests_on, utc=utc_text(case.timeline.utc(extreme.time_s)) if known else None,
        boot=extreme.boot, tick_ms=extreme.tick_ms, height_m=extreme.height_m, coverage_percent=share,
        says={"height": Quantity(extreme.height_m, "m"), "when": case.clock_text(extreme.time_s) if known else ""},
    )  # fmt: skip
