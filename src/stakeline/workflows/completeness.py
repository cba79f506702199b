"""What of each station's days is there: epochs kept in runs, counted by day."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..time import iso


def runs_of(time_ns):
    """Return epochs as [[first, step, count], ...], exactly; steps are 0 for a lone epoch. [ns]"""
    time_ns = np.asarray(time_ns, np.int64)
    runs, start = [], 0
    steps = np.diff(time_ns)
    change = np.append(np.flatnonzero(np.diff(steps)) + 1, len(steps))  # where a new step begins
    while start < len(time_ns):
        end = start + 1
        if end < len(time_ns):
            end = int(change[np.searchsorted(change, start, side="right")]) + 1
        step = int(steps[start]) if end - start > 1 else 0
        runs.append([int(time_ns[start]), step, end - start])
        start = end
    return runs


def epochs_of(runs):
    """Return the epochs of :func:`runs_of`. [ns]"""
    parts = [first + step * np.arange(count, dtype=np.int64) for first, step, count in runs]
    return np.concatenate(parts) if parts else np.zeros(0, np.int64)


@dataclass(frozen=True)
class StationDay:
    """How complete one day of one station is."""

    station: str
    day: str
    interval_s: float
    epochs: int
    expected: int
    gaps: int
    longest_gap_s: float
    files: int

    @property
    def percent(self):
        """Return epochs present of those expected. [%]"""
        return 100.0 * self.epochs / self.expected if self.expected else 0.0


def station_days(station, epochs_by_file):
    """Return a :class:`StationDay` for every day from the first to the last epoch of a station.

    Parameters
    ----------
    station : str
    epochs_by_file : list of int64 array
        Epochs of each file; epochs of several files count once. Days without any epoch are
        rows too: what is missing is said.
    """
    filled = [times for times in epochs_by_file if len(times)]
    if not filled:
        return []
    merged = np.unique(np.concatenate(filled))
    interval_ns = _interval_ns(filled)
    first, last = int(merged[0]) // NS_PER_DAY, int(merged[-1]) // NS_PER_DAY
    rows = []
    for day in range(first, last + 1):
        begin, end = day * NS_PER_DAY, (day + 1) * NS_PER_DAY
        own = merged[np.searchsorted(merged, begin) : np.searchsorted(merged, end)]
        files = sum(bool(((t >= begin) & (t < end)).any()) for t in filled)
        rows.append(_day(station, begin, end, own, interval_ns, files))
    return rows


def _interval_ns(filled):
    """Return the commonest step between epochs inside files; a day where there is none. [ns]"""
    steps = np.concatenate([np.diff(times) for times in filled])
    values, counts = np.unique(steps[steps > 0], return_counts=True)
    return int(values[np.argmax(counts)]) if len(values) else NS_PER_DAY


def _day(station, begin, end, own, interval_ns, files):
    edges = np.concatenate([[begin - interval_ns], own, [end]]) if len(own) else [begin, end]
    steps = np.diff(np.asarray(edges, np.int64))
    wide = steps[steps > 2 * interval_ns - interval_ns // 2]
    longest_s = (
        float(wide.max() - (interval_ns if len(own) else 0)) / NS_PER_S if wide.size else 0.0
    )
    expected = -(-NS_PER_DAY // interval_ns)
    return StationDay(
        station,
        iso(begin)[:10],
        interval_ns / NS_PER_S,
        len(own),
        int(expected),
        int(wide.size),
        longest_s,
        files,
    )
