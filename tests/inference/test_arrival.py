import numpy as np
import pytest
from scipy.integrate import quad

from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.arrival import arrival_likelihood, arrival_speed, bent_way
from stakeline.inference.shape import integral

DAYS = np.arange(60.0) + 0.5
ARRIVALS = np.arange(-1.0, 6.01, 0.1)
DISTANCE = np.array([4.0, 7.0, 10.0, 13.0, 16.0, 19.0, 22.0, 25.0])  # km
SHAPES = {"rises": (0.5, 1.0), "decay": 5.0}


def way(rng, arrival, size=4.0, onset=30.3, lasting=8.0):
    """Return the way (n,) of a series that responds by ``size``, with 0.3 a day of noise."""
    bend = bent_way(DAYS, onset, lasting, [arrival], 0.8, 5.0, 1.0)[:, 0]
    steps = 0.3 * rng.standard_normal(len(DAYS)).cumsum()
    return 100.0 * DAYS + size * bend + steps + 0.1 * rng.standard_normal(len(DAYS))


def test_the_bent_way_is_the_mean_of_the_integral_of_the_shape():
    found = bent_way([34.5], 30.3, 8.0, [2.0], 0.8, 5.0, 1.0)[0, 0]
    mean = quad(lambda t: float(integral(t - 30.3 - 1.6, 0.8, 8.0, 5.0)), 34.0, 35.0)[0]
    assert found == pytest.approx(mean, abs=1e-9)
    assert bent_way([20.0], 30.3, 8.0, [2.0], 0.8, 5.0, 1.0)[0, 0] == 0.0


def test_an_arrival_is_found_and_a_trend_of_the_way_is_none_of_it():
    rng = np.random.default_rng(3)
    values = way(rng, 2.0)
    log = arrival_likelihood(DAYS, values, 30.3, 8.0, ARRIVALS, **SHAPES)
    assert log.shape == ARRIVALS.shape
    weight = np.exp(log) / np.exp(log).sum()
    mean = weight @ ARRIVALS
    sigma = np.sqrt(weight @ (ARRIVALS - mean) ** 2)
    assert sigma < 0.3
    assert abs(mean - 2.0) < 3.0 * sigma + 0.05
    other = values + 7.0 - 3.0 * DAYS + 0.02 * DAYS**2
    again = arrival_likelihood(DAYS, other, 30.3, 8.0, ARRIVALS, **SHAPES)
    assert again == pytest.approx(log, abs=2e-2)  # the search of the noise stops within 2e-3


def test_what_a_measured_influence_explains_is_no_arrival():
    rng = np.random.default_rng(4)
    burst = np.where((DAYS > 26.0) & (DAYS < 34.0), 1.0, 0.0).cumsum()
    plain = arrival_likelihood(DAYS, way(rng, 2.0), 30.3, 8.0, ARRIVALS, **SHAPES)
    values = way(np.random.default_rng(4), 2.0) + 5.0 * burst
    with_it = np.column_stack([burst, 3.0 * DAYS])  # the second explains nothing: it is straight
    found = arrival_likelihood(DAYS, values, 30.3, 8.0, ARRIVALS, covariates=with_it, **SHAPES)
    without = arrival_likelihood(DAYS, values, 30.3, 8.0, ARRIVALS, **SHAPES)
    best, misled, true = (ARRIVALS[log.argmax()] for log in (found, without, plain))
    assert abs(best - true) < 0.5
    assert abs(misled - true) > abs(best - true)


def likelihoods(rng, slowness, sigma=0.2, events=3):
    start = rng.uniform(0.3, 1.2, events)
    seen = start + slowness * DISTANCE[:, None] + sigma * rng.standard_normal((8, events))
    return -0.5 * ((ARRIVALS - seen[..., None]) / sigma) ** 2


def test_intervals_hold_the_slowness_as_often_as_they_say():
    rng = np.random.default_rng(5)
    found = [arrival_speed(DISTANCE, ARRIVALS, likelihoods(rng, 0.05)) for _ in range(40)]
    inside = np.mean([f.interval[0] <= 0.05 <= f.interval[1] for f in found])
    assert inside >= 0.85  # 95 % wanted, three sigmas of chance in 40
    error = np.array([f.slowness - 0.05 for f in found])
    # a line through 24 arrivals by least squares has 0.2 / sqrt(3 sum (d - mean)^2)
    least = 0.2 / np.sqrt(3.0 * ((DISTANCE - DISTANCE.mean()) ** 2).sum())
    assert error.std() < 1.5 * least
    assert abs(error.mean()) < 3.0 * least / np.sqrt(40.0)
    assert found[0].direction == 1
    assert found[0].speed == pytest.approx(1.0 / found[0].slowness)


def test_own_beginnings_of_events_and_the_order_of_series_do_not_matter():
    log = likelihoods(np.random.default_rng(6), 0.05)
    one = arrival_speed(DISTANCE, ARRIVALS, log)
    turned = arrival_speed(DISTANCE[::-1], ARRIVALS, log[::-1])
    assert turned.slowness == pytest.approx(one.slowness, rel=1e-9)
    moved = log.copy()
    moved[:, 1] = np.roll(log[:, 1], 5, axis=1)  # this event began half a day later
    moved[:, 1, :5] = log[:, 1].min()
    assert arrival_speed(DISTANCE, ARRIVALS, moved).slowness == pytest.approx(
        one.slowness, abs=2e-3
    )


def test_a_stray_arrival_moves_little():
    log = likelihoods(np.random.default_rng(7), 0.05)
    one = arrival_speed(DISTANCE, ARRIVALS, log)
    log[0, 0] = -0.5 * ((ARRIVALS - 5.5) / 0.2) ** 2
    stray = arrival_speed(DISTANCE, ARRIVALS, log)
    assert abs(stray.slowness - one.slowness) < 0.015


def test_what_is_not_known_is_left_out_and_too_little_is_said():
    log = likelihoods(np.random.default_rng(8), 0.05)
    log[2], log[4, 1] = np.nan, np.nan
    assert arrival_speed(DISTANCE, ARRIVALS, log).series == 7
    log[:6] = np.nan
    with pytest.raises(SolutionError, match="2 series with an arrival, 2 distances"):
        arrival_speed(DISTANCE, ARRIVALS, log)
    with pytest.raises(SettingsError, match="expected"):
        arrival_speed(DISTANCE[:3], ARRIVALS, log)
    empty = np.full(len(DAYS), np.nan)
    with pytest.raises(SolutionError):
        arrival_likelihood(DAYS, empty, 30.3, 8.0, ARRIVALS, **SHAPES)
