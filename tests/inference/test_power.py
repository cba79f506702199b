"""Power: the formula against tables and simulation, sigmas of records yet to come."""

import numpy as np
import pytest
from scipy.stats import nct, norm

from stakeline.errors import SettingsError
from stakeline.inference.baseline import Baseline, prepare
from stakeline.inference.coloured import fit_coloured, simulate_noise
from stakeline.inference.power import (
    power_formula,
    sigma_of_design,
    sigma_of_series,
    smallest_formula,
)
from stakeline.inference.response import Choices, fit_response
from stakeline.inference.shape import Events, ShapeGrid, columns

pytestmark = pytest.mark.compiled

TIME = np.arange(500.0)
EVENTS = Events([80.0, 210.0, 390.0])
ONE = ShapeGrid((1.0,), (2.0,), (15.0,), (3.0,))
CHOICES = Choices(Baseline(1))


def noise(generator, rows=1):
    draw = generator.standard_normal((rows, 600))
    for i in range(1, 600):
        draw[:, i] += 0.8 * draw[:, i - 1]
    return draw[:, 100:]


def test_formula_has_the_limits_of_the_normal_one():
    # (z(0.975) + z(0.8)) sigma = 2.8016 sigma; the far tail adds less than 1e-5
    expected = norm.ppf(0.975) + norm.ppf(0.8)
    assert smallest_formula(1.0, 1e7) == pytest.approx(expected, abs=1e-3)
    assert power_formula(0.0, 1.0, 30.0) == pytest.approx(0.05, abs=1e-4)
    # second formula: the noncentral t
    bar = 2.042272456
    expected = nct.sf(bar, 30.0, 1.7) + nct.cdf(-bar, 30.0, 1.7)
    assert power_formula(1.7, 1.0, 30.0) == pytest.approx(expected, abs=2e-4)
    # Cohen (1988), table 2.3.5: two samples of 64, d = 0.5, two-sided 5 %: power .80 (from memory)
    assert power_formula(0.5, np.sqrt(2 / 64), 126) == pytest.approx(0.80, abs=0.005)


def test_power_of_the_whole_procedure_by_simulation():
    generator = np.random.default_rng(3)
    response = columns(TIME, EVENTS, ONE, 1.0, 0).sum(axis=0)[:, 0]
    first = fit_response(TIME, noise(generator)[0], EVENTS, ONE, CHOICES)
    truth = sigma_of_design(first.noise, 1.0, 500.0, 3, ONE, CHOICES)
    change = 2.8 * truth
    hits = [
        fit_response(TIME, row + change * response, EVENTS, ONE, CHOICES).p < 0.05
        for row in noise(generator, 60)
    ]
    # 60 draws of 0.8: three sigmas are 0.155; the noise of the first record is off by some 10 %
    assert np.mean(hits) == pytest.approx(0.8, abs=0.2)


def test_more_series_help_as_far_as_they_are_independent():
    assert sigma_of_series(2.0, 4, 0.0) == 1.0
    assert sigma_of_series(2.0, 9, 1.0) == 2.0
    assert sigma_of_series(2.0, 10**6, 0.25) == pytest.approx(1.0, rel=1e-5)


def test_more_events_and_days_help():
    ready = prepare(TIME, noise(np.random.default_rng(6))[0], Baseline(1))
    model = fit_coloured(ready)
    events = [sigma_of_design(model, 1.0, 500.0, n, ONE, CHOICES) for n in (1, 2, 4, 8)]
    days = [sigma_of_design(model, 1.0, d, 1, ONE, CHOICES) for d in (60.0, 120.0, 500.0)]
    assert (np.diff(events) < 0.0).all()
    assert (np.diff(days) < 0.0).all()
    assert events[0] / events[2] == pytest.approx(2.0, rel=0.1)
    # second way: the scatter of generalised least squares over simulated noise of this model
    draws = simulate_noise(model, TIME, np.random.default_rng(7), 400)
    lag = np.abs(np.subtract.outer(TIME, TIME))
    covariance = model.white * np.eye(500) + model.variances[0] * np.exp(-lag / model.memories[0])
    middle = Events([250.0])
    shape = columns(TIME, middle, ONE, 1.0, 0)[0]
    design = np.hstack([np.ones((500, 1)), TIME[:, None], shape])
    solved = np.linalg.solve(covariance, design)
    estimates = draws @ solved @ np.linalg.inv(design.T @ solved)
    # 400 draws: a sigma is known to 3.5 %
    assert events[0] == pytest.approx(estimates[:, 2].std(), rel=0.12)


def test_what_has_no_power_is_a_sentence():
    with pytest.raises(SettingsError, match=r"power of 0\.01"):
        smallest_formula(1.0, 30.0, 0.01)
    with pytest.raises(SettingsError, match="0-1"):
        sigma_of_series(1.0, 2, 1.5)
    model = fit_coloured(prepare(TIME, noise(np.random.default_rng(6))[0], Baseline(1)))
    with pytest.raises(SettingsError, match="0 events"):
        sigma_of_design(model, 1.0, 500.0, 0, ONE, CHOICES)
