"""Straight lines in windows: exact lines, honest sigmas under noise with a memory."""

import sys
from pathlib import Path

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.noise import flicker_memories, white_rate_sigma
from stakeline.motion.windows import window_velocities

sys.path.append(str(Path(__file__).parent))
from dense_motion import epochs, memory_noise


def test_a_line_is_recovered_in_each_window():
    generator = np.random.default_rng(1)
    time_ns, days = epochs(np.sort(generator.uniform(0.0, 10.0, 2000)))
    sigma = 0.01 + 0.01 * generator.random(2000)
    found = window_velocities(time_ns, 1e6 + 1.3 * days, sigma, 2.0)
    assert len(found.velocity_m_d) == 5
    np.testing.assert_allclose(found.velocity_m_d, 1.3, atol=1e-7)
    np.testing.assert_array_equal(found.start_ns, np.arange(5) * 2 * NS_PER_DAY)
    np.testing.assert_array_equal(found.end_ns[:-1], found.start_ns[1:])
    assert found.count.sum() == 2000
    # the mean of a line is the line at the mean time
    mean = np.interp(found.time_ns, time_ns, days)
    np.testing.assert_allclose(found.position_m, 1e6 + 1.3 * mean, atol=1e-6)
    own = days < 2.0
    _, cov = np.polyfit(days[own], days[own], 1, w=1 / sigma[own], cov="unscaled")
    assert found.velocity_sigma_m_d[0] == pytest.approx(np.sqrt(cov[0, 0]), rel=1e-9)
    # white noise: each position counts
    np.testing.assert_allclose(found.independent, found.count)


def test_published_sigmas_of_windows():
    # checks.md 4.8: line through daily points, white 5 mm, 10 and 20 days: 0.550, 0.194 mm/d
    for n, expected in ((10, 0.550), (20, 0.194)):
        time_ns, days = epochs(np.arange(n, dtype=float))
        found = window_velocities(time_ns, days, 0.005, float(n))
        assert 1e3 * found.velocity_sigma_m_d[0] == pytest.approx(expected, abs=5e-4)
    # 5-min positions of 1 cm for a day: 0.75 m/a (the formula 12^0.5 sigma / (T n^0.5))
    time_ns, days = epochs(np.arange(288) / 288)
    found = window_velocities(time_ns, days, 0.01, 1.0)
    assert 365.25 * found.velocity_sigma_m_d[0] == pytest.approx(0.75, abs=0.01)
    assert found.velocity_sigma_m_d[0] == pytest.approx(white_rate_sigma(0.01, 1 / 288, 288))


def test_memory_is_paid_for():
    # simulation: spread of the velocities in 400 windows of one day, memory 3 h
    generator = np.random.default_rng(4)
    n, keep = 400 * 96, np.exp(-0.25 / 3.0)
    time_ns, days = epochs(np.arange(n) / 96)
    position = 0.8 * days + memory_noise(generator, n, 0.01, keep)
    position += 0.005 * generator.standard_normal(n)
    noise = {"coloured_sigma_m": (0.01,), "coloured_memory_d": (0.125,)}
    found = window_velocities(time_ns, position, 0.005, 1.0, **noise)
    z = (found.velocity_m_d - 0.8) / found.velocity_sigma_m_d
    assert z.std() == pytest.approx(1.0, abs=0.08)
    assert 0.92 < (abs(z) < 1.959964).mean() < 0.97
    assert 3.0 < found.independent[0] < 15.0
    # the sigma of white noise alone is several times too small
    alone = window_velocities(time_ns, position, 0.005, 1.0)
    assert found.velocity_sigma_m_d[0] > 5.0 * alone.velocity_sigma_m_d[0]
    assert found.effective_count > 300.0


def test_neighbouring_windows_that_wander_count_less():
    generator = np.random.default_rng(6)
    n = 200 * 24
    velocity = 1.0 + memory_noise(generator, n, 0.1, np.exp(-1.0 / (10 * 24)))
    time_ns, _ = epochs(np.arange(n) / 24)
    found = window_velocities(time_ns, np.cumsum(velocity) / 24, 0.001, 1.0)
    # law: lag-one correlation about exp(-1/10), n (1 - r) / (1 + r)
    assert 5.0 < found.effective_count < 25.0


def test_flicker_enters_as_memories():
    sigma, memory = flicker_memories(0.02, 1.0, 0.01, 3000.0)
    time_ns, days = epochs(np.arange(0, 30, 0.25))
    white = window_velocities(time_ns, days, 0.005, 30.0).velocity_sigma_m_d[0]
    noise = {"coloured_sigma_m": sigma, "coloured_memory_d": memory}
    with_it = window_velocities(time_ns, days, 0.005, 30.0, **noise).velocity_sigma_m_d[0]
    assert with_it > 2.0 * white


def test_gaps_and_thin_windows_give_no_velocity():
    time_ns, days = epochs(
        np.r_[np.arange(24) / 24, 1.0 + np.arange(8) / 24, 250 + np.arange(24) / 24]
    )
    found = window_velocities(time_ns, days, 0.01, 1.0)
    assert len(found.velocity_m_d) == 251
    np.testing.assert_array_equal(np.flatnonzero(np.isfinite(found.velocity_m_d)), [0, 250])
    assert found.count[1] == 8
    assert found.count[2:250].sum() == 0
    holed = np.where((days > 0.2) & (days < 0.6), np.nan, days)
    strict = window_velocities(time_ns, holed, 0.01, 1.0, longest_gap_d=0.25)
    np.testing.assert_array_equal(np.flatnonzero(np.isfinite(strict.velocity_m_d)), [250])


def test_empty_single_and_all_missing():
    for days in ([], [3.0], [1.0, 1.01, 1.02]):
        time_ns, days = epochs(np.array(days))
        found = window_velocities(time_ns, np.full(len(days), np.nan), 0.01, 1.0)
        assert len(found.velocity_m_d) == 0
        assert found.effective_count == 0.0
    time_ns, days = epochs([3.2])
    found = window_velocities(time_ns, days, 0.01, 1.0)
    assert np.isnan(found.velocity_m_d).all()


def test_what_cannot_be_asked_is_a_sentence():
    time_ns, days = epochs([0.0, 1.0])
    with pytest.raises(SettingsError, match=r"window is 0\.01 d"):
        window_velocities(time_ns, days, 0.01, 0.01)
    with pytest.raises(SettingsError, match="as many of each"):
        window_velocities(time_ns, days, 0.01, 1.0, coloured_sigma_m=(0.1,))
    with pytest.raises(SolutionError, match="sort the rows"):
        window_velocities(time_ns[::-1], days, 0.01, 1.0)
