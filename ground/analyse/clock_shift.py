"""Whether the times of another source are off by a time zone."""

import numpy as np

from ground.analyse.coverage import agreement

STEP_S = 900.0  # time zones differ from UTC by multiples of a quarter of an hour
WIDEST_S = 14 * 3600.0  # by at most so much (IANA time zone database: -12 to +14 h)
NEAR_M = 1000.0  # positions that agree this well are of one payload
FAR_M = 10_000.0  # positions this far apart are not of one time
MOST_POINTS = 300
LEAST_POINTS = 5


def zone_shift_s(source, own):
    """Give the seconds by which the times of a source are ahead of UTC if a time zone explains that its positions
    disagree, else 0.

    source, own: as for ground.analyse.coverage.agreement; own of the flight only: on the ground every shift fits.
    """
    at_zero = agreement(source, own)
    if at_zero is not None and at_zero.median_m < FAR_M:
        return 0.0
    best = None
    some = np.unique(np.linspace(0, len(source[0]) - 1, min(len(source[0]), MOST_POINTS)).astype(int))
    thin = tuple(values[some] for values in source)
    for shift_s in np.arange(-WIDEST_S, WIDEST_S + 1.0, STEP_S):
        found = agreement((thin[0] - shift_s, *thin[1:]), own)
        if found is not None and found.median_m < NEAR_M and found.samples >= LEAST_POINTS:
            rank = (-found.samples, found.median_m)
            if best is None or rank < best[0]:
                best = (rank, float(shift_s))
    return best[1] if best else 0.0
