"""Which rows of a logger are believed after its clock has jumped."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.time import from_iso
from stakeline.workflows.clock_jumps import clock_of

HOUR_NS = NS_PER_DAY // 24
COUNT = 480


def told(hours, values=None):
    """Return (trusted rows, sentences) of rows written at so many hours after a day."""
    times = from_iso("2030-05-01") + np.round(np.asarray(hours) * HOUR_NS).astype(np.int64)
    if values is None:
        values = np.random.default_rng(1).standard_normal((times.size, 2))
    found = clock_of(times, values, np.arange(2, times.size + 2))
    return found.trusted, "\n".join(found.sentences)


def clock(*sets):
    """Return the hours that a clock shows; ``sets`` are (row, hours ahead from it on)."""
    hours = np.arange(COUNT, dtype=float)
    ahead = np.zeros(COUNT)
    for row, by in sets:
        ahead[row:] = by
    return hours + ahead


def test_a_sound_clock_is_believed():
    kept, said = told(clock())
    assert kept.all()
    assert said == ""


@pytest.mark.parametrize("by", [-72.0, -5.5, 24.0 * 200, 2.5])
def test_rows_between_a_jump_and_its_return_are_kept_aside(by):
    kept, said = told(clock((100, by), (300, 0.0)))
    assert np.flatnonzero(~kept).tolist() == list(range(100, 300))
    assert "200 rows (lines 102 to 301) are kept aside" in said


@pytest.mark.parametrize("by", [-72.0, 2.5])
def test_a_jump_and_its_return_tell_when_the_logger_was_awake(by):
    times = from_iso("2030-05-01") + np.round(clock((100, by), (300, 0.0)) * HOUR_NS)
    values = np.random.default_rng(1).standard_normal((COUNT, 1))
    found = clock_of(times.astype(np.int64), values, np.arange(COUNT))
    assert np.flatnonzero(found.awake).tolist() == list(range(100, 300))
    right = from_iso("2030-05-01") + np.arange(COUNT) * HOUR_NS
    np.testing.assert_array_equal(times - found.ahead_ns, right)
    for_good = clock_of(
        from_iso("2030-05-01") + (clock((100, -72.0)) * HOUR_NS).astype(np.int64), values,
        np.arange(COUNT),
    )  # fmt: skip
    assert not for_good.awake.any()


def test_no_row_is_believed_after_a_jump_back_that_nothing_ends():
    kept, said = told(clock((100, -72.0), (300, 500.0)))
    assert np.flatnonzero(~kept).tolist() == list(range(100, COUNT))
    assert "nothing shows that it ever was right again" in said
    assert "back by 3.0 d at line 102" in said
    assert "ahead by 23.8 d at line 302" in said


def test_a_gap_may_be_a_jump_and_its_rows_count():
    kept, said = told(clock((100, 240.0)))
    assert kept.all()
    assert "10.0 d missing at line 102 (from 2030-05-05T03:00:00 to 2030-05-15T04:00:00)" in said


def test_near_jumps_back_are_told_and_their_rows_count():
    kept, said = told(np.arange(COUNT) / 6 - np.where(np.arange(COUNT) < 100, 0.0, 1.0))
    assert kept.all()
    assert "time runs backwards once" in said


def test_rows_written_twice_are_no_jump():
    values = np.random.default_rng(5).standard_normal((COUNT, 2))
    hours = np.arange(COUNT)
    order = np.concatenate([hours[:300], hours[100:]])
    kept, said = told(order, values[order])
    assert kept.all()
    assert "200 rows stand twice" in said
    assert "missing" not in said
    kept, said = told(order)  # the same times with other readings
    assert not kept[300:].any()


def test_newest_first_is_judged_as_if_turned_and_lost_clocks_are_left_out():
    hours = clock((100, -72.0), (300, 0.0))
    forward, backward = told(hours)[0], told(hours[::-1])
    np.testing.assert_array_equal(backward[0][::-1], forward)
    assert "newest first" in backward[1]
    hours[7] = -24 * 365.25 * 60
    kept, said = told(hours)
    assert not kept[7]
    assert "rows before 1990, as a clock writes that has lost its power: 1, left out" in said
