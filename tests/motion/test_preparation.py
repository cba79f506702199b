"""Equipment steps beside a daily rhythm of the flow: nothing of it is taken for steps."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.motion.motion_settings import MotionSettings
from stakeline.motion.solve import StationSeries, covariance_of, solve_motion
from stakeline.time import from_calendar

pytestmark = pytest.mark.compiled


def test_a_reset_of_metres_leaves_the_daily_rhythm_a_tide():
    # a reset that is left in would pass for a tide of centimetres; the numbers are invented
    rng = np.random.default_rng(8)
    time_ns = from_calendar(2015, 6, 1) + np.arange(0, 30 * NS_PER_DAY, NS_PER_DAY // 72)
    days = (time_ns - time_ns[0]) / NS_PER_DAY
    along = 1.3 * days + 0.03 * np.cos(2.0 * np.pi * days / 0.99727)
    enu = np.stack([0.6 * along, 0.8 * along, -0.02 * along], axis=1)
    enu += rng.normal(0.0, 1.0, enu.shape) * [0.003, 0.003, 0.009]
    reset_ns = time_ns[1300]
    enu[1300:] += [-3.5, 4.8, -0.3]
    series = StationSeries("HV01", time_ns, enu, covariance_of(np.full(enu.shape, 0.001)))
    motion = solve_motion(series, MotionSettings(interval_h=6.0))
    assert motion.steps.kind == ("equipment",)
    assert motion.steps.after_ns[0] == reset_ns
    # K1 with P1 inferred beats, so the tide is judged as a whole
    assert np.sqrt(2.0) * motion.along.tide_m.std() == pytest.approx(0.03, abs=0.003)
    assert motion.along.mean_velocity_m_d == pytest.approx(1.3, abs=0.002)


def test_a_reset_is_told_in_the_direction_of_the_ice_not_of_the_reset():
    # 1 m across in a month of 0.3 m/d turns the straight line through all positions by degrees
    rng = np.random.default_rng(9)
    time_ns = from_calendar(2015, 6, 1) + np.arange(0, 30 * NS_PER_DAY, NS_PER_DAY // 24)
    along = 0.3 * (time_ns - time_ns[0]) / NS_PER_DAY
    enu = np.stack([0.6 * along, 0.8 * along, 0.0 * along], axis=1)
    enu += rng.normal(0.0, 1.0, enu.shape) * [0.003, 0.003, 0.009]
    enu[350:] += [-0.8, 0.6, 0.4]  # to the left of the flow
    for logged in ((), (int(time_ns[350]),)):
        series = StationSeries(
            "HV09", time_ns, enu, covariance_of(np.full(enu.shape, 0.005)), logged_ns=logged
        )
        motion = solve_motion(series, MotionSettings(interval_h=6.0))
        assert motion.steps.kind == ("equipment",)
        assert motion.steps.size_m[0] == pytest.approx([0.0, 1.0, 0.4], abs=0.012)
        assert motion.across.position_m[-1] == pytest.approx(0.0, abs=0.02)


def test_rows_of_an_event_that_is_protected_stay():
    rng = np.random.default_rng(4)
    time_ns = from_calendar(2015, 6, 1) + np.arange(0, 20 * NS_PER_DAY, NS_PER_DAY // 24)
    enu = 0.3 * ((time_ns - time_ns[0]) / NS_PER_DAY)[:, None] * [0.6, 0.8, 0.0]
    enu = enu + rng.normal(0.0, 0.004, enu.shape)
    enu[200] += 0.5  # of an event, an hour long
    enu[300] += 0.5  # of nothing
    span = int(time_ns[199]), int(time_ns[201])
    series = StationSeries("HV01", time_ns, enu, covariance_of(np.full(enu.shape, 0.004)))
    settings = MotionSettings(interval_h=6.0, window_d=(1.0,))
    plain = solve_motion(series, settings)
    assert plain.cleaned.counts["spike"] == 2
    saved = solve_motion(replace(series, protect_ns=(span,)), settings)
    assert saved.cleaned.keep[200]
    assert not saved.cleaned.keep[300]
    counts = saved.cleaned.counts
    assert (counts["protected"], counts["spike"]) == (1, 1)
    assert sum(counts.values()) == len(time_ns)
