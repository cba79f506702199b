"""Measured hours: what is missing stays missing, still sensors and impossible values are found."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.weather_record import HOUR_NS, hourly_weather, still_runs

START_NS = 500_000 * HOUR_NS


def rows(count=300, seed=3):
    rng = np.random.default_rng(seed)
    time_ns = START_NS + HOUR_NS * np.arange(count)
    return time_ns, {
        "temperature_degC": -20.0 + rng.normal(size=count),
        "wind_m_s": np.abs(rng.normal(5.0, 2.0, count)) + 0.1,
    }


def test_rows_that_are_not_there_are_missing_never_zero():
    time_ns, columns = rows()
    keep = np.ones(300, bool)
    keep[40:90] = False
    found = hourly_weather(time_ns[keep], {k: v[keep] for k, v in columns.items()})
    assert np.isnan(found.wind_m_s[40:90]).all()
    assert np.isfinite(found.wind_m_s[~np.isnan(found.wind_m_s)]).sum() == 250
    assert np.isnan(found.pressure_hPa).all()
    assert any("longest gap 50 h" in note for note in found.notes)


def test_order_and_minutes_do_not_matter():
    time_ns, columns = rows()
    order = np.random.default_rng(1).permutation(300)
    late = time_ns[order] + HOUR_NS // 4
    turned = hourly_weather(late, {k: v[order] for k, v in columns.items()})
    straight = hourly_weather(time_ns, columns)
    assert turned.start_ns == straight.start_ns
    np.testing.assert_array_equal(turned.temperature_degC, straight.temperature_degC)


def test_several_rows_of_an_hour_are_averaged():
    time_ns, columns = rows()
    twice = hourly_weather(
        np.concatenate([time_ns, time_ns + 60 * 10**9]),
        {k: np.concatenate([v, v + 2.0]) for k, v in columns.items()},
    )
    np.testing.assert_allclose(twice.temperature_degC, columns["temperature_degC"] + 1.0)


def test_a_frozen_anemometer_is_found_and_a_calm_night_is_kept():
    time_ns, columns = rows()
    columns["wind_m_s"][10:40] = 0.0  # thirty hours of calm happen
    columns["wind_m_s"][100:160] = 0.0
    columns["wind_m_s"][200:215] = 7.3
    found = hourly_weather(time_ns, columns)
    assert (found.wind_m_s[10:40] == 0.0).all()
    assert np.isnan(found.wind_m_s[100:160]).all()
    assert np.isnan(found.wind_m_s[200:215]).all()
    assert any("2 times one value for hours, 75 h in all" in note for note in found.notes)


def test_what_no_air_has_is_missing():
    time_ns, columns = rows()
    columns["temperature_degC"][5] = -6999.0
    columns["wind_m_s"][7] = -1.0
    found = hourly_weather(time_ns, columns)
    assert np.isnan(found.temperature_degC[5])
    assert np.isnan(found.wind_m_s[7])
    assert any("outside -95 to 35" in note for note in found.notes)


def test_runs_are_those_of_one_value():
    values = np.array([1.0, 1.0, 1.0, 2.0, np.nan, np.nan, np.nan, 0.0, 0.0, 0.0])
    assert still_runs(values, 3) == [(0, 3), (7, 10)]
    assert still_runs(values, 3, 4) == [(0, 3)]


def test_nothing_at_all_is_refused():
    with pytest.raises(SettingsError, match="no rows"):
        hourly_weather(np.zeros(0, np.int64), {})
    time_ns, columns = rows()
    columns["wind_m_s"][:] = np.nan
    with pytest.raises(SettingsError, match="no wind_m_s at all in 300 hours"):
        hourly_weather(time_ns, columns)
