"""All statements of a flight, in the order in which a reader wants them, topic by topic."""

from ground.statements import (
    climb, fall, heights, log, moments, motion, positions, power, temperature, wind,
)

# Heading -> the modules whose statements stand below it. A module's function statements(case) gives a dict
# id -> statement; an id is what `loftbook ask` is asked for, and must not change.
TOPICS = (
    ("Moments", (moments,)),
    ("Climb", (climb,)),
    ("Air temperature", (temperature,)),
    ("Wind", (wind,)),
    ("Fall", (fall,)),
    ("Heights", (heights,)),
    ("Motion", (motion,)),
    ("Power and cold", (power,)),
    ("Positions", (positions,)),
    ("The log", (log,)),
)


def all_statements(case):
    """Make every statement that a Case can make: dict id -> statement, which says its id and topic too.
    Without a timeline only the log's.
    """
    found = {}
    for topic, modules in TOPICS:
        for module in modules:
            if case.timeline is None and module is not log:
                continue
            for key, made in module.statements(case).items():
                if key in found:
                    raise KeyError(f"two statements are called {key}")
                found[key] = {"id": key, "topic": topic, **made}
    return found

