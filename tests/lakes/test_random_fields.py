"""Errors of maps: variance, correlation, zero where measured."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.lakes.grid import MapGrid
from stakeline.lakes.random_fields import ErrorField

GRID = MapGrid(np.arange(40) * 100.0, np.arange(30) * 200.0)


def draws(field, count=400, seed=5):
    rng = np.random.default_rng(seed)
    return np.array([field.draw(rng) for _ in range(count)])


@pytest.mark.parametrize("kind", ["exponential", "gaussian"])
def test_variance_and_correlation(kind):
    # the correlation asked for: 1/e at the length, in both directions of uneven cells
    field = ErrorField(GRID, 30.0, 600.0, kind)
    errors = draws(field)
    assert errors.shape == (400, 30, 40)
    assert errors.std() == pytest.approx(30.0, rel=0.03)
    assert abs(errors.mean()) < 1.0
    for near, far in ((errors[:, :, 6:], errors[:, :, :-6]), (errors[:, 3:], errors[:, :-3])):
        assert (near * far).mean() / 900.0 == pytest.approx(np.exp(-1.0), abs=0.03)
    diagonal = (errors[:, 1:, 2:] * errors[:, :-1, :-2]).mean() / 900.0
    assert diagonal == pytest.approx(field.correlation(np.hypot(200.0, 200.0)), abs=0.03)
    # opposite sides of the grid do not know each other
    assert abs((errors[:, :, 0] * errors[:, :, -1]).mean()) / 900.0 < 0.08


def test_longer_than_the_grid():
    # nearly one shift of the whole map
    errors = draws(ErrorField(GRID, 10.0, 50e3), 300)
    assert errors.std(axis=0).mean() == pytest.approx(10.0, rel=0.15)
    assert errors.std(axis=(1, 2)).mean() < 4.0


def test_zero_where_measured():
    measured = np.zeros(GRID.shape, bool)
    measured[:, 10] = True
    field = ErrorField(GRID, 30.0, 600.0, measured=measured)
    errors = draws(field)
    assert not errors[:, measured].any()
    # given one measurement at distance d: sigma sqrt(1 - exp(-2 d / length))
    spread = errors.std(axis=(0, 1))
    expected = 30.0 * np.sqrt(1.0 - np.exp(-2.0 * abs(np.arange(40) - 10) * 100.0 / 600.0))
    assert spread == pytest.approx(expected, rel=0.06)
    nowhere = ErrorField(GRID, 30.0, 600.0, measured=np.zeros(GRID.shape, bool))
    assert np.array_equal(nowhere.deviation_m, np.full(GRID.shape, 30.0, np.float32))


def test_a_map_of_sigma():
    sigma = np.linspace(0.0, 40.0, 1200).reshape(GRID.shape)
    spread = draws(ErrorField(GRID, sigma, 300.0)).std(axis=0)
    assert spread[0, 0] == 0.0
    assert np.abs(spread - sigma).max() < 8.0


def test_the_same_generator_gives_the_same_error():
    first, second = (
        ErrorField(GRID, 3.0, 500.0).prepare().draw(np.random.default_rng(1)) for _ in range(2)
    )
    assert np.array_equal(first, second)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((30.0, 0.0), "correlation length of 0.0 m"),
        ((-1.0, 500.0), "finite ones of 0 or more"),
        ((30.0, 500.0, "round"), "known are exponential, gaussian"),
        ((np.ones((3, 3)), 500.0), r"shape \(3, 3\), its axes \(30, 40\)"),
    ],
)
def test_refused(arguments, words):
    with pytest.raises(SettingsError, match=words):
        ErrorField(GRID, *arguments)
