"""Laws of the reduction: extremes, ends and gaps of all rows are those of the rows drawn."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.motion.reduction import SHARE, Drawable, drawable, drawn_line, line_breaks

STEP = 1_000_000_000


def series(rows=20_000, seed=3):
    time = np.arange(rows, dtype=np.int64) * STEP
    return time, np.random.default_rng(seed).standard_normal(rows).cumsum()


def plain(made):
    """Return the same series without its coarse levels."""
    return Drawable(made.rows, ())


def drawn_rows(time, values, start, end, spans):
    """Return the rows drawn, -1 where the line breaks; their number is their time here."""
    when, what = drawn_line(plain(drawable(time, values)), start, end, spans)
    return np.where(np.isnan(what), -1, when // STEP)


def test_each_span_keeps_its_extremes_and_ends():
    time, values = series()
    rows = drawn_rows(time, values, 0, time[-1] + 1, 100)
    width = -(-(time[-1] + 1) // 100)
    for span in np.unique(time // width):
        every = np.flatnonzero(time // width == span)
        kept = rows[(rows >= every[0]) & (rows <= every[-1])]
        assert {every[0], every[-1]} <= set(kept)
        assert values[kept].min() == values[every].min()
        assert values[kept].max() == values[every].max()
    assert len(rows) <= 5 * 100 + 15
    assert (np.diff(rows) > 0).all()


def test_few_rows_are_all_drawn():
    time, values = series(300)
    assert np.array_equal(drawn_rows(time, values, 0, time[-1], 100), np.arange(300))


def test_a_part_comes_with_its_neighbours():
    time, values = series(300)
    rows = drawn_rows(time, values, 100 * STEP, 120 * STEP, 100)
    assert (rows[0], rows[-1]) == (99, 121)


@pytest.mark.parametrize("spans", [50, 5000])
def test_a_gap_stays_a_gap(spans):
    time, values = series()
    there = (time < 5000 * STEP) | (time >= 9000 * STEP)
    rows = drawn_rows(time[there], values[there], 0, time[-1], spans)
    at = np.flatnonzero(rows == -1)
    assert len(at) == 1
    assert (rows[at[0] - 1], rows[at[0] + 1]) == (4999, 9000)


def test_missing_values_are_a_gap_too():
    time, values = series(300)
    values[100:150] = np.nan
    rows = drawn_rows(time, values, 0, time[-1], 100)
    assert np.array_equal(rows, [*range(100), -1, *range(150, 300)])


def test_a_gap_too_short_to_be_seen_does_not_break_the_line():
    time, values = series()
    there = np.ones(len(time), bool)
    there[7000:7010] = False
    assert -1 not in drawn_rows(time[there], values[there], 0, time[-1], 100)
    assert -1 in drawn_rows(time[there], values[there], 6900 * STEP, 7100 * STEP, 100)


def test_a_record_with_two_steps_is_whole_in_both_parts():
    hours, halves = np.arange(200) * 3600, 200 * 3600 + np.arange(5000) * 30
    time = np.concatenate([hours, halves]) * STEP
    assert not line_breaks(time).any()
    there = np.ones(len(time), bool)
    there[100:110], there[3000:3010] = False, False  # ten hours, five minutes
    assert np.flatnonzero(line_breaks(time[there])).tolist() == [100, 2990]


def test_a_lone_row_between_two_gaps_stays_alone():
    time = np.array([0, 1, 2, 3, 4, 5, 500, 1000, 1001, 1002, 1003, 1004, 1005]) * STEP
    assert np.flatnonzero(line_breaks(time)).tolist() == [6, 7]


@pytest.mark.parametrize("kind", ["regular", "gaps", "two steps", "ragged"])
@pytest.mark.parametrize(("begin", "end"), [(0.0, 1.0), (0.2, 0.9), (0.4137, 0.7751)])
def test_coarse_levels_draw_what_all_rows_would(kind, begin, end):
    time, values = series(60_000, seed=5)
    rng = np.random.default_rng(8)
    if kind == "gaps":
        there = (time // (7000 * STEP)) % 3 != 1
        time, values = time[there], values[there]
    if kind == "two steps":
        time = np.concatenate([time[:30_000], time[29_999] + 60 * (time[1:30_001])])
    if kind == "ragged":
        time = np.cumsum(rng.exponential(1.0, len(time)) * STEP).astype(np.int64) + 1
        values[rng.random(len(time)) < 0.1] = np.nan
    made = drawable(time, values)
    low = int(time[0] + begin * (time[-1] - time[0]))
    high = int(time[0] + end * (time[-1] - time[0]))
    spans = 60
    when, what = drawn_line(made, low, high, spans)
    width = -(-(high - low) // spans)
    step = max(one.width_ns for one in made.levels if SHARE * one.width_ns <= width)
    origin, width = int(made.rows.time_ns[0]), -(-width // step) * step
    low = origin + (low - origin) // step * step
    count = -(-(high - low) // width)
    every, exact = drawn_line(plain(made), low, low + count * width - 1, count)
    assert np.array_equal(when, every)
    assert np.array_equal(what, exact, equal_nan=True)
    assert len(what) <= 5 * spans + 25
    part = made.rows.values[(made.rows.time_ns >= low) & (made.rows.time_ns < high)]
    assert np.nanmin(what) <= part.min()
    assert np.nanmax(what) >= part.max()


def test_nothing_gives_nothing():
    time, values = series(10)
    assert len(drawn_rows(time, np.full(10, np.nan), 0, time[-1], 5)) == 0
    assert len(drawn_rows(time[:0], values[:0], 0, 1, 5)) == 0
    assert not line_breaks(time[:1]).any()
    assert not line_breaks(time[:2]).any()


@pytest.mark.parametrize(("end", "spans"), [(0, 5), (5, 0)])
def test_what_makes_no_sense_is_refused(end, spans):
    with pytest.raises(SettingsError, match="expected both above 0"):
        drawn_line(drawable(*series(10)), 0, end, spans)
