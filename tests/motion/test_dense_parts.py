"""Records of the hour that have some days of every minute: means, covariances, no false steps."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from stakeline.constants import NS_PER_DAY
from stakeline.motion.dense_parts import brought, record_interval_ns
from stakeline.motion.solve import MotionSettings, StationSeries, covariance_of, solve_motion
from stakeline.time import from_iso

START = from_iso("2031-05-01")
SIGMA = np.array([0.006, 0.006, 0.015])
HOUR = NS_PER_DAY // 24
MINUTE = HOUR // 60
QUICK = MotionSettings(window_d=(1.0,), long_noise_m=(0.0, 0.0, 0.0))


def times_of(*parts):
    """Return times of parts (first day, last day, distance [ns])."""
    return np.concatenate([START + np.arange(a * NS_PER_DAY, b * NS_PER_DAY, step, np.int64)
                           for a, b, step in parts])  # fmt: skip


def invented(time_ns, seed=1, speed=0.3, hours=0.7):
    """Return a StationSeries that moves evenly: white noise, and errors that last for two hours.

    ``hours``: share of the sigma that is of hours.
    """
    rng = np.random.default_rng(seed)
    days = (time_ns - time_ns[0]) / NS_PER_DAY
    kept = np.exp(-np.diff(days) * 12.0)[:, None]
    lasting = rng.normal(0.0, 1.0, (len(days), 3))
    for k in range(1, len(days)):
        new = np.sqrt(1.0 - kept[k - 1] ** 2) * lasting[k]
        lasting[k] = kept[k - 1] * lasting[k - 1] + new
    noise = hours * lasting + np.sqrt(1.0 - hours**2) * rng.normal(0.0, 1.0, lasting.shape)
    enu = speed * days[:, None] * [0.6, 0.8, -0.02] + noise * SIGMA
    return StationSeries("HV05", time_ns, enu, covariance_of(np.tile(SIGMA, (len(days), 1))))


def merged(series, longest_h=1.0):
    return brought(series, np.zeros_like(series.enu_m), longest_h)


@pytest.mark.parametrize(
    "parts",
    [
        [(0, 4, MINUTE)],
        [(0, 40, HOUR)],
        [(day, day + 0.1, MINUTE) for day in range(20)],  # two hours each day
        [(0, 30, NS_PER_DAY), (30, 90, HOUR)],  # daily in winter: hours are what results have
    ],
)
def test_records_without_a_dense_part_come_back_as_they_are(parts):
    series = invented(times_of(*parts))
    found = merged(series)
    assert found.rows is series
    assert not found.notes


def test_the_interval_is_the_longest_of_a_tenth_of_the_time():
    assert record_interval_ns(times_of((0, 20, HOUR), (20, 22, MINUTE))) == HOUR
    assert record_interval_ns(times_of((0, 2, HOUR), (2, 6, MINUTE))) == HOUR
    assert record_interval_ns(times_of((0, 2, HOUR), (2, 26, MINUTE))) == MINUTE


@pytest.mark.parametrize("hours", [0.0, 0.7, 1.0])
def test_scatter_of_means_is_what_their_covariance_says(hours):
    time_ns = times_of((0, 60, HOUR), (60, 100, 2 * MINUTE))
    series = invented(time_ns, hours=hours, speed=0.0)
    rows = merged(series).rows
    dense = rows.time_ns > START + 60 * NS_PER_DAY + 2 * HOUR
    assert dense.sum() == pytest.approx(40 * 24, abs=3)
    assert np.diff(rows.time_ns).max() <= 1.1 * HOUR
    variance = np.einsum("nii->ni", rows.covariance_m2)
    ratio = (rows.enu_m[dense] ** 2).mean(axis=0) / variance[dense].mean(axis=0)
    # errors of 2 h shrink by a seventh in an hour, which is not counted on; 480 independent
    # hours and more, three axes: 3 sigma of a variance are 0.2
    assert np.all((ratio > 0.6) & (ratio < 1.2))
    assert np.array_equal(rows.enu_m[:1440], series.enu_m[:1440])


def test_a_short_interval_keeps_short_means_and_says_so():
    series = invented(times_of((0, 20, HOUR), (20, 22, MINUTE)))
    found = merged(series, 0.1)
    assert len(found.rows) == pytest.approx(20 * 24 + 2 * 240, abs=3)
    assert "as means over 0.1 h" in found.notes[0]
    assert any("interval_h is short" in note for note in found.notes)
    raw = merged(series, 1.0 / 60.0)
    assert raw.rows is series
    assert "2879 positions stay denser" in raw.notes[0]
    assert not any("is short" in note for note in merged(series).notes)


def test_means_have_times_and_positions_of_their_rows_and_jumps_part_them():
    time_ns = times_of((0, 20, HOUR), (20, 22, MINUTE))
    even = invented(time_ns, speed=5.0)
    even = replace(even, enu_m=5.0 * ((time_ns - START) / NS_PER_DAY)[:, None] * [0.6, 0.8, 0.0])
    rows = merged(even).rows
    days = (rows.time_ns - START) / NS_PER_DAY
    assert rows.enu_m[:, 0] == pytest.approx(3.0 * days, abs=1e-9)
    reset_ns = START + 21 * NS_PER_DAY + 20 * MINUTE
    for logged in ((), (reset_ns,), ((reset_ns, reset_ns + 1),)):
        moved = invented(time_ns, speed=0.0)
        moved.enu_m[time_ns >= reset_ns] += 1.0
        rows = merged(replace(moved, logged_ns=logged)).rows
        assert not np.any((rows.enu_m[:, 0] > 0.1) & (rows.enu_m[:, 0] < 0.9))


def of_two_sources(parts, speed):
    """Return a StationSeries: dense rows smooth over minutes, hourly ones white with long tails."""
    rng = np.random.default_rng(1)
    time_ns = times_of(*parts)
    knots = np.arange(time_ns[0] - HOUR, time_ns[-1] + 3 * HOUR, HOUR)
    lasting = CubicSpline(knots.astype(float), invented(knots, 2, 0.0, 1.0).enu_m)
    smooth = lasting(time_ns.astype(float))
    white = 0.7 * SIGMA * rng.standard_t(5, (len(time_ns), 3))
    dense = np.concatenate([np.full((b - a) * NS_PER_DAY // d, d < HOUR) for a, b, d in parts])
    even = speed * ((time_ns - START) / NS_PER_DAY)[:, None] * [0.6, 0.8, -0.02]
    enu = even + np.where(dense[:, None], 0.5 * smooth, 0.3 * smooth + white)
    return replace(invented(time_ns), enu_m=enu)


@pytest.mark.compiled
@pytest.mark.parametrize("speed", [0.0, 0.3])
def test_two_dense_days_make_no_steps_and_no_other_speed(speed):
    motion = solve_motion(of_two_sources([(0, 38, HOUR), (38, 40, MINUTE)], speed), QUICK)
    without = solve_motion(of_two_sources([(0, 38, HOUR)], speed), QUICK)
    assert not len(motion.steps)
    sigma = np.hypot(motion.along.mean_velocity_sigma_m_d, without.along.mean_velocity_sigma_m_d)
    apart = motion.along.mean_velocity_m_d - without.along.mean_velocity_m_d
    assert abs(apart) < 2.0 * sigma
    assert abs(motion.along.mean_velocity_m_d - speed) < 3.0 * sigma
    assert any("as means over 1 h" in note for note in motion.notes)


@pytest.mark.compiled
def test_a_noisier_hourly_part_of_a_dense_record_makes_no_steps():
    series = of_two_sources([(0, 12, 10 * MINUTE), (12, 17, HOUR)], 0.3)
    motion = solve_motion(series, QUICK)
    assert not len(motion.steps)
    assert any("times (east, north, up)" in note for note in motion.notes)
    rows = merged(series).rows
    sigma = np.sqrt(np.einsum("nii->ni", rows.covariance_m2)) / SIGMA
    # sigmas of the means stay, so that those of the hours say how many times as much they scatter
    scatter = [np.median(np.abs(np.diff(rows.enu_m[part], n=2, axis=0)), axis=0)
               for part in (slice(20, 280), slice(295, None))]  # fmt: skip
    assert sigma[20:280] == pytest.approx(1.0, abs=0.01)
    assert sigma[-1] == pytest.approx(scatter[1] / scatter[0], rel=0.15)


@pytest.mark.compiled
def test_a_reset_within_the_dense_part_is_found_and_told_within_minutes():
    series = invented(times_of((0, 17, HOUR), (17, 19, MINUTE), (19, 36, HOUR)))
    reset_ns = START + 18 * NS_PER_DAY + 20 * MINUTE
    series.enu_m[series.time_ns >= reset_ns] += [-0.3, 0.4, -0.2]
    motion = solve_motion(series, QUICK)
    assert motion.steps.kind == ("equipment",)
    assert motion.steps.before_ns[0] < reset_ns <= motion.steps.after_ns[0] + HOUR // 2
    assert np.linalg.norm(motion.steps.size_m[0]) == pytest.approx(0.54, abs=0.02)
    assert any("as means over 1 h" in note for note in motion.notes)
