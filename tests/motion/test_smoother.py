"""The smoother, the causal filter and the fixed lag by the laws that they obey."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.rows import in_gap
from stakeline.motion.smoother import (
    MotionModel,
    filtered,
    lagged,
    likelihood_by_part,
    log_likelihood,
    smooth,
)

sys.path.append(str(Path(__file__).parent))
from dense_motion import drawn, epochs, generalised_least_squares

MODELS = {
    "walk": MotionModel(1e-3),
    "walk, one noise": MotionModel(1e-3, np.inf, (0.02,), (0.5,), 1.3),
    "walk, two noises": MotionModel(1e-2, np.inf, (0.02, 0.01), (0.5, 6.0)),
    "wandering": MotionModel(1e-2, 3.0),
    "wandering slowly, two noises": MotionModel(1e-3, 80.0, (0.02, 0.01), (0.3, 4.0)),
}


CHANGES_NS = tuple(int(day * 864e11) for day in (9.3, 14.0, 40.0))
MODELS["walk in parts, one noise"] = MotionModel(
    1e-4, np.inf, (0.02,), (0.5,), 1.3, CHANGES_NS, (300.0, 1.0, 20.0)
)  # the last change lies in the gap


def series(n=110, seed=1, gap=True):
    """Uneven epochs with NaN rows, a gap of 20 days, a tide and an equipment step."""
    generator = np.random.default_rng(seed)
    days = np.cumsum(generator.exponential(0.3, n))
    days[60:] += 20.0 if gap else 0.0
    time_ns, days = epochs(days)
    sigma = 0.005 * (1.0 + generator.random(n))
    design = np.column_stack([np.sin(2 * np.pi * days / 0.52), days > days[40]]).astype(float)
    position = 5e3 + 0.7 * days + 0.02 * np.cumsum(generator.standard_normal(n))
    position += design @ [0.03, 0.25]
    position[[0, 7, 30, 31]] = np.nan
    return time_ns, days, position, sigma, design


@pytest.mark.parametrize("name", MODELS)
def test_smoother_is_generalised_least_squares(name):
    # law: the dense Gaussian-process solution of the same model
    time_ns, days, position, sigma, design = series()
    at_ns, at = epochs(np.sort(np.random.default_rng(2).uniform(days[0] - 1, days[-1] + 2, 40)))
    found = smooth(time_ns, position, sigma, MODELS[name], design, at_ns=at_ns)
    expected = generalised_least_squares(MODELS[name], days, position, sigma, design, at)
    np.testing.assert_allclose(found.position_m, expected["p"], atol=1e-8, rtol=0)
    np.testing.assert_allclose(found.velocity_m_d, expected["v"], atol=1e-8, rtol=0)
    np.testing.assert_allclose(found.position_sigma_m, expected["p_sigma"], atol=1e-8)
    np.testing.assert_allclose(found.velocity_sigma_m_d, expected["v_sigma"], atol=1e-8)
    np.testing.assert_allclose(found.regression_value, expected["beta"][2:], atol=1e-8)
    np.testing.assert_allclose(found.regression_covariance, expected["cov"][2:, 2:], atol=1e-10)
    np.testing.assert_allclose(found.base_value, expected["beta"][:2], atol=1e-8)
    assert found.log_likelihood == pytest.approx(expected["likelihood"], abs=1e-6)
    alone = log_likelihood(time_ns, position, sigma, MODELS[name], design)
    assert alone == pytest.approx(
        smooth(time_ns, position, sigma, MODELS[name], design).log_likelihood, abs=1e-12
    )


@pytest.mark.parametrize("name", MODELS)
def test_filter_is_generalised_least_squares_of_the_past(name):
    time_ns, days, position, sigma, design = series(70)
    found = filtered(time_ns, position, sigma, MODELS[name], design)
    for k in (20, 39, 55, 60, 69):
        past = slice(0, k + 1)
        known = design[past, : 1 + (k > 40)]  # the step has not come: nothing to estimate
        expected = generalised_least_squares(
            MODELS[name], days[past], position[past], sigma[past], known, days[past]
        )
        assert found.velocity_m_d[k] == pytest.approx(expected["v"][-1], abs=1e-8)
        assert found.velocity_sigma_m_d[k] == pytest.approx(expected["v_sigma"][-1], abs=1e-8)
        assert found.position_m[k] == pytest.approx(expected["p"][-1], abs=1e-8)
        assert found.position_sigma_m[k] == pytest.approx(expected["p_sigma"][-1], abs=1e-8)


def test_filter_does_not_know_what_comes():
    # law: bitwise the same before any change, and where the series simply ends
    time_ns, _, position, sigma, design = series()
    changed = position.copy()
    changed[70:] += np.linspace(1.0, 9.0, len(changed) - 70)
    model = MODELS["walk, two noises"]
    whole, other = (filtered(time_ns, p, sigma, model, design) for p in (position, changed))
    short = filtered(time_ns[:70], position[:70], sigma[:70], model, design[:70])
    for name in ("position_m", "velocity_m_d", "velocity_sigma_m_d", "position_sigma_m"):
        np.testing.assert_array_equal(getattr(whole, name)[:70], getattr(other, name)[:70])
        np.testing.assert_array_equal(getattr(whole, name)[:70], getattr(short, name))
    np.testing.assert_array_equal(whole.innovation[:70], other.innovation[:70])
    assert not np.array_equal(whole.velocity_m_d[70:], other.velocity_m_d[70:])
    assert np.isinf(whole.velocity_sigma_m_d[:3]).all()
    assert np.isnan(whole.velocity_m_d[:3]).all()


def test_fixed_lag_lies_between():
    time_ns, days, position, sigma, design = series()
    model = MODELS["walk, one noise"]
    data = time_ns, position, sigma, model
    both, back = smooth(*data, design), filtered(*data, design)
    at_ns = time_ns[45::3]
    none = lagged(*data, 0.0, design, at_ns=at_ns)
    np.testing.assert_allclose(none.velocity_m_d, back.velocity_m_d[45::3], atol=1e-10)
    all_of_it = lagged(*data, 1e4, design, at_ns=at_ns)
    np.testing.assert_allclose(all_of_it.velocity_m_d, both.velocity_m_d[45::3], atol=1e-10)
    np.testing.assert_allclose(
        all_of_it.velocity_sigma_m_d, both.velocity_sigma_m_d[45::3], atol=1e-10
    )
    some = lagged(*data, 1.0, design)
    k = 90
    cut = days <= days[k] + 1.0
    expected = smooth(time_ns[cut], position[cut], sigma[cut], model, design[cut])
    assert some.velocity_m_d[k] == pytest.approx(expected.velocity_m_d[k], abs=1e-10)
    assert some.velocity_sigma_m_d[k] == pytest.approx(expected.velocity_sigma_m_d[k], abs=1e-10)
    assert (some.velocity_sigma_m_d[42:] <= back.velocity_sigma_m_d[42:] * (1 + 1e-9)).all()
    assert (both.velocity_sigma_m_d[42:] <= some.velocity_sigma_m_d[42:] * (1 + 1e-9)).all()


@pytest.mark.parametrize("name", [name for name in MODELS if "parts" not in name])
def test_smoother_looks_both_ways_alike(name):
    # law: a film run backwards shows the same positions and the opposite velocities
    time_ns, _, position, sigma, design = series()
    one = smooth(time_ns, position, sigma, MODELS[name], design)
    back_ns = (time_ns[-1] - time_ns)[::-1]
    other = smooth(back_ns, position[::-1], sigma[::-1], MODELS[name], design[::-1])
    np.testing.assert_allclose(other.velocity_m_d[::-1], -one.velocity_m_d, atol=1e-8)
    np.testing.assert_allclose(other.velocity_sigma_m_d[::-1], one.velocity_sigma_m_d, atol=1e-8)
    np.testing.assert_allclose(other.position_m[::-1], one.position_m, atol=1e-8)


def test_changes_by_a_factor_of_one_are_none():
    time_ns, _, position, sigma, design = series()
    model = MODELS["walk, one noise"]
    same = replace(model, change_ns=CHANGES_NS, change_factor=(1.0,) * 3)
    assert same.even == model
    for run, more in ((smooth, ()), (filtered, ()), (lagged, (3.0,))):
        one, other = (run(time_ns, position, sigma, m, *more, design) for m in (model, same))
        np.testing.assert_allclose(other.velocity_m_d, one.velocity_m_d, rtol=1e-9)
        np.testing.assert_allclose(other.velocity_sigma_m_d, one.velocity_sigma_m_d, rtol=1e-9)


def test_a_lag_beyond_the_end_is_the_smoother_across_changes():
    time_ns, _, position, sigma, design = series()
    model = MODELS["walk in parts, one noise"]
    whole = smooth(time_ns, position, sigma, model, design)
    late = lagged(time_ns, position, sigma, model, 1e3, design)
    np.testing.assert_allclose(late.velocity_m_d, whole.velocity_m_d, atol=1e-8)
    np.testing.assert_allclose(late.velocity_sigma_m_d, whole.velocity_sigma_m_d, atol=1e-8)


def test_parts_add_up_to_the_likelihood():
    # law: two models differ by as much in all as in the sum of their parts
    time_ns, _, position, sigma, _ = series()
    calm = MODELS["walk in parts, one noise"]
    rough = replace(calm, acceleration_m2_d3=1e-3)
    parts = [likelihood_by_part(time_ns, position, sigma, m) for m in (calm, rough)]
    whole = [log_likelihood(time_ns, position, sigma, m) for m in (calm, rough)]
    assert len(parts[0]) == 4
    assert parts[1].sum() - parts[0].sum() == pytest.approx(whole[1] - whole[0], abs=1.5)
    # to what the determinant of the two regressors, which belongs to no part, differs by


def test_scale_and_shift():
    # laws: lengths times k; a constant and a constant velocity added pass through
    time_ns, days, position, sigma, design = series()
    model, k = MODELS["walk, two noises"], 20.0
    scaled = MotionModel(k * k * 1e-2, np.inf, (k * 0.02, k * 0.01), (0.5, 6.0))
    one = smooth(time_ns, position, sigma, model, design)
    other = smooth(time_ns, k * position, k * sigma, scaled, design)
    np.testing.assert_allclose(other.velocity_m_d, k * one.velocity_m_d, atol=1e-8)
    np.testing.assert_allclose(other.velocity_sigma_m_d, k * one.velocity_sigma_m_d, rtol=1e-9)
    moved = smooth(time_ns, position - 4e3 + 2.5 * days, sigma, model, design)
    np.testing.assert_allclose(moved.velocity_m_d, one.velocity_m_d + 2.5, atol=1e-9)
    np.testing.assert_allclose(moved.velocity_sigma_m_d, one.velocity_sigma_m_d, rtol=1e-12)


@pytest.mark.parametrize("estimator", [smooth, filtered])
def test_constant_velocity_is_recovered(estimator):
    time_ns, days, _, sigma, design = series()
    found = estimator(
        time_ns, 3.0 - 0.8 * days + design @ [0.1, -0.4], sigma, MODELS["walk, one noise"], design
    )
    known = np.isfinite(found.velocity_m_d)
    assert known.sum() >= 100
    # tolerance: of the first rows, where tide and velocity are still told apart by rounding
    np.testing.assert_allclose(found.velocity_m_d[known], -0.8, atol=1e-7)
    np.testing.assert_allclose(found.regression_value, [0.1, -0.4], atol=1e-9)


def test_a_straight_line_without_motion_noise_is_a_line_fit():
    # law: q = 0 and white noise: ordinary weighted least squares
    time_ns, days, position, sigma, _ = series()
    found = smooth(time_ns, position, sigma, MotionModel(0.0))
    ok = np.isfinite(position)
    fit, cov = np.polyfit(days[ok], position[ok], 1, w=1 / sigma[ok], cov="unscaled")
    np.testing.assert_allclose(found.velocity_m_d, fit[0], rtol=1e-9)
    np.testing.assert_allclose(found.velocity_sigma_m_d, np.sqrt(cov[0, 0]), rtol=1e-9)


def test_variances_stay_positive_over_great_ranges():
    # a gap of 250 days and sigmas from micrometres to kilometres
    time_ns, days = epochs(np.r_[np.arange(300) / 2880, 250.0 + np.arange(300) / 2880])
    sigma = np.tile([1e-6, 1e3, 1e-2], 200)
    model = MotionModel(1e2, np.inf, (1e-3,), (0.01,))
    for estimator in (smooth, filtered):
        found = estimator(time_ns, 1.0 * days, sigma, model)
        known = np.isfinite(found.velocity_m_d)
        assert (found.velocity_sigma_m_d[known] > 0.0).all()
        assert (found.position_sigma_m[known] > 0.0).all()


def test_nothing_is_invented_in_a_gap():
    time_ns, days, position, sigma, design = series()
    left, right = days[59], days[60]
    at_ns, at = epochs(np.linspace(left - 3.0, right + 3.0, 53))
    model = MODELS["walk, one noise"]
    for estimator in (smooth, filtered):
        found = estimator(time_ns, position, sigma, model, design, at_ns=at_ns, longest_gap_d=4.0)
        if estimator is smooth:
            inside = (at > left) & (at < right)
        else:  # the last measurement is too long ago
            inside = (at > left + 4.0) & (at < right)
        np.testing.assert_array_equal(found.in_gap, inside)
        assert np.isnan(found.velocity_m_d[inside]).all()
        assert np.isnan(found.position_m[inside]).all()
        assert np.isfinite(found.velocity_m_d[~inside]).all()
        middle = np.argmin(abs(at - right + 1e-6))
        assert found.velocity_sigma_m_d[middle - 12] > 1.5 * found.velocity_sigma_m_d[5]
    limit = 0.03
    found = smooth(time_ns, position, sigma, model, design, at_ns=at_ns, velocity_limit_m_d=limit)
    hidden = found.velocity_sigma_m_d > limit
    assert 0 < hidden.sum() < len(at)
    np.testing.assert_array_equal(np.isnan(found.velocity_m_d), hidden)


def test_gaps_by_hand():
    time_ns, _ = epochs([0.0, 1.0, 2.0, 10.0])
    at_ns, _ = epochs([-0.1, 0.0, 0.5, 2.0, 2.1, 9.9, 10.0, 10.1])
    two_sided = [True, False, False, False, True, True, False, True]
    np.testing.assert_array_equal(in_gap(time_ns, at_ns, 1.0), two_sided)
    causal = [True, False, False, False, False, True, False, False]
    np.testing.assert_array_equal(in_gap(time_ns, at_ns, 1.0, causal=True), causal)
    assert in_gap(time_ns[:0], at_ns, 1.0).all()


def test_innovations_are_white_and_of_unit_variance():
    generator = np.random.default_rng(12)
    model = MotionModel(1e-3, np.inf, (0.01,), (0.2,))
    days, _, _, measured = drawn(model, generator, 3000, 1 / 24, 0.005)
    found = smooth(epochs(days)[0], measured, 0.005, model)
    assert np.isnan(found.innovation).sum() == 2
    known = found.innovation[2:]
    assert known.std() == pytest.approx(1.0, abs=0.04)
    assert abs(known[1:] @ known[:-1] / len(known)) < 0.06


@pytest.mark.compiled
@pytest.mark.parametrize("memory", [np.inf, 8.0])
def test_intervals_cover_what_they_promise(memory):
    # simulation: 95 % intervals of velocity at days far apart hold 92-97 % of the truth
    generator = np.random.default_rng(21)
    model = MotionModel(2e-3, memory, (0.01,), (0.25,))
    hits = {smooth: [], filtered: []}
    for _ in range(60):
        days, velocity, _, measured = drawn(model, generator, 60 * 24, 1 / 24, 0.006)
        measured[300:420] = np.nan
        for estimator, found in hits.items():
            got = estimator(epochs(days)[0], measured, 0.006, model)
            away = abs(got.velocity_m_d - velocity) / got.velocity_sigma_m_d
            found.extend(away[100::60] < 1.959964)
    for found in hits.values():
        assert 0.92 < np.mean(found) < 0.97


def test_what_cannot_be_estimated_is_a_sentence():
    time_ns, _, position, sigma, design = series()
    model = MODELS["walk"]
    with pytest.raises(SolutionError, match="0 measured positions; velocity and 0 regressors need"):
        smooth(time_ns, np.full(len(time_ns), np.nan), sigma, model)
    with pytest.raises(SolutionError, match="1 measured positions"):
        filtered(time_ns[1:2], position[1:2], sigma[1:2], model)
    with pytest.raises(SolutionError, match="row 3: time repeats 1970-01-0"):
        smooth(np.insert(time_ns, 3, time_ns[2]), np.insert(position, 3, 0), 0.01, model)
    with pytest.raises(SolutionError, match=r"row 1: time 1970.* after 1970.*sort the rows"):
        smooth(time_ns[::-1], position, sigma, model)
    with pytest.raises(SolutionError, match="columns 1 of the design"):
        smooth(time_ns, position, sigma, model, design * [1.0, 0.0])
    with pytest.raises(SettingsError, match="row 5: sigma is 0"):
        smooth(time_ns, position, np.where(np.arange(len(sigma)) == 5, 0.0, sigma), model)
    with pytest.raises(SettingsError, match="int64 nanoseconds"):
        smooth(time_ns / 1e9, position, sigma, model)
    with pytest.raises(SettingsError, match="expected one of each"):
        smooth(time_ns, position[:4], sigma, model)
    with pytest.raises(SettingsError, match="expected finite"):
        smooth(time_ns, position, sigma, model, design[:3])
    with pytest.raises(SettingsError, match="lag is -1"):
        lagged(time_ns, position, sigma, model, -1.0)
    with pytest.raises(SettingsError, match="at most two"):
        MotionModel(1.0, 1.0, (1.0,), ())
    with pytest.raises(SettingsError, match="positive memories"):
        MotionModel(1.0, 0.0)
