"""Where a logger's clock jumped, and which rows are of a time that nobody can trust.

A clock that lost its power, or that somebody set wrong, writes sound readings under wrong times. A
jump back shows: time runs backwards. A jump ahead looks like a gap, until the clock jumps back by
as much. Rows are in the order in which they were written.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..time import iso
from .tables_examine import EARLIEST_NS, order_remarks, shift_remarks, span_words

FAR_NS = 2 * 3600 * NS_PER_S  # a nearer clock moves no daily sum; our choice
SAME_STEPS = 2  # steps that two jumps of one size may differ by; our choice
ALIKE = 0.9  # share of equal rows that shows a copy; our choice
COPIED_ROWS = 3  # rows of one time that can show a copy; our choice
MOST_BACK = 0.05  # share of backward steps above which rows are in no order; our choice
MOST_TOLD = 6  # gaps that are told one by one; our choice


@dataclass(frozen=True)
class Jump:
    """Time between two rows that is not the usual step.

    ``row``: the first after it; ``before_ns``, ``after_ns``: both times; ``by_ns``: the step less
    the usual one; negative back. [ns]
    """

    row: int
    before_ns: int
    after_ns: int
    by_ns: int


@dataclass(frozen=True)
class Clock:
    """What is known of a file's times.

    ``trusted``: rows whose time is right (n,); ``awake``: rows that were written, their clock
    ``ahead_ns`` [ns] wrong by one jump and its return (n,); ``sentences``.
    """

    trusted: np.ndarray
    awake: np.ndarray
    ahead_ns: np.ndarray
    sentences: tuple


def clock_of(time_ns, values, lines):
    """Return the :class:`Clock` of a file's rows.

    After a jump back no row is trusted until the clock is as far ahead again; where it had jumped
    ahead by as much before, the rows between are the wrong ones. Rows written twice are no jump.
    Times before 1990 are trusted nowhere.

    Parameters
    ----------
    time_ns : int64 array (n,)
        As written, in the order of the file. [ns]
    values : array (n, m)
        Readings, to know copies by; NaN missing.
    lines : int array (n,)
        Where each row stands in its file.
    """
    sane = np.flatnonzero(time_ns >= EARLIEST_NS)
    trusted, awake = np.zeros((2, time_ns.size), bool)
    times, rows, found = time_ns[sane], values[sane], []
    newest_first = sane.size > 2 and np.median(np.diff(times)) < 0
    if newest_first:
        sane, times, rows = sane[::-1], times[::-1], rows[::-1]
        found.append("rows stand newest first")
    if time_ns.size > sane.size:
        found.append(
            f"rows before 1990, as a clock writes that has lost its power: "
            f"{time_ns.size - sane.size}, left out"
        )
    kept, ahead, told = _judged(times, rows, lines[sane])
    trusted[sane[kept]] = True
    awake[sane[ahead != 0]] = True
    ahead_ns = np.zeros(time_ns.size, np.int64)
    ahead_ns[sane] = ahead
    left = times[kept]
    told += order_remarks(left) + shift_remarks(left)
    return Clock(trusted, awake, ahead_ns, tuple(found + told))


def _judged(times, values, lines):
    """Return (kept (n,), how far ahead others are (n,), sentences) of rows as they were written."""
    kept, ahead = np.ones(times.size, bool), np.zeros(times.size, np.int64)
    if times.size < 3:
        return kept, ahead, []
    steps = np.diff(times)
    if np.mean(steps < 0) > MOST_BACK and np.sum(steps < 0) > 2 / MOST_BACK:
        return kept, ahead, ["time runs backwards so often that the order of rows tells nothing"]
    step = max(int(np.median(steps)), 0)
    jumps, told = [], []
    for jump in _jumps(times, step):
        copied = _copied(times, values, jump) if jump.by_ns < 0 else 0
        known_ns = int(times[: jump.row].max())
        if copied:
            where = _where(jump, lines)
            told.append(f"{copied} rows stand twice, as they were written before, from {where}")
        elif jump.by_ns < 0 or jump.after_ns > known_ns + FAR_NS or jumps:
            jumps.append(jump)  # else the end of such a copy
    spans, gaps = _spans(jumps, step, times.size)
    for first, last, why in spans:
        kept[first : last + 1] = False
        if len(why) == 2 and why[1] is not None:  # one jump and its return
            ahead[first : last + 1] = why[0].by_ns
        told.append(_span_text(why, lines, first, last))
    return kept, ahead, told + _gap_texts(gaps, lines)


def _jumps(times, step):
    """Return each :class:`Jump` that is far: back, or forward by more than a row or two late."""
    by = np.diff(times) - step
    back = (np.diff(times) < 0) & (-by >= FAR_NS)
    ahead = by >= max(FAR_NS, SAME_STEPS * step)
    return [
        Jump(int(at) + 1, int(times[at]), int(times[at + 1]), int(by[at]))
        for at in np.flatnonzero(back | ahead)
    ]


def _copied(times, values, jump):
    """Return how many rows after a jump back repeat what stood before; 0 where they differ."""
    before = {int(time): row for row, time in enumerate(times[: jump.row])}
    again = np.flatnonzero(times[jump.row :] <= jump.before_ns) + jump.row
    pairs = [(row, before[int(times[row])]) for row in again if int(times[row]) in before]
    if len(pairs) < COPIED_ROWS:
        return 0
    here, there = (values[list(rows)] for rows in zip(*pairs, strict=True))
    alike = ((here == there) | (np.isnan(here) & np.isnan(there))).all(axis=1)
    return int(alike.sum()) if alike.mean() >= ALIKE else 0


def _spans(jumps, step, count):
    """Return (spans of rows with a wrong clock, gaps that nothing explains).

    A span is (first row, last row, jumps that began and ended it; None at the end of the file).
    """
    spans, ahead, began, behind = [], [], None, 0
    for jump in jumps:
        if began is not None:
            behind += jump.by_ns
            if abs(behind) <= SAME_STEPS * step:
                spans.append((began.row, jump.row - 1, (began, jump)))
                began, behind = None, 0
        elif jump.by_ns > 0:
            ahead.append(jump)
        else:
            same = [one for one in ahead if abs(one.by_ns + jump.by_ns) <= SAME_STEPS * step]
            if same:
                spans.append((same[-1].row, jump.row - 1, (same[-1], jump)))
                ahead = [one for one in ahead if one.row < same[-1].row]
            else:
                began, behind = jump, jump.by_ns
    if began is not None:
        more = [one for one in jumps if one.row > began.row]
        spans.append((began.row, count - 1, (began, *more, None)))
    return spans, [one for one in ahead if one.by_ns >= NS_PER_DAY]


def _span_text(why, lines, first, last):
    moved = "; then ".join(
        f"{'ahead' if one.by_ns > 0 else 'back'} by {span_words(abs(one.by_ns) / NS_PER_S)} at "
        f"{_where(one, lines)}"
        for one in why[:MOST_TOLD]
        if one is not None
    )
    end = ", as nothing shows that it ever was right again"
    if why[-1] is not None:
        end = "; they show that the logger was awake, no more" if len(why) == 2 else ""
    return (
        f"the clock jumped {moved}: {last - first + 1} rows (lines {lines[first]} to "
        f"{lines[last]}) are kept aside{end}; where you know what it showed, say so in a map "
        f"of the file: [[time.set]] with from_line and ahead_h"
    )


def _gap_texts(gaps, lines):
    told = [
        f"{span_words(one.by_ns / NS_PER_S)} missing at {_where(one, lines)}: nothing was written, "
        "or the clock was set ahead; rows count as they stand"
        for one in sorted(gaps, key=lambda one: -one.by_ns)[:MOST_TOLD]
    ]
    more = len(gaps) - len(told)
    return told + ([f"{more} shorter gaps of more than a day"] if more > 0 else [])


def _where(jump, lines):
    before, after = (iso(one)[:19] for one in (jump.before_ns, jump.after_ns))
    return f"line {lines[jump.row]} (from {before} to {after})"
