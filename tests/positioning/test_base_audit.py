"""A base that moves or jumps is found; motion that the rock shares is not the glacier's."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.positioning.base_audit import audit_base, common_motion, place_covariance

DAYS = NS_PER_DAY * np.arange(30)
NOISE_M = (0.002, 0.002, 0.006)
mm = 1e-3


def still(rng, days=30):
    return rng.normal(0.0, 1.0, (days, 3)) * NOISE_M


def test_still_bases_are_called_still():
    rng = np.random.default_rng(1)
    verdicts = [audit_base(DAYS, still(rng)).verdict for _ in range(200)]
    assert verdicts.count("still") >= 196  # of 4-sigma tests of three axes and 29 days


def test_a_base_on_creeping_ground_moves_and_its_rate_is_right():
    rng = np.random.default_rng(2)
    creep = np.array([0.001, -0.0005, 0.0])
    found = audit_base(DAYS, still(rng) + np.arange(30)[:, None] * creep)
    assert found.verdict == "moves"
    assert (np.abs(found.rate_m_d - creep) < 4 * found.rate_sigma_m_d).all()
    assert "moves by +1.0" in found.words


def test_a_jump_is_a_jump_and_not_a_drift():
    rng = np.random.default_rng(3)
    enu = still(rng)
    enu[12:] += [0.0, 0.03, 0.0]
    found = audit_base(DAYS, enu)
    assert (found.verdict, found.jump_day) == ("jumps", 12)
    assert found.jump_m[1] == pytest.approx(0.03, abs=3 * mm)


def test_two_days_say_nothing():
    assert audit_base(DAYS[:2], np.zeros((2, 3))).verdict == "too few days"


def test_the_doubt_of_a_place_is_the_scatter_of_its_means():
    rng = np.random.default_rng(7)
    made = [still(rng) for _ in range(400)]
    told = np.mean([place_covariance(DAYS, enu, audit_base(DAYS, enu)) for enu in made], axis=0)
    means = np.cov(np.mean(made, axis=1).T)
    # the drift that may be missed makes it larger: by 1 in variance for a line through even days
    assert (np.diag(told) > np.diag(means)).all()
    assert (np.diag(told) < 3.5 * np.diag(means)).all()
    np.testing.assert_array_equal(told - np.diag(np.diag(told)), 0.0)


def test_what_the_rock_shares_is_told_from_what_only_the_ice_does():
    rng = np.random.default_rng(4)
    rock = np.array([True, False, False, False])
    shaken = 0.01 * rng.standard_normal((30, 3))
    everywhere = np.stack([still(rng) + shaken for _ in range(4)])
    found = common_motion(everywhere, rock)
    assert "the rock too" in found.words
    apart = found.enu_m - (shaken - shaken.mean(axis=0))
    assert np.sqrt(np.mean(apart**2)) < 5 * mm
    ice_alone = np.stack([still(rng) + (0.0 if on_rock else 1.0) * shaken for on_rock in rock])
    assert common_motion(ice_alone, rock).words == "no motion that the rock shares"


def test_without_rock_it_does_not_judge():
    rng = np.random.default_rng(5)
    ice = np.stack([still(rng) for _ in range(3)])
    assert "too few" in common_motion(ice, np.zeros(3, bool)).words
