"""Series of samples on one axis of time, and their cleaning from outliers."""

from dataclasses import dataclass, field, replace

import numpy as np

from ground.analyse.runs import row_medians


@dataclass(frozen=True)
class Series:
    """Samples in order of time. time_s: seconds on the timeline's axis, float array (n,);
    values: dict name -> float array (n,); boot, tick_ms: int64 arrays (n,), the record each is from;
    source: what the samples are, as "kind.column".
    """

    time_s: np.ndarray
    values: dict
    boot: np.ndarray
    tick_ms: np.ndarray
    source: str

    def __len__(self):
        return len(self.time_s)

    def __getitem__(self, name):
        return self.values[name]

    def where(self, mask):
        """The samples that a mask, slice or index array selects."""
        values = {name: array[mask] for name, array in self.values.items()}
        return Series(self.time_s[mask], values, self.boot[mask], self.tick_ms[mask], self.source)

    def between(self, start_s, end_s):
        """The samples with start_s <= time_s <= end_s."""
        first = np.searchsorted(self.time_s, start_s, side="left")
        last = np.searchsorted(self.time_s, end_s, side="right")
        return self.where(slice(first, max(first, last)))

    def backwards(self):
        """The same samples in the opposite order, with their times negated."""
        turned = self.where(slice(None, None, -1))
        return replace(turned, time_s=-turned.time_s)

    def with_value(self, name, array, source):
        """The same samples with one more value, now from this source."""
        return Series(self.time_s, {**self.values, name: array}, self.boot, self.tick_ms, source)


@dataclass(frozen=True)
class Timeline:
    """An axis of time: UTC for all boots whose clock is known, or the ticks of a single boot.

    origin_ms: ms since 1970-01-01 at time 0 of the axis; None if it is the ticks of `boot`. found: what was
    already found on it, see once.
    """

    tables: dict
    origin_ms: int | None
    boot: int | None
    found: dict = field(default_factory=dict, compare=False, repr=False)

    def once(self, key, make):
        """Give make(), made only once for a key: many ask for the same cleaned samples."""
        if key not in self.found:
            self.found[key] = make()
        return self.found[key]

    def series(self, kind, names, source=None):
        """The samples of a kind in which all of these columns are known; empty if there are none, also where a
        column holds text, as a log's own manifest may say of any field.
        """
        table = self.tables.get(kind)
        if table is None or not all(is_numbers(table.columns.get(name)) for name in names):
            empty = np.zeros(0)
            return Series(empty, dict.fromkeys(names, empty), empty.astype(int), empty.astype(int), kind)
        columns = table.columns
        time_s, known = self._times(columns)
        for name in names:
            known = known & np.isfinite(columns[name])
        order = np.flatnonzero(known)
        order = order[np.argsort(time_s[order], kind="stable")]
        values = {name: columns[name][order] for name in names}
        source = source or f"{kind}.{names[0]}"
        return Series(time_s[order], values, columns["boot"][order], columns["tick_ms"][order], source)

    def _times(self, columns):
        if self.origin_ms is None:
            return columns["tick_ms"] / 1000.0, columns["boot"] == self.boot
        known = ~np.isnat(columns["utc"])
        utc_ms = columns["utc"].astype(np.int64)
        return np.where(known, utc_ms - self.origin_ms, 0) / 1000.0, known

    def event_times(self, event):
        """The times of the board's events of this name, s, sorted float array; empty without any."""
        table = self.tables.get("event")
        if table is None or "event" not in table.columns:
            return np.zeros(0)
        time_s, known = self._times(table.columns)
        return np.sort(time_s[known & (table.columns["event"] == event)])

    def utc(self, time_s):
        """Give datetime64[ms] for a time on the axis, None if the axis is not UTC."""
        if self.origin_ms is None:
            return None
        return np.datetime64(self.origin_ms + round(time_s * 1000), "ms")


def is_numbers(values):
    """True for the values of a column (array, or None for a column that is not there) if they are numbers."""
    return values is not None and values.dtype.kind in "fiu"


def timelines(flight):
    """Give the axes of time that a flight has: UTC first, if any, then each boot without UTC."""
    first_ms = None
    for table in flight.tables.values():
        utc = table.columns["utc"]
        known = utc[~np.isnat(utc)]
        if len(known):
            start = int(known.min().astype(np.int64))
            first_ms = start if first_ms is None else min(first_ms, start)
    axes = [] if first_ms is None else [Timeline(flight.tables, first_ms, None)]
    without = [boot for boot, clock in flight.clocks.items() if clock is None]
    return axes + [Timeline(flight.tables, None, boot) for boot in without]


def running_median(values, samples):
    """Give the median over a window of so many samples (odd), shorter at the ends. values: (n,)."""
    half = min(samples, len(values) - 1 + len(values) % 2) // 2
    if half < 1:
        return np.array(values, float)
    padded = np.pad(np.asarray(values, float), half, mode="reflect")
    return row_medians(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1))


def covered(sample_times_s, time_s, gap_s):
    """True where a time lies between two samples that are at most gap_s apart (or on a sample).

    sample_times_s: sorted array (n,). time_s: number or array. Returns bool or a bool array.
    """
    if len(sample_times_s) == 0:
        return np.zeros(np.shape(time_s), bool)[()]
    after = np.searchsorted(sample_times_s, time_s, side="left")
    upper = sample_times_s[np.minimum(after, len(sample_times_s) - 1)]
    lower = sample_times_s[np.maximum(after - 1, 0)]
    between = (after > 0) & (after < len(sample_times_s)) & (upper - lower <= gap_s)
    return between | (upper == time_s)


def without_outliers(series, name, far, near):
    """Drop the samples of a series whose value of this name is an outlier, see inliers."""
    return series.where(inliers(series[name], far, near))


def inliers(values, far, near):
    """True where a value does not stand out from its neighbours. values: float array (n,).

    far: least deviation from the median of 31 samples that counts as standing out, near: from the
    median of 7. A steady change adds to both, so that the top of a flight, where a climb turns into
    a fall within a sample, is kept. Source: F. R. Hampel's identifier, with six scaled median absolute
    deviations for its limit, once for runs of wrong samples and once for single ones.
    """
    kept = np.arange(len(values))
    for samples, least in ((31, far), (7, near)):
        left = values[kept]
        if len(left) < 5:
            break
        least = least + (samples // 2 + 2) * float(np.median(np.abs(np.diff(left))))
        deviation = np.abs(left - running_median(left, samples))
        scale = 1.4826 * running_median(deviation, samples)
        kept = kept[deviation <= np.maximum(least, 6 * scale)]
    mask = np.zeros(len(values), bool)
    mask[kept] = True
    return mask
