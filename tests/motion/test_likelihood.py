"""Parameters of the motion model from drawn series; thinning keeps means."""

import sys
from pathlib import Path

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.likelihood import fit_model, thinned
from stakeline.motion.smoother import MotionModel, log_likelihood, smooth

sys.path.append(str(Path(__file__).parent))
from dense_motion import drawn, epochs

TRUTH = MotionModel(2e-3, np.inf, (0.012,), (0.2,), 1.4)


@pytest.mark.compiled
def test_parameters_are_recovered_and_their_errors_are_honest():
    # simulation: 12 draws, mean of the logarithms within three of its errors, spread as told
    generator = np.random.default_rng(31)
    start = MotionModel(1e-4, np.inf, (0.005,), (0.6,))
    errors, told = [], []
    for _ in range(12):
        days, _, _, measured = drawn(TRUTH, generator, 1500, 1 / 36, 0.004)
        fit = fit_model(epochs(days)[0], measured, 0.004, start)
        assert fit.at_bound == ()
        assert fit.names == (
            "acceleration_m2_d3",
            "coloured_sigma_m[0]",
            "coloured_memory_d[0]",
            "white_scale",
        )
        m = fit.model
        found = (
            m.acceleration_m2_d3 / 2e-3,
            m.coloured_sigma_m[0] / 0.012,
            m.coloured_memory_d[0] / 0.2,
            m.white_scale / 1.4,
        )
        errors.append(np.log(found))
        told.append(fit.log_sigma)
    errors, told = np.array(errors), np.array(told)
    assert (abs(errors.mean(axis=0)) < 3.0 * told.mean(axis=0) / np.sqrt(12) + 0.02).all()
    ratio = errors.std(axis=0) / told.mean(axis=0)
    assert (ratio > 0.45).all()
    assert (ratio < 1.7).all()


@pytest.mark.compiled
def test_intervals_hold_with_estimated_parameters():
    # simulation: 95 % intervals of a daily velocity hold 92-97 % of the truth
    generator = np.random.default_rng(33)
    hits = []
    for _ in range(30):
        days, velocity, _, measured = drawn(TRUTH, generator, 80 * 24, 1 / 24, 0.004)
        time_ns = epochs(days)[0]
        fit = fit_model(time_ns, measured, 0.004, MotionModel(1e-3, np.inf, (0.01,), (0.3,)))
        got = smooth(time_ns, measured, 0.004, fit.model)
        hits.extend((abs(got.velocity_m_d - velocity) < 1.959964 * got.velocity_sigma_m_d)[24::24])
    assert 0.92 < np.mean(hits) < 0.97


def test_the_likelihood_is_largest_there():
    days, _, _, measured = drawn(TRUTH, np.random.default_rng(35), 400, 1 / 12, 0.004)
    time_ns = epochs(days)[0]
    start = MotionModel(1e-3, 5.0, (0.01,), (0.3,))
    free = ("acceleration_m2_d3", "white_scale")
    fit = fit_model(time_ns, measured, 0.004, start, free=free)
    assert fit.model.velocity_memory_d == 5.0
    assert fit.model.coloured_sigma_m == (0.01,)
    for factor in (0.5, 2.0):
        for name in free:
            values = {**vars(fit.model), name: factor * getattr(fit.model, name)}
            other = log_likelihood(time_ns, measured, 0.004, MotionModel(**values))
            assert other < fit.log_likelihood


def test_still_ice_is_told_by_the_bound():
    # nothing wanders: the intensity runs to its least
    generator = np.random.default_rng(36)
    time_ns, days = epochs(np.arange(300) / 24)
    measured = 0.3 * days + 0.01 * generator.standard_normal(300)
    fit = fit_model(time_ns, measured, 0.01, MotionModel(1e-3), free=("acceleration_m2_d3",))
    assert fit.model.acceleration_m2_d3 < 1e-5
    assert fit.at_bound in ((), ("acceleration_m2_d3",))


def test_thinning_keeps_weighted_means():
    generator = np.random.default_rng(37)
    time_ns, days = epochs(np.arange(1000) / 288)
    position, sigma = 1e6 + days + generator.standard_normal(1000), 1.0 + generator.random(1000)
    position[13] = np.nan
    design = np.column_stack([days, days**2])
    thin_ns, thin, thin_sigma, thin_design, interval = thinned(
        time_ns, position, sigma, design, 100
    )
    assert len(thin_ns) == 100
    assert interval == pytest.approx(10 / 288)
    own = [i for i in range(10, 20) if i != 13]
    weight = sigma[own] ** -2.0
    assert thin[1] == pytest.approx(np.average(position[own], weights=weight), abs=1e-9)
    assert thin_sigma[1] == pytest.approx(weight.sum() ** -0.5)
    assert thin_design[1, 1] == pytest.approx(np.average(days[own] ** 2, weights=weight))
    assert abs(thin_ns[1] - np.average(time_ns[own], weights=weight)) < 1e3
    few = thinned(time_ns, position, sigma, None, 5000)
    assert len(few[0]) == 999


def test_thinning_does_not_bridge_a_gap():
    time_ns, _ = epochs(np.r_[np.arange(100) / 288, 250 + np.arange(100) / 288])
    thin_ns, *_ = thinned(time_ns, np.zeros(200), 1.0, None, 50)
    assert ((thin_ns <= time_ns[99]) | (thin_ns >= time_ns[100])).all()


def test_what_cannot_be_fitted_is_a_sentence():
    time_ns, days = epochs(np.arange(40) / 24)
    with pytest.raises(SettingsError, match="'q' is no parameter; known are"):
        fit_model(time_ns, days, 0.01, MotionModel(1.0), free=("q",))
    with pytest.raises(SettingsError, match="random walk: no memory"):
        fit_model(time_ns, days, 0.01, MotionModel(1.0), free=("velocity_memory_d",))
    with pytest.raises(SettingsError, match="no parameter is free"):
        fit_model(time_ns, days, 0.01, MotionModel(1.0), free=("coloured_sigma_m",))
    with pytest.raises(SolutionError, match="0 measured positions"):
        fit_model(time_ns, np.nan * days, 0.01, MotionModel(1.0))


@pytest.mark.compiled
def test_ice_that_slips_within_minutes_is_inside_the_range():
    # simulation: speeds of 20 m/d that come and go in minutes, every 15 s, as ice streams have
    truth = MotionModel(1e5, np.inf, (0.003,), (0.002,))
    generator = np.random.default_rng(35)
    days, _, _, measured = drawn(truth, generator, 600, 15.0 / 86400.0, 0.005)
    start = MotionModel(1e3, np.inf, (0.003,), (0.002,))
    fit = fit_model(epochs(days)[0], measured, 0.005, start)
    assert "acceleration_m2_d3" not in fit.at_bound
    assert fit.model.acceleration_m2_d3 == pytest.approx(1e5, rel=0.5)
