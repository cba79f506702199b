"""Sampling of courses: coordinates that bend back, and samples that have the law asked for."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import beta

from stakeline.lakes import fit
from stakeline.lakes.fit import bent, straightened


def some_numbers(count, changes):
    rng = np.random.default_rng(1)
    each = rng.uniform([10.0, 0.0, 0.1, 0.1], [50.0, 3.0, 2.0, 2.0], (count, changes, 4))
    return np.column_stack([each.reshape(count, -1), rng.random((count, 2))])


def test_straightened_numbers_are_mean_and_width_of_the_rate():
    numbers = some_numbers(5, 2)
    place = straightened(numbers, 2)
    assert bent(place, 2) == pytest.approx(numbers)
    onset, length, rise, fall = numbers[0, 0], *np.exp(numbers[0, 1:4])
    # expected: mean and sigma of the beta distribution (scipy)
    rate = beta(rise, fall, onset, length)
    assert place[0, 0] == pytest.approx(rate.mean())
    assert np.exp(place[0, 1]) == pytest.approx(rate.std())


def test_straightening_keeps_volumes():
    numbers = some_numbers(1, 1)[0]
    move = 1e-5 * np.eye(6)
    slope = straightened(numbers + move, 1) - straightened(numbers - move, 1)
    assert np.linalg.det(slope / 2e-5) == pytest.approx(1.0, abs=1e-5)


def test_walkers_have_the_law_they_are_given():
    middle, sigma = np.array([0.3, -1.0, 2.0]), np.array([0.5, 2.0, 0.1])

    def valued(place):
        value = -0.5 * (((place - middle) / sigma) ** 2).sum(axis=1)
        return np.where(place[:, 0] > 0.0, value, -np.inf)  # a normal law, cut at 0

    rng = np.random.default_rng(2)
    place = middle + 0.01 * rng.standard_normal((60, 3))
    target, value, seen = SimpleNamespace(valued=valued), valued(place), []
    for step in range(900):
        for half in (0, 1):
            fit._moved(target, place, value, np.arange(half, 60, 2), rng)
        if step > 100:
            seen.append(place.copy())
    seen = np.concatenate(seen)
    # expected: mean and sigma of the normal law cut at 0.6 sigma below its middle, by quadrature
    x = np.linspace(0.0, 3.5, 20001)
    density = np.exp(-0.5 * ((x - 0.3) / 0.5) ** 2)
    mean = (x * density).sum() / density.sum()
    assert seen[:, 0].mean() == pytest.approx(mean, abs=0.02)
    assert seen[:, 1].std() == pytest.approx(2.0, rel=0.05)
    assert np.abs(seen[:, 2] - 2.0).mean() == pytest.approx(0.1 * np.sqrt(2.0 / np.pi), rel=0.05)
