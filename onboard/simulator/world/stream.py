"""What a simulated device would read, as a table over time."""

from typing import NamedTuple

import numpy as np


class Stream(NamedTuple):
    """Readings of one device; row i holds from i * period_ms after power-on to the next row."""

    period_ms: int
    rows: np.ndarray  # int32, (n, k); the function that makes the stream names the columns


def stream_times_s(truth, period_ms):
    """Times of the rows of a stream that covers the flight, float array (n,), s from power-on."""
    return np.arange(int(truth.time_s[-1] * 1000.0 / period_ms + 1e-6) + 1) * (period_ms / 1000.0)


def as_stream(period_ms, columns, lowest, highest):
    """Round columns to whole counts, limit them to what the device can say, and join them."""
    rows = np.clip(np.rint(np.column_stack(columns)), lowest, highest)
    return Stream(period_ms, rows.astype(np.int32))
