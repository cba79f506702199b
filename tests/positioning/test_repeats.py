"""Multipath that repeats: times of return, what is taken off where it was planted and where not."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import EARTH_ROTATION_RAD_S, NS_PER_DAY, NS_PER_S
from stakeline.positioning.repeats import (
    TURN_S,
    Repeats,
    Residuals,
    find_repeats,
    in_bands,
    repeat_time_s,
    smoothed,
    taken_off,
    without_repeats,
)
from stakeline.positioning.solve import solve
from stakeline.satellites.orbits import turn_about_z
from stakeline.simulate.baselines import START_NS, make_baselines
from stakeline.simulate.orbits import Constellation
from stakeline.workflows.observation_cut import cut

TILT = np.radians(55.0)
SIZE_M = 26559.7e3  # semi-major axis of the invented GPS, of a nominal one: from memory
STEP_S = 60.0
SIGMA_M = 0.01


def circular(size_m):
    """Return a satellite on a circular orbit."""
    return Constellation(np.array([1]), *(np.array([v]) for v in (size_m, 0, TILT, 0.3, 0, 0.2)))


def fixed(satellite, seconds):
    """Return Earth-fixed unit vectors (n, 3) to it from the Earth's centre."""
    position = satellite.states(seconds[:, None])[0][:, 0]
    return turn_about_z(position, -EARTH_ROTATION_RAD_S * seconds) / satellite.semi_major_m


def returned(size_m, near_s=TURN_S):
    satellite = circular(size_m)
    earlier_s, seconds = np.arange(0.0, 9e4, STEP_S), np.arange(8.7e4, 1.74e5, STEP_S)
    tracks = seconds, fixed(satellite, seconds), earlier_s, fixed(satellite, earlier_s)
    return repeat_time_s(*tracks, near_s)


def by_formula(size_m):
    """Return the time that makes the mean square distance of two tracks least. [s]

    After two turns of a circular orbit u is ahead by n T - 4 pi, the node by 2 pi - w T; a step
    along the track and one along the parallel meet at the cosine of the tilt, and the mean square
    of the distance from the axis is 1 - sin^2(tilt) / 2: least squares, derived here.
    """
    node, perigee, anomaly = (rate[0] for rate in circular(size_m).rates())
    n, w = perigee + anomaly, EARTH_ROTATION_RAD_S - node
    c, q = np.cos(TILT), 1.0 - np.sin(TILT) ** 2 / 2.0
    ahead, across = n - c * w, c * n - q * w
    return (4.0 * np.pi * ahead - 2.0 * np.pi * across) / (n * ahead - w * across)


@pytest.mark.parametrize("away_m", [-1000.0, 0.0, 800.0])
def test_time_of_return_is_that_of_the_formula(away_m):
    found, apart = returned(SIZE_M + away_m)
    assert found == pytest.approx(by_formula(SIZE_M + away_m), abs=0.05)
    assert apart < np.radians(0.05)


def test_an_orbit_that_repeats_is_back_when_the_earth_has_turned_under_its_node():
    sizes = SIZE_M + np.linspace(-3000.0, 3000.0, 601)
    drift = []
    for size in sizes:
        node, perigee, anomaly = (rate[0] for rate in circular(size).rates())
        drift.append(abs(2.0 * (EARTH_ROTATION_RAD_S - node) - (perigee + anomaly)))
    size = sizes[np.argmin(drift)]
    found, apart = returned(size)
    turn = 2.0 * np.pi / (EARTH_ROTATION_RAD_S - circular(size).rates()[0][0])
    assert found == pytest.approx(turn, abs=0.1)
    assert apart < 2e-5
    assert found == pytest.approx(86154.0, abs=3.0)  # tabulated mean of GPS: from memory


def test_an_orbit_of_another_period_does_not_come_back():
    _, apart = returned(29600.3e3)  # some 14 h: never back within minutes of a turn of the Earth
    assert not apart < np.radians(0.5)
    assert np.isnan(repeat_time_s(*[np.zeros(2), np.ones((2, 3))] * 2, TURN_S)[0])


def sky(days, planted_m, noise_m, seed):
    """Return (:class:`Residuals` of earlier days, of a day, what was planted in the day)."""
    rng = np.random.default_rng(seed)
    satellite = circular(SIZE_M)
    made = []
    for first, last in ((0, days), (days, days + 1)):
        seconds = np.arange(first * 86400.0, last * 86400.0, STEP_S)
        many = [seconds + shift for shift in (0.0, 9000.0, 31000.0)]
        direction = np.stack([fixed(satellite, s) for s in many], axis=1)
        above = direction[..., 2] > -0.3
        wave = planted_m * np.sin(60.0 * direction[..., 0]) * np.cos(45.0 * direction[..., 1])
        noise = noise_m * rng.standard_normal((2, *above.shape))
        values = np.where(above, wave + noise, np.nan)
        direction = np.where(above[..., None], direction, np.nan)
        time_ns = (seconds * NS_PER_S).astype(np.int64)
        made.append((Residuals(time_ns, np.arange(1, 4), direction, *values), wave))
    return made[0][0], *made[1]


def told(earlier, today):
    """Return :class:`Repeats`, what is taken off, and where anything is foretold."""
    sigma = np.full(today.phase_m.shape, SIGMA_M)
    found = find_repeats(today, earlier, sigma, sigma)
    known = np.isfinite(found.phase_m).all(axis=0) & np.isfinite(today.phase_m)
    return found, taken_off(found.phase_m, found.phase_share, today.satellites), known


def test_most_of_what_was_planted_is_taken_off():
    earlier, today, wave = sky(1, 0.01, 0.003, seed=1)
    found, off, known = told(earlier, today)
    assert known.sum() > 0.9 * np.isfinite(today.phase_m).sum()
    left = np.mean((wave - off)[known] ** 2) / np.mean(wave[known] ** 2)
    assert left < 0.15  # of its variance; our bar. The narrow bell lets 1 / 3.5 of the noise pass
    assert found.repeat_s[1][0] == pytest.approx(by_formula(SIZE_M), abs=1.0)
    assert "G after 8615" in found.words


def test_where_nothing_repeats_no_noise_is_added():
    for seed in range(4):
        earlier, today, _ = sky(1, 0.0, 0.005, seed)
        found, off, known = told(earlier, today)
        assert max(found.phase_share["G"]) < 0.35  # the slow band has a few dozen free values
        after = np.std((today.phase_m - off)[known]) / np.std(today.phase_m[known])
        assert after < 1.001  # our bar: shares are of least squares
        assert np.std(off[known]) < 0.06 * 0.005


def test_slow_errors_that_do_not_come_again_leave_quick_multipath_to_be_taken_off():
    earlier, today, wave = sky(1, 0.01, 0.001, seed=6)
    hours = (today.time_ns - today.time_ns[0]) / 3.6e12
    slow = 0.03 * np.sin(2.0 * np.pi * hours / 4.0)[:, None]  # of today alone, and otherwise
    drift = 0.03 * np.cos(2.0 * np.pi * hours / 4.7)[:, None]
    earlier = replace(earlier, phase_m=earlier.phase_m + drift)
    _, off, known = told(earlier, replace(today, phase_m=today.phase_m + slow))
    assert np.mean((wave - off)[known] ** 2) < 0.5 * np.mean(wave[known] ** 2)


def test_more_days_foretell_better():
    left = []
    for days in (1, 3):
        earlier, today, wave = sky(days, 0.01, 0.01, seed=4)
        found, off, _ = told(earlier, today)
        left.append(np.mean((wave - off)[np.isfinite(today.phase_m)] ** 2))
        assert len(found.repeat_s[1]) == days
    assert left[1] < 0.8 * left[0]


def test_satellites_not_seen_before_keep_all():
    earlier, today, _ = sky(1, 0.01, 0.005, seed=1)
    sigma = np.full(today.phase_m.shape, SIGMA_M)
    other = find_repeats(replace(today, satellites=np.arange(7, 10)), earlier, sigma, sigma)
    assert np.isnan(other.phase_m).all()
    assert "no satellite is back" in other.words


def test_smoothing_keeps_a_constant_and_a_slope_and_bridges_no_gap():
    seconds = np.r_[np.arange(0.0, 3600.0, 30.0), np.arange(7200.0, 10800.0, 30.0)]
    values = 2.0 + 1e-3 * seconds
    inside = np.array([600.0, 1212.0, 9000.5])
    found = smoothed(inside, seconds, values, 60.0)
    np.testing.assert_allclose(found, 2.0 + 1e-3 * inside, atol=1e-4)
    assert np.isnan(smoothed(np.array([5000.0]), seconds, values, 60.0)).all()
    assert np.isnan(smoothed(inside, seconds, np.full(len(seconds), np.nan), 60.0)).all()


def test_bands_together_are_the_narrow_average_and_part_quick_from_slow():
    seconds = np.arange(0.0, 36000.0, 30.0)
    at = seconds[400:800] + 13.0
    for period_s, band in ((600.0, 0), (3600.0, 1), (30000.0, 2)):
        values = np.sin(2.0 * np.pi * seconds / period_s)
        bands = in_bands(at, seconds, values)
        np.testing.assert_allclose(bands.sum(axis=0), smoothed(at, seconds, values, 60.0))
        assert np.argmax(np.square(bands).sum(axis=1)) == band


def test_what_came_again_is_taken_off_problem_and_model_alike():
    problem, model = replaceable(3), replaceable(5)
    expected = np.full((2, 3, 2), np.nan)
    expected[0, :, 0], expected[1, :, 0] = [1.0, 2.0, np.nan], [0.0, 4.0, np.nan]
    shares = {"G": np.array([0.5, 0.0])}, {"G": np.array([0.25, 0.0])}
    repeats = Repeats(expected, 10.0 * expected, {1: [86154.0]}, *shares)
    epochs, satellites = np.array([0, 2, 4]), np.array([1, 201])
    problem, model = without_repeats(problem, model, epochs, satellites, repeats)
    np.testing.assert_allclose(problem.phase_m, [[-0.5, 0.0], [-1.0, 0.0], [0.0, 0.0]])
    np.testing.assert_allclose(problem.code_m, 5.0 * problem.phase_m)
    np.testing.assert_allclose(model.phase_m[epochs], problem.phase_m)
    np.testing.assert_allclose(model.phase_m[[1, 3]], 0.0)


def replaceable(n):
    """Return a record of n epochs and two satellites that dataclasses.replace takes."""
    zero = np.zeros((n, 2))
    return Residuals(np.zeros(n, np.int64), np.zeros(2), np.zeros((n, 2, 3)), zero, zero.copy())


@pytest.mark.compiled
def test_a_day_is_solved_with_the_day_before_and_goes_on_where_that_fails():
    still = {"speed_m_d": 0.0, "tide_m": 0.0, "daily_share": 0.0, "slope": 0.0}
    world = make_baselines(3, [], hours=28.0, interval_s=120.0, moves=still)
    noon_ns = START_NS + NS_PER_DAY
    before = cut(world.rover, START_NS, noon_ns)
    today = cut(world.rover, noon_ns, START_NS + 2 * NS_PER_DAY)
    settings = replace(world.settings, systems="G")
    usual = solve(today, world.products, settings)
    found = solve(today, world.products, settings, before=before)
    said = [w for w in found.summary["warnings"] if w.startswith("multipath of earlier days")]
    assert len(said) == 1
    assert "came again" in said[0]
    assert np.array_equal(found.time_ns, usual.time_ns)
    rms = [each.summary["phase residual rms m"] for each in (found, usual)]
    assert rms[0] < rms[1]
    lost = solve(today, world.products, settings, before=cut(before, START_NS, START_NS + 1))
    assert any("could not be worked" in w for w in lost.summary["warnings"])
    np.testing.assert_array_equal(lost.position_m, usual.position_m)
