"""Passing times: one speed, the range, distances between quantiles, the speed between two lakes."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.lakes.passing import drawn_along_m, passing, speed_between

ONSET_D = np.linspace(9.5, 10.5, 4001)
PEAK_D = ONSET_D + 3.0
SURE = (8640.0, 8640.0, 8640.0)  # 0.1 d at 1 m/s


def test_at_one_speed_all_is_distance_over_speed():
    one = passing(ONSET_D, PEAK_D, SURE, (0.5, 0.5), np.random.default_rng(1))
    np.testing.assert_allclose(one.delay_d, 0.2)
    np.testing.assert_allclose(one.front_d, ONSET_D + 0.2)
    np.testing.assert_allclose(one.peak_d - one.front_d, 3.0)  # the same way, the same speed


def test_a_range_of_speeds_is_even_in_the_logarithm():
    one = passing(ONSET_D, PEAK_D, SURE, (0.1, 10.0), np.random.default_rng(2))
    log = np.log10(0.1 / one.delay_d)  # of the speed
    assert (log.min(), log.max()) == pytest.approx((-1.0, 1.0), abs=2e-3)
    assert log.mean() == pytest.approx(0.0, abs=3.0 * 2.0 / np.sqrt(12 * 4001))
    np.testing.assert_allclose(one.peak_d - one.front_d, 3.0)


def test_distances_keep_their_quantiles():
    along = (900.0, 1000.0, 1600.0)
    share = (np.arange(20000) + 0.5) / 20000
    found = drawn_along_m(along, share)
    np.testing.assert_allclose(np.quantile(found, (0.05, 0.5, 0.95)), along, rtol=1e-3)
    assert (np.diff(found) > 0.0).all()
    assert drawn_along_m((0.0, 500.0, 900.0), np.array([0.0, 0.01])).min() == 0.0


def test_the_speed_between_two_lakes_is_true():
    rng = np.random.default_rng(3)
    truth, along = 0.25, 21_600.0
    later = ONSET_D + along / truth / 86400.0
    delay, speed = speed_between(rng.permutation(ONSET_D), rng.permutation(later), along)
    assert np.median(delay) == pytest.approx(1.0, abs=0.02)
    low, high = np.nanquantile(speed, [0.025, 0.975])
    assert low < truth < high
    _, never = speed_between(later, ONSET_D, along)
    assert np.isfinite(never).mean() < 0.01


@pytest.mark.parametrize("speeds", [(0.0, 1.0), (2.0, 1.0)])
def test_speeds_that_are_none_are_refused(speeds):
    with pytest.raises(SettingsError, match="give the least, more than 0, then the most"):
        passing(ONSET_D, PEAK_D, SURE, speeds, np.random.default_rng(1))
