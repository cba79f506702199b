"""Shapes of responses: limits, and the shape as the derivative of its integral."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.inference.shape import Events, ShapeGrid, columns, integral, reached, shape, together

CASES = [(2.0, 5.0, 3.0), (0.0, 5.0, 0.0), (2.0, 0.0, 3.0), (1.0, np.inf, 0.0), (0.0, 4.0, np.inf)]


@pytest.mark.parametrize("case", CASES)
def test_shape_is_the_mean_of_its_parts(case):
    # law: the mean over a wide interval is the mean of the means over its tenths
    since = np.linspace(-3.0, 40.0, 87)
    parts = [shape(since + step, *case, 0.1) for step in np.arange(-0.45, 0.5, 0.1)]
    np.testing.assert_allclose(shape(since, *case, 1.0), np.mean(parts, axis=0), atol=1e-12)


@pytest.mark.parametrize("case", CASES)
def test_shape_lies_between_nothing_and_one(case):
    found = shape(np.linspace(-5.0, 200.0, 3000), *case, 0.5)
    assert found.min() >= 0.0
    assert found.max() <= 1.0 + 1e-12
    assert (found[:50] == 0.0).all()
    assert found.max() > 0.9


def test_parts_of_a_shape():
    def at(since):
        return float(shape(np.float64(since), 2.0, 5.0, 3.0, 1e-4))

    assert at(1.0) == pytest.approx(0.5, abs=1e-9)
    assert at(4.0) == pytest.approx(1.0, abs=1e-9)
    assert at(10.0) == pytest.approx(np.exp(-1.0), abs=1e-9)
    assert float(integral(1e9, 2.0, 5.0, 3.0)) == pytest.approx(9.0)
    assert ShapeGrid(0.0, 2.0, 5.0, 3.0).duration()[0] == 9.0


def test_shape_has_no_unit():
    # law: all times in hours instead of days leave the shape as it is
    since = np.linspace(-2.0, 30.0, 65)
    np.testing.assert_allclose(
        shape(since, 2.0, 5.0, 3.0, 1.0), shape(24 * since, 48.0, 120.0, 72.0, 24.0), atol=1e-13
    )


def test_columns_move_with_event_and_lag():
    time = np.arange(60.0)
    grid = ShapeGrid((0.0, 2.5), (1.0,), (4.0, 8.0), (2.0,))
    assert len(grid) == 4
    found = columns(time, Events([[10.0, 12.5]]), grid, 1.0, 0)
    later = columns(time, Events([[10.0, 12.5]]), grid, 1.0, 1)
    np.testing.assert_allclose(found[0][:, 2:], later[0][:, :2], atol=1e-12)
    area = reached(60.0, Events([10.0]), grid, 0)[0]
    np.testing.assert_allclose(found[0].sum(axis=0), area, rtol=1e-9)


@pytest.mark.parametrize("case", CASES)
def test_kernel_is_the_formula(case):
    time = np.linspace(0.0, 300.0, 401)
    grid = ShapeGrid((0.0, -3.3, 7.0), *[(value,) for value in case])
    found = columns(time, Events([20.7, 90.0]), grid, 0.75, 0)
    for number, onset in enumerate((20.7, 90.0)):
        for g, lag in enumerate((0.0, -3.3, 7.0)):
            expected = shape(time - onset - lag, *case, 0.75)
            np.testing.assert_allclose(found[number, :, g], expected, atol=1e-12)
    both = together(time, Events([20.7, 90.0]), grid, 0.75, 0)
    np.testing.assert_allclose(both, found.sum(axis=0), atol=1e-13)


def test_a_plateau_as_long_as_its_event():
    time = np.arange(60.0)
    grid = ShapeGrid(durations=(1.0,), as_event=True)
    found = columns(time, Events([10.0, 30.0], [15.0, 42.0]), grid, 1.0, 0)[:, :, 0]
    np.testing.assert_allclose(found.sum(axis=1), [6.0, 13.0])
    with pytest.raises(SettingsError, match="needs the ends"):
        columns(time, Events([10.0]), grid, 1.0, 0)


def test_what_is_no_event_or_shape_is_a_sentence():
    with pytest.raises(SettingsError, match="no event was given"):
        Events([])
    with pytest.raises(SettingsError, match="is missing"):
        Events([3.0, np.nan])
    with pytest.raises(SettingsError, match="before their beginnings"):
        Events([3.0], [2.0])
    with pytest.raises(SettingsError, match="0 or longer"):
        ShapeGrid(rises=(-1.0,))
    with pytest.raises(SettingsError, match="never ends"):
        ShapeGrid(rises=(np.inf,))
    with pytest.raises(SettingsError, match="at least one"):
        ShapeGrid(lags=())
