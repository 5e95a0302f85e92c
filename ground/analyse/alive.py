"""Whether a sensor is alive: since when it is silent, or says the same all the time."""

import numpy as np

SILENT_S, SILENT_STEPS = 60.0, 10.0
LEAST_ALIKE = 30


def silent_since_s(time_s, values, end_s):
    """Give (time, how) of the last sign of life of a sensor if it fell silent before end_s, else None.

    time_s: (n,) of its samples, n >= 1; values: (n, k), what they say. how: 'silent', or 'stands still' if the last
    minute and more of samples (at least LEAST_ALIKE) are all alike.
    """
    step_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    if end_s - time_s[-1] > max(SILENT_S, SILENT_STEPS * step_s):
        return float(time_s[-1]), "silent"
    changed = np.flatnonzero((np.diff(values, axis=0) != 0).any(axis=1))
    last = int(changed[-1]) + 1 if len(changed) else 0
    if len(time_s) - last >= LEAST_ALIKE and time_s[-1] - time_s[last] > SILENT_S:
        return float(time_s[last]), "stands still"
    return None


def changes(time_s, values, least_s):
    """False where a sample is one of LEAST_ALIKE or more alike in a row, over least_s or more. Returns bool (n,).

    time_s, values: float arrays (n,), times rising.
    """
    if len(values) == 0:
        return np.zeros(0, bool)
    starts = np.flatnonzero(np.append(True, np.diff(values) != 0))
    ends = np.append(starts[1:], len(values))
    lasted_s = time_s[ends - 1] - time_s[starts]
    return np.repeat((lasted_s < least_s) | (ends - starts < LEAST_ALIKE), ends - starts)
