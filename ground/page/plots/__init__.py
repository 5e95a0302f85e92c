"""The plots of a flight, one module each: plot(case, statements) gives a Plot, or NoPlot with the reason."""

from ground.page.plot import NoPlot
from ground.page.plots import (
    coverage,
    direction,
    fall,
    height,
    motion,
    power,
    speed,
    temperature,
    track,
    wind,
)

# In the order of the page. An id names a plot in the page's links and a picture's file.
PLOTS = (
    ("height", height), ("temperature", temperature), ("track", track), ("wind", wind),
    ("direction", direction), ("speed", speed), ("fall", fall), ("motion", motion), ("power", power),
    ("coverage", coverage),
)  # fmt: skip
_NO_RECORDS = "the log holds no records"


def all_plots(case, statements):
    """Make every plot of a flight: list of Plot or NoPlot.

    case: Case. statements: dict id -> statement.
    """
    if case.timeline is None:
        return [NoPlot(key, module.TITLE, _NO_RECORDS) for key, module in PLOTS]
    return [module.plot(case, statements) for _, module in PLOTS]
