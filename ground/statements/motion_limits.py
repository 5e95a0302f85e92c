"""How well a motion sensor measures, and what its record lacks: what the statements about motion share."""

from ground.analyse.motion import unseen_s
from ground.statements.counts import counted

# MPU-6050 product specification 3.4, 6.1 and 6.2. Limits are taken as even distributions (JCGM 100:2008, 4.3.7),
# and the sums are expanded (k = 2). Rate: scale 3 %, over temperature 2 %. Force: scale 3 %, 0.02 % a degree over
# 60 degrees, not straight 0.5 %; zero 0.08 g on the worst axis.
RATE_SCALE = 2.0 * ((0.03**2 + 0.02**2) / 3.0) ** 0.5
FORCE_SCALE = 2.0 * ((0.03**2 + 0.012**2 + 0.005**2) / 3.0) ** 0.5
FORCE_ZERO_G = 2.0 * 0.08 / 3.0**0.5
ZERO_DEG_S = 20.0  # so far off is a gyroscope whose zero was nowhere seen
LEAST_ZERO_DEG_S = 0.05


def sensor_ranges(case):
    """(g, deg/s) of the chip, None if the log does not say."""
    _, words = case.flight.sensors.get("motion", (None, ()))
    try:
        ranges = float(words[0]), float(words[1])
    except (IndexError, ValueError, TypeError):
        return None
    return ranges if min(ranges) > 0.0 else None


def usual_caveats(found):
    """What speaks against any statement that rests on these MotionFacts: a list of lines."""
    lines = []
    if found.frozen:
        was = "was" if found.frozen == 1 else "were"
        lines.append(f"the sensor stood still for a time: {counted(found.frozen, 'reading')} {was} left out")
    if found.up_from == "the ground":
        lines.append("which way is up is known from the ground alone, where the box may have stood otherwise")
    return lines


def seen_percent(found, span):
    """The share of a span of time that has readings, in percent."""
    length_s = span[1] - span[0]
    return None if not length_s > 0 else round(100.0 * (1.0 - unseen_s(found.time_s, *span) / length_s), 1)
