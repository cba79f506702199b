"""Power: injection against explicit injection, formula against tables and simulation."""

import numpy as np
import pytest
from scipy.stats import nct, norm

from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.baseline import Baseline, prepare
from stakeline.inference.coloured import fit_coloured, simulate_noise
from stakeline.inference.permutation import Windows, contrasts, plan_shifts
from stakeline.inference.power import (
    moved_catalogues,
    permutation_power,
    pooled_unmoved,
    power_formula,
    power_injected,
    sigma_of_design,
    sigma_of_series,
    smallest_by_series,
    smallest_formula,
    smallest_injected,
    unmoved,
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


def places(events=EVENTS, count=400):
    return moved_catalogues(events, 0.0, 500.0, np.random.default_rng(2), count)


@pytest.fixture(scope="module")
def found():
    values = 30.0 + 0.01 * TIME + noise(np.random.default_rng(1))[0]
    return values, unmoved(TIME, values, EVENTS, ONE, places(), CHOICES)


def test_injection_is_linear(found):
    # law: a change put into the values appears in full in the estimate, whatever else is there
    values, _ = found
    moved = EVENTS.moved(37.0)
    response = columns(TIME, moved, ONE, 1.0, 0).sum(axis=0)[:, 0]
    white = Choices(Baseline(1), noise="white")
    before = fit_response(TIME, values, moved, ONE, white)
    after = fit_response(TIME, values + 2.5 * response, moved, ONE, white)
    assert after.amplitude - before.amplitude == pytest.approx(2.5, rel=1e-9)


def test_estimates_where_nothing_happens_scatter_as_they_say(found):
    _, null = found
    score = null.estimates / null.sigmas
    assert abs(score.mean()) < 0.5
    assert score.std() == pytest.approx(1.0, abs=0.25)  # one record, some 20 independent places


def test_the_change_itself_does_not_count_as_noise(found):
    values, null = found
    response = columns(TIME, EVENTS, ONE, 1.0, 0).sum(axis=0)[:, 0]
    moved = unmoved(TIME, values + 50.0 * response, EVENTS, ONE, places(), CHOICES)
    np.testing.assert_allclose(moved.estimates, null.estimates, atol=0.02)


def test_injection_and_formula_agree(found):
    _, null = found
    small, formula = smallest_injected(null), smallest_formula(null.formal, null.degrees)
    assert small == pytest.approx(formula, rel=0.3)
    assert power_injected(small, null) == pytest.approx(0.8, abs=0.01)
    assert power_formula(formula, null.formal, null.degrees) == pytest.approx(0.8, abs=1e-4)
    grows = [power_injected(a, null) for a in np.linspace(0.0, 3.0 * small, 20)]
    assert (np.diff(grows) >= 0.0).all()
    assert grows[-1] == 1.0


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
    generator = np.random.default_rng(4)
    rows = noise(generator, 4)
    rows[1, 200:260] = np.nan
    each = [unmoved(TIME, r, EVENTS, ONE, places(), CHOICES) for r in rows]
    pooled = pooled_unmoved(each)
    assert pooled.formal == pytest.approx(np.mean([e.formal for e in each]) / 2.0, rel=0.35)
    series = smallest_by_series(each, (1, 4), generator)
    assert 0.3 < series[1] / series[0] < 0.75  # independent: one half
    copies = pooled_unmoved([each[0]] * 3)
    assert copies.formal == pytest.approx(each[0].formal, rel=0.01)
    np.testing.assert_allclose(copies.estimates, each[0].estimates)


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


def test_power_of_the_permutation():
    generator = np.random.default_rng(8)
    values = noise(generator, 2)
    windows = Windows(15, 15, (0, 3))
    plan = plan_shifts(TIME, values, EVENTS.middle, windows, generator)
    response = columns(TIME, EVENTS, ONE, 1.0, 0).sum(axis=0)[:, 0]
    unit = np.nanmean(contrasts(np.stack([response] * 2), windows)[[80, 210, 390]], axis=0)
    power = permutation_power(plan, unit, [0.0, 2.0, 4.0, 40.0])
    assert power[0] <= 0.05
    assert (np.diff(power) >= 0.0).all()
    assert power[-1] == 1.0


def test_what_has_no_power_is_a_sentence(found):
    _, null = found
    with pytest.raises(SettingsError, match=r"power of 0\.01"):
        smallest_injected(null, 0.01)
    with pytest.raises(SettingsError, match="same places"):
        pooled_unmoved([null, type(null)(null.estimates[:5], null.sigmas[:5], 5.0, 1.0)])
    with pytest.raises(SettingsError, match="expected 1 to 1"):
        smallest_by_series([null], (2,), np.random.default_rng(0))
    with pytest.raises(SettingsError, match="end after its start"):
        moved_catalogues(EVENTS, 5.0, 5.0, np.random.default_rng(0))
    with pytest.raises(SettingsError, match="0-1"):
        sigma_of_series(1.0, 2, 1.5)
    model = fit_coloured(prepare(TIME, noise(np.random.default_rng(6))[0], Baseline(1)))
    with pytest.raises(SettingsError, match="0 events"):
        sigma_of_design(model, 1.0, 500.0, 0, ONE, CHOICES)
    values = found[0].copy()
    values[150:420] = np.nan
    one = Events([80.0])
    with pytest.raises(SolutionError, match="shifted catalogues can be seen"):
        unmoved(TIME, values, one, ONE, places(one, 25), CHOICES)
