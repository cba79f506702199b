"""Changes put in: they appear in full where they are put, and nothing appears where none is."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.inference.baseline import Baseline, with_covariates
from stakeline.inference.counter_tests import both_ways
from stakeline.inference.injection import (
    amplitudes_put_in,
    doubts_put_in,
    draw_trials,
    elsewhere,
    estimates_put_in,
    response_put_in,
    without_own,
)
from stakeline.inference.pooling import pool, probability_above
from stakeline.inference.response import Choices, begin, fit_noise_rounds, fit_response
from stakeline.inference.shape import Events, ShapeGrid, columns

pytestmark = pytest.mark.compiled

TIME = np.arange(400.0)
EVENTS = Events(np.array([[80.0, 80.4], [190.2, 190.0], [310.0, 310.6]]), [[90.0] * 2, [205.0] * 2,
                [318.0] * 2])  # fmt: skip
GRID = ShapeGrid((0.0, 1.0, 2.0), (1.0,), (0.0, 3.0), (4.0,), as_event=True)
CHOICES = Choices(Baseline(1))
SIZES = np.array([0.5, 2.0, 8.0, 32.0])
MARGINS = 10.0, 15.0


def noise(seed):
    draw = np.random.default_rng(seed).standard_normal(500)
    for i in range(1, 500):
        draw[i] += 0.7 * draw[i - 1]
    return draw[100:]


def drawn(count=24, seed=3):
    generator = np.random.default_rng(seed)
    span = TIME[0], TIME[-1]
    return draw_trials([EVENTS], GRID, [2], span, MARGINS, SIZES, generator, count)[0]


def known(values, grid=GRID):
    problem = begin(TIME, values, EVENTS, grid, CHOICES)
    fit_noise_rounds(problem, "memory")
    return problem


@pytest.fixture(scope="module")
def quiet():
    return known(noise(1))


def test_trials_keep_the_spacing_and_lie_inside():
    trials = drawn()
    around = np.diff(trials.onset, axis=1) % np.ptp(TIME)
    np.testing.assert_allclose(around, np.tile(np.diff(EVENTS.middle), (len(trials), 1)))
    assert (trials.onset >= MARGINS[0]).all()
    assert (trials.onset <= TIME[-1] - MARGINS[1]).all()
    assert trials.sign.sum() == 0.0
    assert np.abs(trials.true - trials.onset).max() <= 0.31
    np.testing.assert_allclose(trials.last, [9.8, 14.9, 7.7])
    again = drawn()
    np.testing.assert_array_equal(again.shape, trials.shape)
    assert trials.only([0, 2]).onset.shape == (24, 2)


def test_moves_go_where_the_record_is_as_restless_as_at_the_events():
    def restless(onset):
        return np.cos(2.0 * np.pi * onset / 400.0)

    generator, span = np.random.default_rng(3), (TIME[0], TIME[-1])
    alike = draw_trials([EVENTS], GRID, [2], span, MARGINS, SIZES, generator, 24, restless)[0]
    unlike = [np.abs(restless(t.onset) - restless(EVENTS.middle)).sum(axis=1)
              for t in (alike, drawn())]  # fmt: skip
    assert unlike[0].max() < np.median(unlike[1])
    assert (alike.onset >= MARGINS[0]).all()


def test_what_is_put_in_is_found_in_full(quiet):
    # law: where a change is far above the noise the estimate is the change, sign included
    trials = drawn()
    found, spread = estimates_put_in(quiet, trials, trials.shape[:, 0])
    share = found[:, -1] / (trials.sign[:, None] * SIZES[-1])
    assert np.median(share) == pytest.approx(1.0, abs=0.03)
    assert np.nanstd(share) < 0.12
    sigma = np.sqrt(np.einsum("kaee->kae", spread))
    # the shape is looked for, which widens the scatter at small changes by some tenths
    scores = (found - trials.sign[:, None, None] * SIZES[:, None]) / sigma
    assert 0.8 < np.nanstd(scores[:, 1]) < 1.6


def test_a_trial_is_what_a_fit_of_such_a_record_gives(quiet):
    # second way: the change put into the values, and the whole estimate made anew
    trials = drawn()
    number, size = 4, 2
    response = response_put_in(TIME, trials, number, GRID, trials.shape[number, 0], 1.0)
    own = columns(TIME, EVENTS, GRID.only(quiet.best), 1.0, 0).sum(axis=0)[:, 0]
    amplitude = (quiet.joint * quiet.amplitudes).sum()
    put_in = noise(1) - amplitude * own + trials.sign[number] * SIZES[size] * response
    fit = fit_response(TIME, put_in, trials.told(number), GRID, CHOICES)
    found = estimates_put_in(quiet, trials, trials.shape[:, 0])[0][number, size]
    np.testing.assert_allclose(found, fit.each, atol=1.2)
    assert np.sign(found).tolist() == [trials.sign[number]] * 3


def test_what_happened_at_the_events_is_taken_out():
    response = columns(TIME, EVENTS, GRID.only(2), 1.0, 0).sum(axis=0)[:, 0]
    loud, still = known(noise(1) + 50.0 * response), known(noise(1))
    own = loud.whitened_shapes(loud.mean_shape(loud.best), 0.0)[:, 0]
    assert abs(own @ without_own(loud)) < 1e-6 * np.abs(own).sum()
    places = drawn().onset
    spread = [np.nanstd(elsewhere(p, places)[0]) for p in (loud, still)]
    assert spread[0] == pytest.approx(spread[1], rel=0.35)


def test_doubts_rise_for_what_begins_before():
    trials = drawn()
    both = both_ways(GRID, 5.0)
    problem = known(noise(1), both)
    after = [columns(TIME, trials.told(k).moved(1.0), GRID.only(0), 1.0, 0).sum(axis=0)[:, 0]
             for k in range(24)]  # fmt: skip
    before = [columns(TIME, trials.told(k).moved(-4.0), GRID.only(0), 1.0, 0).sum(axis=0)[:, 0]
              for k in range(24)]  # fmt: skip
    late, early = (doubts_put_in(problem, trials, np.array(r), GRID, 5.0) for r in (after, before))
    assert (late.early[:, 2] > 0.9).mean() < 0.05
    assert (early.early[:, 2] > 0.9).mean() > 0.9
    assert (early.trend_p[:, 2] < 0.01).mean() > 0.9
    assert (late.trend_p[:, 0] < 0.05).mean() < 0.25


def test_amplitudes_grow_as_what_is_put_in_and_a_cause_like_it_takes_them():
    trials = drawn()
    responses = np.array([response_put_in(TIME, trials, k, GRID, 2, 1.0) for k in range(24)])
    found = amplitudes_put_in(known(noise(1)), trials, responses) * trials.sign[:, None]
    assert np.median(found[:, 2]) == pytest.approx(SIZES[2], rel=0.1)
    assert (np.diff(found, axis=1) > 0.0).mean() > 0.95
    alike = replace(CHOICES, baseline=with_covariates(CHOICES.baseline, responses[4][:, None]))
    problem = begin(TIME, noise(1), EVENTS, GRID, alike)
    fit_noise_rounds(problem, alike.noise)
    beside = amplitudes_put_in(problem, trials, responses) * trials.sign[:, None]
    assert abs(beside[4, 2]) < 0.2 * SIZES[2]  # the cause has the course of the fifth response
    assert np.median(beside[:, 2]) == pytest.approx(SIZES[2], rel=0.15)


def test_the_side_of_the_interval_is_that_of_the_pooled_one():
    rng = np.random.default_rng(5)
    for effect in (0.0, 1.0, 3.0):
        estimates, events = effect + rng.standard_normal(6), np.arange(6) % 3
        covariance = np.eye(6) + 0.3
        whole = pool(estimates, covariance, events, np.arange(6) // 3)
        above = probability_above(estimates, covariance, events)
        assert above == pytest.approx(whole.probability_up, abs=1e-12)
        assert (whole.interval[0] > 0.0) == (above >= 0.975)


def test_events_without_ends_are_refused():
    bare = Events(EVENTS.onset)
    with pytest.raises(SettingsError, match="give their ends"):
        draw_trials([bare], GRID, [1], (0.0, 399.0), MARGINS, SIZES, np.random.default_rng(0), 4)
