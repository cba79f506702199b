"""Laws of the reduction: extremes, ends and gaps of all rows are those of the rows drawn."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.motion.reduction import drawn_rows, usual_gap

STEP = 1_000_000_000


def series(rows=20_000, seed=3):
    time = np.arange(rows, dtype=np.int64) * STEP
    return time, np.random.default_rng(seed).standard_normal(rows).cumsum()


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
    assert (rows[at[0] - 1], rows[at[0] + 1]) == (4999, 5000)


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


def test_nothing_gives_nothing():
    time, values = series(10)
    assert len(drawn_rows(time, np.full(10, np.nan), 0, time[-1], 5)) == 0
    assert len(drawn_rows(time[:0], values[:0], 0, 1, 5)) == 0
    assert usual_gap(time[:1]) == 1
    assert usual_gap(time) == 3 * STEP


@pytest.mark.parametrize(("end", "spans"), [(0, 5), (5, 0)])
def test_what_makes_no_sense_is_refused(end, spans):
    with pytest.raises(SettingsError, match="expected both above 0"):
        drawn_rows(*series(10), 0, end, spans)
