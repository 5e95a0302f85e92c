"""The statement about the most humid layer of air."""

import numpy as np

from ground.analyse.air_extremes import layer_medians
from ground.statements.quantity import Quantity
from ground.statements.statement import evidence, missing, statement
from ground.statements.thermometer import CHIP, heights_at

PERCENT = "relative_humidity_percent"
LAYER_M = 200.0
COLDEST_DEGC = -40.0  # colder than that the film hardly follows, and the maker rates the chip no further
MOST_PERCENT = 105.0  # more is no humidity
CHIP_PERCENT = 5.0  # expanded, of a chip in changing air (common practice, no source)
FEWEST_SAMPLES, FEWEST_IN_LAYER = 10, 5


def most_humid_layer(case):
    """The layer of 200 m with the highest relative humidity on the way up; None without a humidity chip."""
    title = "Most humid layer"
    series = case.timeline.series("air", (PERCENT, CHIP))
    if len(series) == 0:
        return None
    series = series.between(case.window.start_s, case.window.top_s)
    height_m = heights_at(case, series.time_s)
    good = np.isfinite(height_m) & (series[CHIP] >= COLDEST_DEGC) & (series[PERCENT] <= MOST_PERCENT)
    series, height_m = series.where(good), height_m[good]
    if len(series) < FEWEST_SAMPLES:
        return missing(title, "percent", f"no humidity with a height in the climb above {COLDEST_DEGC:.0f} °C")
    edges_m, medians, counts = layer_medians(height_m, series[PERCENT], LAYER_M)
    enough = counts >= min(FEWEST_IN_LAYER, counts.max())
    best = int(np.argmax(np.where(enough, medians, -np.inf)))
    low_m = float(edges_m[best])
    inside = series.where((height_m >= low_m) & (height_m < low_m + LAYER_M))
    return statement(
        title,
        "The most humid air was between {low} and {high}: {value} relative humidity, give or take {uncertainty}.",
        value=float(min(medians[best], 100.0)), unit="percent",
        uncertainty=float(np.hypot(CHIP_PERCENT, 2.0 * np.std(inside[PERCENT]))),
        says={"low": Quantity(low_m, "m"), "high": Quantity(low_m + LAYER_M, "m")}, height_m=low_m + LAYER_M / 2,
        evidence=[
            evidence("value", f"air.{PERCENT}", "highest median of layers of 200 m", len(series)),
            evidence("height", case.heights.combined.source),
        ],
        caveats=["a humidity chip is slow in the cold, and only readings above -40 °C were used"],
        span=case.span(float(inside.time_s[0]), float(inside.time_s[-1])),
    )  # fmt: skip
