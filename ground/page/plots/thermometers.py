"""Which samples of the air's thermometers are no temperature of the air: they are never drawn as if they were."""

import numpy as np

from ground.statements.thermometer import find_both


def is_left_out(case, column, time_s):
    """Mark samples of a column of the table air that the statements do not believe: mask (n,).

    time_s: float (n,), the times of samples on the timeline. All False for other columns.
    """
    for thermometer in case.once(find_both):
        if thermometer.column == column and thermometer.all is not None and thermometer.series is not None:
            return np.isin(time_s, thermometer.all.time_s) & ~np.isin(time_s, thermometer.series.time_s)
    return np.zeros(len(time_s), bool)
