"""Datums, agreement, the combined curve, what a satellite sees, and maps: laws and simulations."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import kstest

from stakeline.earth.ellipsoid import xyz_from_geodetic
from stakeline.earth.tides import permanent_tide
from stakeline.errors import SettingsError, SolutionError
from stakeline.lakes.agreement import agreement, heights_near
from stakeline.lakes.altimetry_maps import map_levels
from stakeline.lakes.datum import (
    above_ellipsoid,
    crust_mean_minus_free_m,
    geoid_mean_minus_m,
    in_tide_system,
)
from stakeline.lakes.level_curve import LevelStation, level_curve
from stakeline.lakes.outline import ellipse_outline
from stakeline.lakes.satellite_view import EventTimes, sightings

DAY_NS = 86400 * 10**9


def levels(day, level, sigma=0.05):
    """Return levels as of lake_levels, errors independent."""
    level = np.asarray(level, float)

    def since(first=0):
        spread = np.full(len(level), sigma * np.sqrt(2.0))
        spread[first] = 0.0
        return level - level[first], spread

    def change(before, after):
        return level[after] - level[before], sigma * np.sqrt(2.0)

    return SimpleNamespace(
        time_ns=(np.asarray(day, float) * DAY_NS).astype(np.int64), level_m=level,
        covariance_m2=sigma**2 * np.eye(len(level)), since=since, change=change,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("latitude", "expected"), [(90.0, -0.1205), (0.0, 0.0603), (-90.0, -0.1205)]
)
def test_permanent_tide_of_the_ground(latitude, expected):
    # IERS Conventions (2010), section 7.1.1.2: -0.120 m at the poles, +0.060 m at the equator
    assert crust_mean_minus_free_m(np.radians(latitude)) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize("latitude", [-75.0, 12.0, 79.0])
def test_permanent_tide_by_a_second_formula(latitude):
    up = np.array([np.cos(np.radians(latitude)), 0.0, np.sin(np.radians(latitude))])
    vector = permanent_tide(xyz_from_geodetic(np.radians(latitude), 0.0, 0.0))
    # geocentric against geodetic latitude and up: 0.2 deg of 0.12 m
    assert crust_mean_minus_free_m(np.radians(latitude)) == pytest.approx(up @ vector, abs=6e-4)


def test_tide_systems_go_there_and_back():
    latitude = np.radians([79.0, -77.0])
    mean = in_tide_system([100.0, 50.0], latitude, "tide-free", "mean-tide")
    np.testing.assert_allclose(mean - [100.0, 50.0], crust_mean_minus_free_m(latitude))
    np.testing.assert_allclose(
        in_tide_system(mean, latitude, "mean-tide", "tide-free"), [100.0, 50.0]
    )
    np.testing.assert_array_equal(in_tide_system(mean, latitude, "zero-tide", "mean-tide"), mean)
    with pytest.raises(SettingsError, match="tide system ''"):
        in_tide_system(mean, latitude, "", "mean-tide")


def test_the_geoid_of_tide_systems():
    # Ekman (1989): zero-tide at the pole 0.099 - 0.296 = -0.197 m; tide-free 1.3 times it
    assert geoid_mean_minus_m("zero-tide", np.pi / 2.0) == pytest.approx(-0.197)
    assert geoid_mean_minus_m("tide-free", np.pi / 2.0) == pytest.approx(-0.2561)
    assert geoid_mean_minus_m("mean-tide", 0.3) == 0.0


def test_heights_above_the_ellipsoid_only_where_a_geoid_is_given():
    np.testing.assert_array_equal(above_ellipsoid([10.0, 20.0], [30.0, np.nan]), [40.0, np.nan])
    with pytest.raises(SettingsError, match="geoid_m"):
        above_ellipsoid([10.0], [np.nan])


def test_p_values_are_even_where_sigmas_are_true():
    rng, found = np.random.default_rng(1), []
    root = rng.normal(0.0, 0.05, (8, 8))
    first_c, second_c = root @ root.T + 0.01**2 * np.eye(8), 0.01**2 * np.eye(8)
    truth = np.linspace(-2.0, 3.0, 8)
    for _ in range(400):
        first = truth + rng.multivariate_normal(np.zeros(8), first_c) + 7.0
        second = truth + rng.multivariate_normal(np.zeros(8), second_c)
        found.append(agreement(np.arange(8), first, first_c, second, second_c))
    assert kstest([a.p_value for a in found], "uniform").pvalue > 0.01
    z = [(a.offset_m - 7.0) / a.offset_sigma_m for a in found]
    assert np.std(z) == pytest.approx(1.0, abs=0.12)
    slope = [(a.slope - 1.0) / a.slope_sigma for a in found]
    assert np.std(slope) == pytest.approx(1.0, abs=0.12)


def test_agreement_says_where_it_cannot_be_judged():
    one = np.eye(4)
    with pytest.raises(SolutionError, match="2 common times"):
        agreement(np.arange(4), [1.0, 2.0, np.nan, np.nan], one, np.zeros(4), one)
    with pytest.raises(SettingsError, match="covariance"):
        agreement(np.arange(4), np.zeros(4), np.eye(3), np.zeros(4), np.eye(3))


def test_heights_near_a_time():
    time_ns = np.arange(40) * DAY_NS // 4
    up = np.arange(40.0)
    mean, sigma = heights_near(time_ns, up, np.full(40, 0.02), [5 * DAY_NS, 30 * DAY_NS], 1.0, 0.01)
    assert mean[0] == pytest.approx(up[18:22].mean())
    assert sigma[0] == pytest.approx(np.hypot(0.02 / 2.0, 0.01))
    assert np.isnan(mean[1])


def curve_case(seed):
    """Return (truth at days, passes, station with a long gap, its true share)."""
    rng = np.random.default_rng(seed)
    day = np.arange(0.0, 301.0)
    truth = 0.01 * day
    for onset in rng.uniform(40.0, 260.0, 2):
        truth = truth - 1.5 * np.clip((day - onset) / 6.0, 0.0, 1.0)
    at = np.sort(rng.choice(np.arange(5, 296), 9, replace=False))
    seen = levels(day[at], truth[at] + rng.normal(0.0, 0.05, 9))
    up = 0.9 * truth + rng.normal(0.0, 0.01, 301) + 12.0
    up[120:200] = np.nan
    up[200:] += 0.8  # set up anew
    time_ns = (day * DAY_NS).astype(np.int64)
    station = LevelStation("HV02", time_ns, up, np.full(301, 0.01), 0.85, 0.1, 0.002, 10.0,
                           (int(199.5 * DAY_NS),))  # fmt: skip
    return truth - truth.mean(), seen, station


def test_the_combined_curve_is_better_than_either_and_honest():
    rms, inside = [], []
    for seed in range(4):
        truth, seen, station = curve_case(seed)
        row = []
        for passes, stations in ((None, (station,)), (seen, ()), (seen, (station,))):
            curve = level_curve(0, 300 * DAY_NS, passes, stations)
            row.append(np.sqrt(np.mean((curve.level_m - truth) ** 2)))
        rms.append(row)
        inside.append(np.mean(np.abs(curve.level_m - truth) < 1.96 * curve.sigma_m))
    alone, passes, both = np.mean(rms, axis=0)
    assert both < 0.7 * min(alone, passes)
    assert np.mean(inside) > 0.85  # four curves, errors within a curve alike


def test_a_curve_does_not_know_its_zero():
    _, seen, station = curve_case(3)
    first = level_curve(0, 300 * DAY_NS, seen, (station,))
    seen.level_m = seen.level_m + 40.0
    higher = level_curve(0, 300 * DAY_NS, seen, (station,))
    np.testing.assert_allclose(higher.level_m, first.level_m, atol=0.02)
    assert first.level_m.mean() == pytest.approx(0.0, abs=1e-9)


def test_a_curve_of_nothing_is_refused():
    with pytest.raises(SolutionError, match="no pass"):
        level_curve(0, 100 * DAY_NS)
    with pytest.raises(SettingsError, match="two steps"):
        level_curve(0, DAY_NS)


def event(kind, onset_d, change=-1.0):
    return EventTimes(kind, int(onset_d * DAY_NS), int((onset_d + 5) * DAY_NS), change)


def test_a_lake_without_events_has_no_sightings():
    assert sightings(levels([50, 141], [0.0, 0.0]), []) == ()


def test_a_draining_is_seen_with_the_next_pass():
    passes = levels([0, 91, 182, 273], [0.0, 0.0, -2.0, -2.0])
    (found,) = sightings(passes, [event("drain", 100.0)])
    assert (found.verdict, found.before, found.after, found.known) == ("seen", 1, 2, 2)
    assert found.delay_d == pytest.approx(82.0)
    assert (found.width_d, found.holds_onset) == (pytest.approx(91.0), True)
    assert found.over_sigma == pytest.approx(-2.0 / (0.05 * np.sqrt(2.0)))


def test_a_lake_that_refills_between_passes_shows_nothing():
    passes = levels([0, 91, 182], [0.0, 0.0, 0.05])
    (found,) = sightings(passes, [event("drain", 100.0)])
    assert found.verdict == "not seen"
    assert np.isnan(found.delay_d)
    assert not found.holds_onset


def test_a_pass_must_lie_before_and_between():
    passes = levels([50, 141], [0.0, -2.0])
    events = [event("drain", 60.0), event("drain", 40.0), event("fill", 150.0)]
    first, second, third = sightings(passes, events)
    assert first.verdict == "no pass before it"
    assert second.verdict == "seen"
    assert third.verdict == "no pass after it"
    (crowded, _) = sightings(levels([50, 141], [0.0, 0.0]), [event("fill", 60), event("drain", 65)])
    assert crowded.verdict == "no pass before the next event"


def test_maps_give_inside_minus_around():
    lake = ellipse_outline("Plain", (0.0, 0.0), (3000.0, 2000.0))
    axis = np.arange(-9000.0, 9001.0, 500.0)
    place = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    inside = lake.contains(place).reshape(len(axis), len(axis))
    change = np.stack([np.where(inside, level + rise, rise)
                       for level, rise in ((0.0, 0.1), (-2.0, 0.3))])  # fmt: skip
    found = map_levels(axis, axis, [0, 1], change, lake, np.full(change.shape, 0.2))
    np.testing.assert_allclose(found.change_m, [0.0, -2.0], atol=1e-12)
    np.testing.assert_allclose(found.volume_m3(2.0e7), [0.0, -4.0e7], atol=1e-6)
    assert (found.sigma_m > 0.0).all()
    change[1][inside] = np.nan
    assert np.isnan(map_levels(axis, axis, [0, 1], change, lake).change_m[1])
    with pytest.raises(SolutionError, match="cells over it"):
        map_levels(axis + 1e5, axis, [0, 1], change, lake)
    with pytest.raises(SettingsError, match="expected"):
        map_levels(axis, axis, [0], change, lake)
