"""Spectra: the power of known noise, its integral the variance, gaps left out."""

import numpy as np
import pytest

from stakeline.errors import SolutionError
from stakeline.motion.spectrum import noise_power, power_spectrum


def gauss_markov(count, interval_d, sigma, memory_d, seed=3):
    rng = np.random.default_rng(seed)
    keep = np.exp(-interval_d / memory_d)
    steps = rng.normal(0.0, sigma * np.sqrt(1.0 - keep**2), count)
    value = np.zeros(count)
    value[0] = rng.normal(0.0, sigma)
    for k in range(1, count):
        value[k] = keep * value[k - 1] + steps[k]
    return value


def test_white_noise_is_flat_at_twice_variance_times_interval():
    # one-sided density of white noise: definition of the spectrum (Priestley 1981, 4.8)
    value = np.random.default_rng(1).normal(0.0, 3.0, 20_000)
    found = power_spectrum(value, 0.05, 512)
    assert found.power[:-1].mean() == pytest.approx(2.0 * 0.05 * 9.0, rel=0.05)


def test_the_integral_of_the_model_is_the_variance():
    frequency = (np.arange(40_000) + 0.5) / 40_000 * 12.0  # up to the highest of hourly samples
    power = noise_power(frequency, 1.0 / 24.0, 2.0, (3.0, 1.0), (0.2, 2.0))
    assert power.mean() * 12.0 == pytest.approx(4.0 + 9.0 + 1.0, rel=1e-3)  # by definition


def test_the_spectrum_of_coloured_noise_follows_its_model():
    value = gauss_markov(60_000, 1.0 / 24.0, 2.0, 0.5)
    found = power_spectrum(value, 1.0 / 24.0, 1024)
    model = noise_power(found.frequency_cpd, 1.0 / 24.0, 0.0, (2.0,), (0.5,))
    inside = (found.power > model * 1.0 / found.interval[1]) & (
        found.power < model / found.interval[0]
    )
    assert 0.90 < inside.mean() < 0.99  # a 95 % interval, by definition


def test_gaps_neither_add_nor_take_power():
    value = np.random.default_rng(2).normal(0.0, 1.0, 30_000)
    value[::20] = np.nan
    value[5_000:9_000] = np.nan
    found = power_spectrum(value, 1.0, 256)
    assert found.power[:-1].mean() == pytest.approx(2.0, rel=0.05)
    assert found.segments < 30_000 // 128 - 25


def test_a_line_stands_at_its_frequency():
    days = np.arange(24 * 100) / 24.0
    found = power_spectrum(np.sin(2.0 * np.pi * 1.9323 * days), 1.0 / 24.0, 1024)  # M2, 12.42 h
    assert found.frequency_cpd[np.argmax(found.power)] == pytest.approx(1.9323, abs=0.03)


def test_too_little_is_refused():
    with pytest.raises(SolutionError, match="64 samples; 40"):
        power_spectrum(np.zeros(40), 1.0, 512)
    with pytest.raises(SolutionError, match="whole enough"):
        power_spectrum(np.full(400, np.nan), 1.0, 64)
