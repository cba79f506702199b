"""Logger rows on a grid of hours: sums are kept, silence is silence, absurd readings are none."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.errors import SettingsError
from stakeline.station.telemetry import DAY_H, hours_of

DAY = 22_000


def rows(step_s=600, days=3):
    time_ns = DAY * NS_PER_DAY + np.arange(0, days * 86400, step_s) * NS_PER_S
    hour = (time_ns - DAY * NS_PER_DAY) / 3.6e12
    return time_ns, {"battery_V": 12.5 + 0.1 * np.sin(hour), "load_A": np.full(hour.size, 0.2)}


def test_means_of_hours_keep_the_mean_of_days():
    time_ns, columns = rows()
    hours = hours_of(time_ns, columns)
    assert hours.days == 3
    np.testing.assert_allclose(hours.battery_V.mean(), columns["battery_V"].mean(), rtol=1e-12)
    assert (hours.rows == 6).all()


def test_order_of_rows_does_not_matter():
    time_ns, columns = rows()
    order = np.random.default_rng(1).permutation(time_ns.size)
    shuffled = hours_of(time_ns[order], {k: v[order] for k, v in columns.items()})
    np.testing.assert_allclose(shuffled.battery_V, hours_of(time_ns, columns).battery_V, rtol=1e-14)


def test_silence_is_no_reading_and_lowest_is_of_single_rows():
    time_ns, columns = rows()
    columns["battery_V"][3] = 10.2  # for ten minutes
    kept = (time_ns - DAY * NS_PER_DAY) // NS_PER_DAY != 1
    hours = hours_of(time_ns[kept], {k: v[kept] for k, v in columns.items()})
    assert (hours.rows[DAY_H : 2 * DAY_H] == 0).all()
    assert np.isnan(hours.battery_V[DAY_H : 2 * DAY_H]).all()
    assert hours.low_V[0] == 10.2


def test_time_of_readings_is_their_mean_and_the_middle_of_a_silent_hour():
    time_ns, columns = rows()
    assert (hours_of(time_ns, columns).read_ns == time_ns[::6] + 1500 * NS_PER_S).all()
    time_ns, columns = rows(step_s=3600)
    kept = np.arange(time_ns.size) != 30
    hours = hours_of(time_ns[kept], {k: v[kept] for k, v in columns.items()})
    np.testing.assert_array_equal(hours.read_ns[kept], time_ns[kept])
    assert hours.read_ns[30] == hours.time_ns[30]


def test_impossible_readings_are_missing_and_columns_not_there_are_nan():
    time_ns, columns = rows()
    columns["air_degC"] = np.full(time_ns.size, -6999.0)
    hours = hours_of(time_ns, columns)
    assert np.isnan(hours.air_degC).all()
    assert np.isnan(hours.wind_m_s).all()
    with pytest.raises(AttributeError):
        hours.colour  # noqa: B018


def test_net_current_is_zero_sum():
    time_ns, columns = rows()
    columns |= {"panel_A": np.full(time_ns.size, 0.5), "turbine_A": np.full(time_ns.size, 0.1)}
    np.testing.assert_allclose(hours_of(time_ns, columns).net_A, 0.4, atol=1e-12)


def test_first_days_are_those_of_the_whole():
    hours = hours_of(*rows())
    np.testing.assert_array_equal(hours.until(2).battery_V, hours.battery_V[: 2 * DAY_H])


def test_rows_and_lengths_are_asked_for():
    with pytest.raises(SettingsError, match="without rows"):
        hours_of(np.zeros(0, np.int64), {})
    with pytest.raises(SettingsError, match=r"load_A: 2 values for 432 times"):
        hours_of(rows()[0], {"load_A": np.zeros(2)})
