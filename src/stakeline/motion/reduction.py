"""A long series reduced to what a screen can show: extremes are kept, and so are gaps."""

import numpy as np

from ..errors import SettingsError
from ._reduction_kernels import extremes

GAP_STEPS = 3.0  # -; a line breaks over more than this many median steps; choice


def usual_gap(time_ns):
    """Return the step over which a line breaks: :data:`GAP_STEPS` median steps. [ns]"""
    if len(time_ns) < 2:
        return 1
    return max(int(GAP_STEPS * float(np.median(np.diff(time_ns)))), 1)


def drawn_rows(time_ns, values, start_ns, end_ns, spans, gap_ns=None):
    """Return the rows of a series that draw it between two times as all its rows would.

    Parameters
    ----------
    time_ns : array of int64, shape (n,)
        Increasing. [ns]
    values : array, shape (n,)
        NaN where missing.
    start_ns, end_ns : int
        What is looked at; the row before and the row after come along, so that lines leave the
        frame. [ns]
    spans : int
        Into how many equal spans it is cut, such as pixels of the screen. Of each the first,
        lowest, highest and last row are kept.
    gap_ns : int, optional
        A line breaks over more than this; :func:`usual_gap` where not given. A gap shorter than a
        span cannot be seen and does not break it. [ns]

    Returns
    -------
    array of int64, shape (m,)
        Rows in order, -1 where the line breaks; m is at most five times ``spans`` plus 15.

    Raises
    ------
    SettingsError
        For an end before the start, or fewer than one span.
    """
    time_ns = np.ascontiguousarray(time_ns, np.int64)
    values = np.ascontiguousarray(values, float)
    if end_ns <= start_ns or spans < 1:
        raise SettingsError(f"{spans} spans of {end_ns - start_ns} ns; expected both above 0")
    first = max(int(np.searchsorted(time_ns, start_ns)) - 1, 0)
    last = min(int(np.searchsorted(time_ns, end_ns, side="right")) + 1, len(time_ns))
    few = last - first <= 4 * spans
    width = 1 if few else max(-(-(end_ns - start_ns) // spans), 1)
    gap = usual_gap(time_ns) if gap_ns is None else int(gap_ns)
    kept = np.empty(5 * (spans + 3) + 5, np.int64)
    count = extremes(time_ns, values, first, last, int(start_ns), width, gap, kept)
    return kept[:count].copy()
