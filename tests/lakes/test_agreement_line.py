"""The slope of one measure on another with errors in both, against a second formula."""

import numpy as np
import pytest

from stakeline.inference.dose import line_with_errors
from stakeline.lakes.agreement import agreement, line_of


def drawn(seed, x_sigma, y_sigma, slope=0.9):
    rng = np.random.default_rng(seed)
    true = np.linspace(-1.0, 1.0, len(x_sigma))
    return rng.normal(true, x_sigma), rng.normal(3.0 + slope * true, y_sigma)


@pytest.mark.parametrize("seed", range(4))
def test_independent_errors_give_the_line_of_york_and_others(seed):
    rng = np.random.default_rng(seed)
    x_sigma, y_sigma = rng.uniform(0.05, 0.2, (2, 25))
    x, y = drawn(seed, x_sigma, y_sigma)
    slope, _, sigma, _ = line_with_errors(x, x_sigma, y, y_sigma)
    found = line_of(x, np.diag(x_sigma**2), y, np.diag(y_sigma**2))
    assert found[0] == pytest.approx(slope, abs=1e-5)
    assert found[1] == pytest.approx(sigma, rel=0.1)  # of chi-square, not of its bend at the least


def test_the_line_turns_over_with_its_axes():
    sigma = np.full(30, 0.1)
    x, y = drawn(5, sigma, sigma)
    one = line_of(x, np.diag(sigma**2), y, np.diag(sigma**2))[0]
    other = line_of(y, np.diag(sigma**2), x, np.diag(sigma**2))[0]
    assert one * other == pytest.approx(1.0, abs=1e-5)


def test_errors_of_the_second_no_longer_flatten_the_slope():
    sigma, slopes = np.full(15, 0.4), []
    for seed in range(60):
        x, y = drawn(seed, sigma, 0.1 * sigma, slope=1.0)
        found = agreement(np.arange(15), y, np.diag((0.1 * sigma) ** 2), x, np.diag(sigma**2))
        slopes.append(found.slope)
    flat = 1.0 / (
        1.0 + 0.4**2 / np.var(np.linspace(-1.0, 1.0, 15))
    )  # of least squares: Fuller 1987
    assert flat < 0.75
    assert np.median(slopes) == pytest.approx(1.0, abs=0.08)
