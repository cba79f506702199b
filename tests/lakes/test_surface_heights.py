"""Heights of the surface at a station: a plane and a bowl are found, and a bias with its sigma."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.errors import SolutionError
from stakeline.lakes.altimetry import SurfacePoints
from stakeline.lakes.surface_heights import height_bias, pass_heights

SLOPE, SPEED_M_D, SINK_M_D = np.array([0.012, -0.007]), 1.0, 0.02
SCALE = 0.98


def surface_m(place, day, bend=2e-6):
    return 900.0 + place @ SLOPE + 0.5 * bend * (place**2).sum(axis=-1) - SINK_M_D * day


def here_m(time_ns):
    return SCALE * np.array([SPEED_M_D * time_ns / NS_PER_DAY, 0.0])


def points(rng, noise_m=0.05, bias_m=0.0, scatter_m=0.0, passes=12):
    """Three parallel lines a pass, in two directions, each pass off by some 60 m."""
    rows = []
    for k in range(passes):
        day, turn = 30.0 * k, (0.4, -0.9)[k % 2]
        ahead = np.arange(-900.0, 900.0, 40.0)
        off = rng.normal(0.0, 60.0) + np.array([-300.0, 0.0, 300.0])
        x, y = np.meshgrid(ahead, off)
        place = np.stack([np.cos(turn) * x - np.sin(turn) * y,
                          np.sin(turn) * x + np.cos(turn) * y], axis=-1).reshape(-1, 2)  # fmt: skip
        place += [SPEED_M_D * day, 0.0]
        height = surface_m(place, day) + bias_m + rng.normal(0.0, scatter_m)
        height += rng.normal(0.0, noise_m, len(place))
        time_ns = np.full(len(place), int(day * NS_PER_DAY)) + np.arange(len(place)) * 1000
        rows.append((time_ns, SCALE * place, height))
    time_ns, place, height = (np.concatenate(c) for c in zip(*rows, strict=True))
    none = np.zeros(len(height), int)
    return SurfacePoints(time_ns, place, height, np.full(len(height), noise_m), none, none, 3413)


def truth(found):
    day = found.time_ns / NS_PER_DAY
    place = np.stack([SPEED_M_D * day, 0.0 * day], axis=1)
    return surface_m(place, day)


def test_a_bent_slope_is_taken_off_and_the_station_may_move():
    found = pass_heights(points(np.random.default_rng(1), 1e-4), here_m, 500.0, SCALE)
    assert len(found.time_ns) == 12
    np.testing.assert_allclose(found.height_m, truth(found), atol=2e-3)
    assert np.abs(found.moved_m).max() > 0.2  # what it would be off without
    np.testing.assert_allclose(found.slope[1], SLOPE[1], atol=1e-4)


def test_sigmas_hold_what_heights_are_off():
    over = []
    for seed in range(30):
        found = pass_heights(points(np.random.default_rng(seed)), here_m, 500.0, SCALE)
        over += list((found.height_m - truth(found)) / np.sqrt(np.diag(found.covariance_m2)))
    assert 0.8 < np.std(over) < 1.2


def test_points_that_are_wild_are_left_out():
    rows = points(np.random.default_rng(2))
    rows.height_m[::50] += 40.0
    found = pass_heights(rows, here_m, 500.0, SCALE)
    np.testing.assert_allclose(found.height_m, truth(found), atol=0.06)


def test_far_points_and_absent_stations_are_none():
    rows = points(np.random.default_rng(3))
    with pytest.raises(SolutionError, match="no pass with 5 points within 2 m"):
        pass_heights(rows, here_m, 2.0, SCALE)
    with pytest.raises(SolutionError):
        pass_heights(rows, lambda time_ns: None, 500.0)


def test_a_bias_lies_in_its_interval_as_often_as_told():
    rng, inside = np.random.default_rng(4), 0
    for _ in range(400):
        covariance = np.diag(rng.uniform(0.01, 0.05, 8) ** 2)
        rest = rng.multivariate_normal(np.full(8, 0.3), covariance + 0.04**2 * np.eye(8))
        low, high = height_bias(rest, covariance).interval_m
        inside += low <= 0.3 <= high
    assert 0.92 < inside / 400 < 0.98  # 95 %, two sigmas of 400 draws and the search of the scatter


def test_without_extra_scatter_a_bias_is_the_weighted_mean():
    found = height_bias(np.array([1.0, 1.0, 1.0, np.nan]), np.diag([1.0, 4.0, 9.0, 1.0]))
    assert found.bias_m == pytest.approx(1.0)
    assert found.sigma_m == pytest.approx((1.0 + 0.25 + 1.0 / 9.0) ** -0.5)
    assert (found.scatter_m, found.passes) == (0.0, 3)
    wide = height_bias(np.ones(3), np.eye(3), common_sigma_m=2.0)
    half, common = np.diff(wide.interval_m)[0] / 2.0, 1.96 * 2.0
    assert np.diff(wide.whole_m)[0] / 2.0 == pytest.approx(np.hypot(half, common))
    with pytest.raises(SolutionError, match="a bias needs 3"):
        height_bias(np.ones(2), np.eye(2))
