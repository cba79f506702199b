"""What stations tell together: formulas, limits, and simulations with known truth."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from stakeline.errors import SettingsError
from stakeline.inference.power import sigma_of_series
from stakeline.lakes import network_sight as n
from stakeline.lakes.placement import onset_sigma_d
from stakeline.motion.smoother import MotionModel
from stakeline.motion.strain import velocity_gradient

WHITE = MotionModel(0.0, np.inf, (), (), 1.0)


def drawn(rng, sigmas, count, correlation):
    """Return errors (count, n) that are alike by a correlation: one shared part, one of its own."""
    shared = rng.standard_normal((count, 1))
    own = rng.standard_normal((count, len(sigmas)))
    return (np.sqrt(correlation) * shared + np.sqrt(1.0 - correlation) * own) * np.asarray(sigmas)


def test_equal_stations_are_those_of_kish_and_one_is_itself():
    assert n.sigma_together([2.5]) == pytest.approx(2.5)
    for count in (2, 5, 40):
        assert n.sigma_together(np.full(count, 2.0), 0.3) == pytest.approx(
            sigma_of_series(2.0, count, 0.3)
        )
    assert n.sigma_together(np.full(4, 2.0), 0.0) == pytest.approx(1.0)


def test_more_stations_never_make_it_worse():
    rng = np.random.default_rng(1)
    for _ in range(20):
        sigmas = rng.uniform(0.5, 5.0, 6)
        each = [n.sigma_together(sigmas[: k + 1]) for k in range(6)]
        assert (np.diff(each) <= 1e-12).all()


def test_the_onset_of_three_stations_together_is_that_of_a_joint_fit():
    """The small simulation: three series of one draining, one onset and end, sizes by share."""
    rng, shares = np.random.default_rng(4), np.array([1.0, 0.6, 0.3])
    day = np.arange(-15.0, 21.0 + 0.25, 0.5)

    def course(x):
        onset, end, size, *rest = x
        lines = np.reshape(rest, (2, 3, 1))
        ramp = np.clip((day - onset) / (end - onset), 0.0, 1.0)
        return lines[0] + lines[1] * day + size * shares[:, None] * ramp

    truth, found = np.array([0.0, 6.0, 2.0, 0.1, 0.0, 0.0, 0.01, 0.0, 0.0]), []
    for _ in range(100):
        height = course(truth) + 0.01 * rng.standard_normal((3, day.size))
        fit = least_squares(lambda x, h: (course(x) - h).ravel(), truth + 0.02, args=(height,))
        found.append(fit.x[0])
    one = onset_sigma_d(WHITE, 0.01, 6.0, 15.0, 15.0, 0.5)
    expected = n.sigma_together(one / (2.0 * shares), 0.0)
    assert np.std(found) == pytest.approx(expected, rel=3.0 / np.sqrt(200))


def test_strain_of_a_rectangle_is_the_difference_of_its_sides():
    """Four corners a by b: exx = sigma (1 - r)^(1/2) / a; what is common falls out."""
    corners = np.array([[0.0, 0.0], [4000.0, 0.0], [4000.0, 1000.0], [0.0, 1000.0]])
    found = n.strain_sight(corners, 0.002, 0.3)
    own = 0.002 * np.sqrt(0.7)
    assert found.along_per_d == pytest.approx(own / 4000.0)
    assert found.across_per_d == pytest.approx(own / 1000.0)
    assert found.shear_per_d == pytest.approx(0.5 * own * np.hypot(1 / 4000.0, 1 / 1000.0))
    assert found.condition == pytest.approx(4.0)
    assert found.poor
    assert not n.strain_sight(corners * [0.25, 1.0], 0.002).poor
    assert n.strain_sight([[0.0, 0.0], [4000.0, 0.0], [2000.0, 500.0]], 0.002).poor


def test_sigmas_of_strain_are_the_spread_of_simulated_ones():
    rng = np.random.default_rng(6)
    place = rng.uniform(-4000.0, 4000.0, (5, 2))
    sight = n.strain_sight(place, 0.003, 0.4)
    found = []
    for _ in range(300):
        velocity = np.stack([drawn(rng, np.full(5, 0.003), 1, 0.4)[0] for _ in range(2)], axis=1)
        one = velocity_gradient(place, velocity)
        found.append((one.exx.value, one.eyy.value, one.exy.value))
    expected = (sight.along_per_d, sight.across_per_d, sight.shear_per_d)
    np.testing.assert_allclose(np.std(found, axis=0), expected, rtol=0.15)


def test_slowness_of_two_places_is_the_difference_of_their_onsets():
    found = n.slowness_sigma_d_m([1000.0, 9000.0], [0.2, 0.2], 0.3)
    assert found == pytest.approx(0.2 * np.sqrt(2.0 * 0.7) / 8000.0)
    assert n.slowness_sigma_d_m([0.0, 4000.0, 9000.0], [0.2, 0.2, 0.2]) < 2.0 * found


def test_bands_of_the_speed_hold_nine_of_ten_simulated_ones():
    rng, along, sigmas = np.random.default_rng(8), np.array([0.0, 6e3, 15e3]), (0.1, 0.2, 0.3)
    slowness = n.slowness_sigma_d_m(along, sigmas, 0.3)
    for speed in (0.1, 0.4):
        band = n.speed_sight(speed, slowness)
        times = along / speed / n.DAY_S + drawn(rng, sigmas, 4000, 0.3)
        weight = np.linalg.inv(n.alike_covariance(sigmas, 0.3))
        design = np.column_stack([np.ones(3), along])
        slow = np.linalg.solve(design.T @ weight @ design, design.T @ weight @ times.T)[1]
        told = np.where(slow > 0.0, 1.0 / (np.maximum(slow, 1e-12) * n.DAY_S), np.inf)
        inside = np.mean((told > band.low_m_s) & (told < band.high_m_s))
        assert inside == pytest.approx(0.9, abs=0.02)


def test_fast_water_has_a_lower_bound_only():
    slowness = n.slowness_sigma_d_m([0.0, 10e3], [0.1, 0.1])
    fastest = n.fastest_told_m_s(slowness)
    assert n.speed_sight(0.9 * fastest, slowness).bounded
    beyond = n.speed_sight(1.1 * fastest, slowness)
    assert not beyond.bounded
    assert 0.0 < beyond.low_m_s < 1.1 * fastest


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: n.sigma_together([]), "expected positive ones"),
        (lambda: n.sigma_together([1.0, -1.0]), "expected positive ones"),
        (lambda: n.sigma_together([1.0], 1.0), "0 up to below 1"),
        (lambda: n.slowness_sigma_d_m([5.0, 5.0], [0.1, 0.1]), "two that differ"),
        (lambda: n.speed_sight(0.0, 1e-6), "expected both above 0"),
    ],
)
def test_what_cannot_be_is_said(call, words):
    with pytest.raises(SettingsError, match=words):
        call()
