"""Noise beside changes: that of the rest of the record, though their numbers were fitted to it."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.lakes.combined import StationUp, combined_series
from stakeline.lakes.curve import ramp, relaxed
from stakeline.lakes.event_noise import LEAST_M, _leeway, courses_of, noise_beside
from stakeline.lakes.events import EventSettings, _changes
from stakeline.lakes.fit import Changes
from stakeline.lakes.whitening import START, _with_mean_walk, fitted_noise
from stakeline.motion.smoother import MotionModel, log_likelihood

START_NS = 1_900_000_000_000_000_000
DAY_NS = 86_400_000_000_000
ONSET_D, LENGTH_D, RISE, FALL = 30.0, 7.0, 3.0, 3.5
SIZE_M = -2.5


def series(seed=1):
    """Return the series of one draining under white noise of 8 mm and a walk of 1 mm a day."""
    rng = np.random.default_rng(seed)
    day = np.arange(0.0, 80.0, 0.25)
    up = SIZE_M * ramp((day - ONSET_D) / LENGTH_D, RISE, FALL)
    up += 0.008 * rng.standard_normal(len(day)) + 0.0005 * np.cumsum(rng.standard_normal(len(day)))
    time_ns = START_NS + np.round(day * DAY_NS).astype(np.int64)
    return combined_series([StationUp("HV02", time_ns, up, np.full(len(day), 0.008))], 6.0, ())


def numbers_of(one, onset_off=0.0, length=LENGTH_D):
    origin = (one.start_ns - START_NS) / DAY_NS
    form = np.log([length, RISE, FALL])
    return np.array([ONSET_D + onset_off - origin, *form, 0.99, 0.0])


def over_a_draining_m(model):
    """Return the sigma of what the noise does over a week. [m]"""
    part = [
        2.0 * s**2 * (1.0 - np.exp(-LENGTH_D / m))
        for s, m in zip(model.coloured_sigma_m, model.coloured_memory_d, strict=True)
    ]
    return np.sqrt(sum(part) + model.acceleration_m2_d3 * LENGTH_D**3 / 12.0)


@pytest.mark.compiled
def test_noise_is_the_same_beside_a_course_that_is_a_little_off():
    one = series()
    true = noise_beside(one, numbers_of(one), [SIZE_M])
    off = numbers_of(one, -0.15, LENGTH_D + 0.25)  # leaves 4 cm: 5 sigmas of one height
    assert over_a_draining_m(noise_beside(one, off, [SIZE_M])) == pytest.approx(
        over_a_draining_m(true), rel=0.2
    )
    # without what the numbers' being off would do, it counts as noise
    bare = fitted_noise(one, courses_of(one, off))
    assert over_a_draining_m(bare) > 1.3 * over_a_draining_m(true)


@pytest.mark.compiled
def test_leeway_spans_what_small_changes_of_the_numbers_do():
    one = series()
    numbers = numbers_of(one)
    columns = _leeway(one, numbers, [SIZE_M])
    assert columns.T @ columns == pytest.approx(np.eye(columns.shape[1]), abs=1e-9)
    changes = Changes(one, START, 1, (0, len(one.day)))
    for k in range(6):
        moved = numbers.copy()
        moved[k] += 1e-4
        move = SIZE_M * (changes.courses(moved) - changes.courses(numbers))[:, 0, 0] / 1e-4
        left = move - columns @ (columns.T @ move)
        assert np.linalg.norm(left) < max(0.01 * np.linalg.norm(move), 10.0 * LEAST_M)


def test_without_changes_there_is_nothing_beside():
    one = series()
    none = np.array([0.5, 0.0])
    assert courses_of(one, none).shape == (len(one.day), 0)
    assert _leeway(one, none, []).shape == (len(one.day), 0)
    assert noise_beside(one, none, []) == fitted_noise(replace(one))


WALK_M2_D3 = 3e-8
WALKING = MotionModel(WALK_M2_D3, np.inf, (), (), 1.0)


def walking(seed):
    """Return rows of 60 days whose velocity walks, under white noise of 8 mm."""
    rng = np.random.default_rng(seed)
    day = np.arange(0.0, 60.0, 0.25)
    velocity = np.cumsum(np.sqrt(WALK_M2_D3 * 0.25) * rng.standard_normal(len(day)))
    up = np.cumsum(velocity) * 0.25 + 0.008 * rng.standard_normal(len(day))
    time_ns = np.round(day * DAY_NS).astype(np.int64)
    return time_ns, up, np.full(len(day), 0.008), np.zeros((len(day), 0))


def likelihoods(root, rows):
    """Return the likelihoods (k,), the greatest 1, of standard deviations of the walk."""
    each = [replace(WALKING, acceleration_m2_d3=float(s * s)) for s in root]
    log = np.array([log_likelihood(*rows[:3], one, rows[3]) for one in each])
    return np.exp(log - log.max())


@pytest.mark.compiled
def test_walk_is_the_mean_of_what_the_heights_allow():
    rows = walking(0)
    root = np.linspace(1e-6, 1e-3, 400)  # evenly: the law beforehand
    likely = likelihoods(root, rows)
    likeliest = replace(WALKING, acceleration_m2_d3=float(root[np.argmax(likely)] ** 2))
    mean = _with_mean_walk(likeliest, *rows)
    assert mean.acceleration_m2_d3 == pytest.approx(likely @ root**2 / likely.sum(), rel=0.03)
    assert replace(mean, acceleration_m2_d3=likeliest.acceleration_m2_d3) == likeliest


@pytest.mark.compiled
def test_a_walk_is_told_where_the_likeliest_one_is_nil():
    told, nil = [], 0
    for rows in map(walking, range(20)):
        least, usual = likelihoods(np.sqrt([1e-12, WALK_M2_D3]), rows)
        nil += least > usual
        told.append(_with_mean_walk(replace(WALKING, acceleration_m2_d3=1e-12), *rows))
    walks = np.array([one.acceleration_m2_d3 for one in told])
    assert nil > 2  # a usual case
    assert walks.min() > 0.1 * WALK_M2_D3
    # even in the root, and few data: more than the true one, in the mean
    assert WALK_M2_D3 < walks.mean() < 3.0 * WALK_M2_D3


@pytest.mark.compiled
def test_ice_that_answers_over_weeks_is_not_taken_for_noise():
    rng = np.random.default_rng(3)
    day = np.arange(0.0, 80.0, 0.25)
    roof = SIZE_M * ramp((day - ONSET_D) / LENGTH_D, RISE, FALL)
    up = 0.5 * roof + 0.5 * relaxed(roof, 0.25, 10.0) + 0.008 * rng.standard_normal(len(day))
    time_ns = START_NS + np.round(day * DAY_NS).astype(np.int64)
    sigma = np.full(len(day), 0.008)
    one = combined_series([StationUp("HV02", time_ns, up, sigma, at_once=0.5)], 6.0, ())
    settings = EventSettings(step_h=6.0, most=1)
    changes, model, _, _ = _changes(one, settings, np.random.default_rng(1), {})
    assert len(changes) == 1
    # nothing walks; beside the first course, with a memory of 2.5 d, 5e-6 would be found
    assert model.acceleration_m2_d3 < 1e-7
