"""A long series reduced to what a screen can show: extremes are kept, and so are gaps.

Coarse levels are made beforehand: of equal spans of time the first, lowest, highest and last row.
Spans of a screen that are whole numbers of those of a level give the very rows that all rows of
the series would give, since each span's extremes are among its parts' extremes.
"""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError
from ._reduction_kernels import extremes, find_breaks

GAP_STEPS = 3.0  # -; a line breaks over more than this many usual steps; choice
NEAR = 5  # steps on either side that say what is usual; choice
FINEST = 32  # usual steps in a span of the finest level; choice
COARSER = 8  # spans of a level in one of the next; choice
SHARE = 4  # spans of a level in one of the screen, at least: they are rounded to whole ones
FEWEST = 8000  # rows, below which no coarser level is made


@dataclass(frozen=True, eq=False)
class Level:
    """Rows that stand for a series: times (m,) [ns], values (m,), where its line breaks (m,)."""

    width_ns: int
    time_ns: np.ndarray
    values: np.ndarray
    breaks: np.ndarray


@dataclass(frozen=True, eq=False)
class Drawable:
    """A series as it is drawn: all its rows with a value, and coarse levels of them."""

    rows: Level
    levels: tuple

    @property
    def size(self):
        """Bytes of its values and levels; times and breaks of all rows may be another's too."""
        parts = [self.rows.values]
        parts += [a for one in self.levels for a in (one.time_ns, one.values, one.breaks)]
        return sum(part.nbytes for part in parts)


def line_breaks(time_ns):
    """Return for each row whether a line breaks before it.

    It does where the step is more than :data:`GAP_STEPS` usual ones; usual is the greater of the
    medians of the :data:`NEAR` steps before and behind. A record that is taken every half minute at
    times and every hour at others is whole in both parts.

    Parameters
    ----------
    time_ns : array of int64, shape (n,)
        Increasing. [ns]

    Returns
    -------
    array of bool, shape (n,)
    """
    time_ns = np.ascontiguousarray(time_ns, np.int64)
    breaks = np.zeros(len(time_ns), np.bool_)
    if len(time_ns) > 1:
        find_breaks(time_ns, GAP_STEPS, NEAR, breaks)
    return breaks


def drawable(time_ns, values, breaks=None):
    """Return a series made ready to be drawn at any scale.

    Parameters
    ----------
    time_ns : array of int64, shape (n,)
        Increasing. [ns]
    values : array, shape (n,)
        NaN where missing: such rows are left out, and a line breaks over them as over a gap.
    breaks : array of bool, shape (n,), optional
        :func:`line_breaks` of these times, where it is known already.
    """
    time_ns = np.ascontiguousarray(time_ns, np.int64)
    values = np.ascontiguousarray(values, float)
    there = np.isfinite(values)
    if not there.all():
        time_ns, values, breaks = time_ns[there], values[there], None
    breaks = line_breaks(time_ns) if breaks is None else breaks
    rows = Level(0, time_ns, values, breaks)
    return Drawable(rows, tuple(_levels(rows)))


def _levels(rows):
    """Yield coarser and coarser levels; one more than half as long as the last is left out."""
    if len(rows.values) < FEWEST:
        return
    start = int(rows.time_ns[0])
    span = int(rows.time_ns[-1]) - start + 1
    usual = float(np.quantile(np.diff(rows.time_ns[:: max(len(rows.values) // 10**6, 1)]), 0.1))
    usual /= max(len(rows.values) // 10**6, 1)
    width, last = max(int(FINEST * usual), 1), rows
    while len(last.values) >= FEWEST and width < span:
        kept = np.empty(min(4 * (span // width + 2), len(last.values)) + 5, np.int64)
        none = np.zeros(len(last.values), np.bool_)  # breaks stay with the rows that are kept
        count = extremes(last.time_ns, last.values, none, 0, len(last.values), start, width, kept)
        if 2 * count <= len(last.values):
            part = kept[:count]
            last = Level(width, last.time_ns[part], last.values[part], last.breaks[part])
            yield last
        width *= COARSER


def drawn_line(series, start_ns, end_ns, spans):
    """Return the rows of a series that draw it between two times as all its rows would.

    Parameters
    ----------
    series : Drawable
    start_ns, end_ns : int
        What is looked at; the row before and the row after come along, so that lines leave the
        frame. [ns]
    spans : int
        Into how many equal spans it is cut, such as pixels of the screen; a few less where a coarse
        level is taken. Of each the first, lowest, highest and last row are kept.

    Returns
    -------
    time_ns : array of int64, shape (m,)
        In order; m is at most five times ``spans`` plus 25. [ns]
    values : array, shape (m,)
        NaN where the line breaks. A gap shorter than a span cannot be seen and does not break it.

    Raises
    ------
    SettingsError
        For an end before the start, or fewer than one span.
    """
    if end_ns <= start_ns or spans < 1:
        raise SettingsError(f"{spans} spans of {end_ns - start_ns} ns; expected both above 0")
    source, width = series.rows, max(-(-(end_ns - start_ns) // spans), 1)
    first, last = _ends(source, start_ns, end_ns)
    if last - first <= 4 * spans:
        width = 1
    else:
        fine = [one for one in series.levels if SHARE * one.width_ns <= width]
        if fine:
            source, step, origin = fine[-1], fine[-1].width_ns, int(series.rows.time_ns[0])
            width = -(-width // step) * step
            start_ns = origin + (start_ns - origin) // step * step
            end_ns = start_ns + -(-(end_ns - start_ns) // width) * width - 1
            first, last = _ends(source, start_ns, end_ns)
    kept = np.empty(5 * (spans + 5) + 5, np.int64)
    count = extremes(source.time_ns, source.values, source.breaks, first, last, int(start_ns),
                     int(width), kept)  # fmt: skip
    kept = kept[:count]
    values = np.where(kept < 0, np.nan, source.values[kept])
    # a break stands at the time of the row before it
    return source.time_ns[np.where(kept < 0, np.roll(kept, 1), kept)], values


def _ends(source, start_ns, end_ns):
    """Return the rows from the one before the start to the one after the end."""
    first = max(int(np.searchsorted(source.time_ns, start_ns)) - 1, 0)
    last = min(int(np.searchsorted(source.time_ns, end_ns, side="right")) + 1, len(source.time_ns))
    return first, last
