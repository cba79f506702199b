"""The pattern over elevation: learnt where it is, left alone where there is none."""

import numpy as np

from stakeline.positioning.pattern import Pattern


def residuals(rng, amplitude_m):
    elevation = rng.uniform(np.radians(5), np.radians(85), (2000, 8))
    group = np.repeat([0, 2], 4)
    wave = amplitude_m * np.cos(4 * elevation) * (group == 0)
    return elevation, group, wave, wave + rng.normal(0, 0.004, elevation.shape)


def test_a_pattern_of_one_system_is_found_and_not_given_to_the_other():
    elevation, group, wave, residual = residuals(np.random.default_rng(1), 0.006)
    pattern = Pattern(elevation, group, 30.0)
    total = np.zeros_like(residual)
    for _ in range(6):
        total += pattern.learn(residual - total)
    millimetre = 1e-3  # the noise of a node's mean is 4 mm / sqrt(440); 5-deg steps add 0.3 mm
    assert np.sqrt(np.mean((total - wave) ** 2)) < 0.6 * millimetre
    assert np.abs(total[:, 4:]).max() < 1.0 * millimetre


def test_a_short_record_teaches_little():
    elevation, group, _, residual = residuals(np.random.default_rng(2), 0.006)
    long = Pattern(elevation, group, 30.0)
    short = Pattern(elevation[:60], group, 30.0)
    long.learn(residual)
    short.learn(residual[:60])
    assert np.abs(short.mean_m).max() < 0.3 * np.abs(long.mean_m).max()


def test_missing_residuals_count_for_nothing():
    elevation, group, _, residual = residuals(np.random.default_rng(3), 0.006)
    assert not Pattern(elevation, group, 30.0).learn(np.full_like(residual, np.nan)).any()
