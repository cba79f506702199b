"""Rows on both sides of midnight against rows elsewhere."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.motion.midnight import midnight_warnings, midnights
from stakeline.time import from_iso

START = from_iso("2031-05-01")


def rows(days=40, a_day=24, jump_m=0.0, seed=2):
    """Return (times, residuals): white noise of 3 mm, and days that are off by chance each."""
    rng = np.random.default_rng(seed)
    time_ns = START + np.arange(days * a_day) * (NS_PER_DAY // a_day)
    off = rng.normal(0.0, jump_m / np.sqrt(2.0), days)
    return time_ns, rng.normal(0.0, 0.003, len(time_ns)) + np.repeat(off, a_day)


def test_days_that_fit_differ_as_all_rows_do():
    found = midnights(*rows())
    assert found.count == 39
    assert found.rms == pytest.approx(1.0, abs=0.35)  # three sigma of 39 values
    assert midnight_warnings("up", found) == ()


def test_days_that_jump_are_told_by_their_size():
    found = midnights(*rows(days=200, jump_m=0.02))
    noise = 0.003 * np.sqrt(2.0)
    assert found.rms == pytest.approx(np.hypot(0.02, noise) / noise, rel=0.15)
    (said,) = midnight_warnings("up", found)
    assert said.startswith("up: positions jump at midnight: ")


def test_the_largest_is_named():
    time_ns, left = rows()
    left[10 * 24 :] += 0.1
    found = midnights(time_ns, left)
    assert found.largest_ns == START + 10 * NS_PER_DAY
    assert found.largest == pytest.approx(0.1 / (0.003 * np.sqrt(2.0)), rel=0.15)


def test_a_jump_at_another_hour_is_none_of_midnight():
    time_ns, left = rows()
    left[10 * 24 + 7 :] += 0.1
    assert midnights(time_ns, left).largest < 4.0


@pytest.mark.parametrize(("days", "a_day"), [(40, 1), (40, 4), (3, 24)])
def test_few_rows_a_day_and_few_days_tell_nothing(days, a_day):
    found = midnights(*rows(days, a_day))
    assert found.count == 0
    assert midnight_warnings("up", found) == ()
