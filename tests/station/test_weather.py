"""Drawn weather by law: persistence as asked for, the season's own law, both hemispheres, a fit."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from stakeline.errors import SettingsError
from stakeline.station.weather import (
    CHUNK,
    MEMORY_H,
    SCORES,
    SKY_MEMORY_H,
    SMOOTH,
    USUAL_SHARES,
    climate_weather,
    cloud_table,
    course_correlation,
    course_steps,
    draw_chance,
    draw_weather,
    season_mean,
    season_place,
)
from stakeline.station.weather_fit import fit_weather
from stakeline.station.weather_record import HOUR_NS, HourlyWeather
from stakeline.time import from_calendar

START_NS = int(from_calendar(2031, 1, 1))
CLIMATE = {
    "south": True,
    "mean_degC": -25.0,
    "swing_K": 14.0,
    "spread_K": 6.0,
    "wind_m_s": 6.0,
    "wind_shape": 1.8,
    "wind_winter_share": 0.2,
    "cloud": 0.6,
    "pressure_hPa": 850.0,
}


def drawn(years, seed=1, hours=8760, **changed):
    model = climate_weather(**{**CLIMATE, **changed})
    return draw_weather(model, START_NS, years, np.random.default_rng(seed), hours)


@pytest.mark.parametrize("smooth", [False, True])
def test_a_course_keeps_what_its_formula_says(smooth):
    memory = np.array([7.0])
    first, second, gain = (part[0] for part in course_steps(memory, np.array([smooth])))
    # Yule-Walker: r_1 = first / (1 - second), r_k = first r_(k-1) + second r_(k-2)
    r = [1.0, first / (1.0 - second)]
    for _ in range(40):
        r.append(first * r[-1] + second * r[-2])
    stated = course_correlation(memory, np.array([smooth]), np.arange(42))[:, 0]
    np.testing.assert_allclose(r, stated, atol=1e-12)
    assert gain**2 == pytest.approx(1.0 - first * r[1] - second * r[2])


def test_shares_are_whole():
    assert np.sum(USUAL_SHARES, axis=1) == pytest.approx([1.0, 1.0])
    assert len(MEMORY_H) == len(SMOOTH)


@pytest.mark.compiled
def test_years_have_the_climate_asked_for():
    found = drawn(60)
    assert found.temperature_degC.mean() == pytest.approx(-25.0, abs=0.3)
    months = found.temperature_degC.mean(axis=0).reshape(12, 730).mean(axis=1)
    assert (months.max() - months.min()) / 2.0 == pytest.approx(14.0, abs=0.6)
    apart = found.temperature_degC - found.temperature_degC.mean(axis=0)
    assert apart.std() == pytest.approx(6.0, rel=0.05)
    assert found.wind_m_s.mean() == pytest.approx(6.0, rel=0.03)
    # Weibull of shape 1.8: mean cube over cube of the mean 2.14 (checks by its gamma functions);
    # the windier winter adds 3 m^2 / 2 of 0.2
    cube = (found.wind_m_s**3).mean() / found.wind_m_s.mean() ** 3
    assert cube == pytest.approx(2.1394 * (1.0 + 1.5 * 0.2**2), rel=0.06)
    assert found.cloud.mean() == pytest.approx(0.6, abs=0.02)
    assert (found.rime > 0.0).mean() == pytest.approx(0.05, abs=0.01)
    assert found.wind_m_s.min() >= 0.0


@pytest.mark.compiled
@pytest.mark.parametrize(("south", "coldest"), [(True, 7), (False, 1)])
def test_the_season_follows_the_hemisphere(south, coldest):
    found = drawn(5, south=south)
    month = found.temperature_degC.mean(axis=0).reshape(12, 730).mean(axis=1)
    assert abs((month.argmin() + 1 - coldest + 6) % 12 - 6) <= 1
    windiest = found.wind_m_s.mean(axis=0).reshape(12, 730).mean(axis=1)
    assert windiest[(coldest - 2) % 12 : (coldest - 2) % 12 + 3].mean() > windiest.mean()


def test_more_years_begin_with_the_same():
    few, more = drawn(2, hours=200), drawn(3, hours=200)
    np.testing.assert_array_equal(few.wind_m_s, more.wind_m_s[:2])


def test_a_season_goes_round_without_a_step():
    time_ns = START_NS + HOUR_NS * np.arange(2 * 8766)
    node, share, hour = season_place(time_ns)
    place = node + share
    assert np.abs((np.diff(place) + 6.0) % 12.0 - 6.0).max() < 0.01
    assert (hour[:24] == np.arange(24)).all()
    assert season_mean(np.array([3.0, 0, 0, 0, 0, 0, 0]), time_ns) == pytest.approx(3.0)


def record_of(found, missing=0.1):
    """Return years drawn, one after the other, as a record with holes."""
    rng = np.random.default_rng(9)
    air, wind = found.temperature_degC.ravel().copy(), found.wind_m_s.ravel().copy()
    for values in (air, wind):
        values[rng.uniform(size=values.size) < missing] = np.nan
    nothing = np.full(air.size, np.nan)
    return HourlyWeather(START_NS, air, wind, nothing, nothing)


@pytest.mark.compiled
def test_what_is_fitted_to_drawn_years_draws_such_years():
    truth = drawn(6, hours=8766)
    model = fit_weather(record_of(truth), cloud=0.6, pressure_hPa=850.0)
    again = draw_weather(model, START_NS, 40, np.random.default_rng(2))
    assert again.temperature_degC.mean() == pytest.approx(truth.temperature_degC.mean(), abs=0.5)
    assert again.wind_m_s.std() == pytest.approx(truth.wind_m_s.std(), rel=0.05)
    for lag in (1, 24):
        kept = [
            np.corrcoef(x[:, :-lag].ravel(), x[:, lag:].ravel())[0, 1]
            for x in (truth.wind_m_s, again.wind_m_s)
        ]
        assert kept[1] == pytest.approx(kept[0], abs=0.04)
    assert model.shares.sum(axis=1) == pytest.approx([1.0, 1.0])
    assert np.abs(model.joint).max() < 1.0


@pytest.mark.compiled
def test_a_restless_wind_keeps_its_law_and_is_smoother_in_storms():
    plain = climate_weather(**CLIMATE)
    wide = replace(plain, gusty=(0.3, 0.5))
    calm, restless = (
        draw_weather(replace(one, gusty=gusty), START_NS, 30, np.random.default_rng(3)).wind_m_s
        for one, gusty in ((plain, (0.0, 0.0)), (wide, wide.gusty))
    )
    shares = (0.05, 0.5, 0.95, 0.999)
    assert np.quantile(restless, shares) == pytest.approx(np.quantile(calm, shares), rel=0.03)

    def steps(wind):
        """Return the steps of the wind's normal score, low and high."""
        score = ndtri((wind.argsort(axis=None).argsort() + 0.5) / wind.size).reshape(wind.shape)
        step, level = np.abs(np.diff(score)), score[:, 1:]
        return step[level < -1.0].mean(), step[level > 1.0].mean()

    low, high = steps(calm)
    assert high == pytest.approx(low, rel=0.1)  # scores of all seasons together: not even
    low, high = steps(restless)
    assert high < 0.65 * low  # exp(-0.3 x 3) where all of the step is of brief courses


@pytest.mark.compiled
def test_how_restless_a_wind_is_is_found_again():
    model = replace(climate_weather(**CLIMATE), gusty=(0.2, 0.5))
    truth = draw_weather(model, START_NS, 6, np.random.default_rng(5), 8766)
    found = fit_weather(record_of(truth), cloud=0.6, pressure_hPa=850.0).gusty
    # the turn into normal numbers takes some of the first away, which the estimate leaves
    assert found == pytest.approx((0.2, 0.5), abs=0.1)
    still = draw_weather(
        replace(model, gusty=(0.0, 0.0)), START_NS, 6, np.random.default_rng(5), 8766
    )
    found = fit_weather(record_of(still), cloud=0.6, pressure_hPa=850.0).gusty
    assert found == pytest.approx((0.0, 0.0), abs=0.15)


@pytest.mark.compiled
@pytest.mark.parametrize("memory_h", [6.0, 60.0])
def test_cloud_is_drawn_by_its_season_and_memory(memory_h):
    model = replace(climate_weather(**CLIMATE), cloud_memory_h=memory_h)
    share = np.where(np.arange(12)[:, None] < 6, 0.3, 0.8)
    row = np.broadcast_to(ndtr(SCORES) + 1e-9 * SCORES, (12, SCORES.size))
    tables = model.tables.copy()
    tables[2] = np.clip(row + share - 0.5, 0.0, 1.0)
    model = replace(model, tables=tables)
    truth = draw_weather(model, START_NS, 4, np.random.default_rng(6), 8766)
    record = replace(record_of(truth), cloud=truth.cloud.ravel())
    found = fit_weather(record, cloud=0.0, pressure_hPa=850.0)
    assert found.cloud_memory_h == pytest.approx(memory_h, rel=0.3)
    # windows of 60 days see the step between the seasons at its sides
    assert found.tables[2][2:5].mean() == pytest.approx(tables[2][2:5].mean(), abs=0.03)
    assert found.tables[2][8:11].mean() == pytest.approx(tables[2][8:11].mean(), abs=0.03)
    assert any("by season, memory" in one for one in found.notes)
    again = draw_weather(found, START_NS, 20, np.random.default_rng(7))
    months = again.cloud.mean(axis=0).reshape(12, 730).mean(axis=1)
    assert months[8:11].mean() - months[2:5].mean() > 0.3
    air = draw_weather(replace(found, cloud_memory_h=24.0), START_NS, 20, np.random.default_rng(7))
    np.testing.assert_array_equal(air.temperature_degC, again.temperature_degC)


@pytest.mark.compiled
def test_cloud_of_some_weeks_has_one_law_and_a_still_sky_the_usual_memory():
    truth = drawn(2, hours=8766)
    nothing = np.full(truth.cloud.size, np.nan)
    weeks, clear = nothing.copy(), np.zeros(nothing.size)
    weeks[:2000] = truth.cloud.ravel()[:2000]
    found = fit_weather(replace(record_of(truth), cloud=weeks), pressure_hPa=850.0)
    assert np.ptp(found.tables[2], axis=0).max() == 0.0
    assert any("the same all year" in one for one in found.notes)
    still = fit_weather(replace(record_of(truth), cloud=clear), pressure_hPa=850.0)
    assert still.cloud_memory_h == SKY_MEMORY_H
    assert still.tables[2].max() == 0.0
    none = fit_weather(record_of(truth), cloud=0.6, pressure_hPa=850.0)
    assert none.cloud_memory_h == SKY_MEMORY_H
    np.testing.assert_array_equal(none.tables[2], cloud_table(0.6))


@pytest.mark.compiled
def test_rime_comes_in_its_season_and_as_often_as_told():
    truth = drawn(3, hours=8766)
    time_ns = START_NS + HOUR_NS * np.arange(truth.cloud.size)
    node, share, _ = season_place(time_ns)
    damp = np.where((node + share) % 12 < 6.0, 95.0, 60.0)
    record = replace(record_of(truth), humidity_percent=damp)
    found = fit_weather(record, cloud=0.6, pressure_hPa=850.0, rime_share=0.1).rime_share
    assert found.mean() == pytest.approx(0.1)
    assert found[1:5].min() > 5.0 * found[7:11].max()
    model = replace(climate_weather(**CLIMATE), rime_share=found)
    drawn_rime = draw_weather(model, START_NS, 60, np.random.default_rng(8)).rime > 0.0
    assert drawn_rime.mean() == pytest.approx(0.1, abs=0.01)
    months = drawn_rime.mean(axis=0).reshape(12, 730).mean(axis=1)
    assert months[1:5].mean() > 5.0 * months[7:11].mean()
    dry = replace(record, humidity_percent=np.full(damp.size, 40.0))
    assert fit_weather(dry, cloud=0.6, pressure_hPa=850.0, rime_share=0.1).rime_share == 0.1
    even = replace(model, rime_share=np.full(12, 0.05))
    same = [draw_weather(one, START_NS, 2, np.random.default_rng(8)).rime
            for one in (even, replace(model, rime_share=0.05))]  # fmt: skip
    np.testing.assert_array_equal(*same)
    none = draw_weather(replace(model, rime_share=0.0), START_NS, 1, np.random.default_rng(8))
    assert (none.rime == 0.0).all()


def test_too_few_hours_are_refused():
    nothing = np.full(3000, np.nan)
    few = HourlyWeather(START_NS, np.zeros(3000), np.ones(3000), nothing, nothing)
    with pytest.raises(SettingsError, match="3000 hours with temperature and wind"):
        fit_weather(few)


def test_a_season_without_measurements_is_refused():
    rng = np.random.default_rng(4)
    air, wind = rng.normal(size=(2, 8760))
    wind = np.abs(wind)
    air[2000:6000] = np.nan
    nothing = np.full(8760, np.nan)
    with pytest.raises(SettingsError, match="hours of temperature in the two months"):
        fit_weather(HourlyWeather(START_NS, air, wind, nothing, nothing), pressure_hPa=900.0)


def test_no_years_are_refused():
    with pytest.raises(SettingsError, match="0 years of 8760 h"):
        drawn(0)


def test_chance_drawn_before_gives_the_same_years():
    hours, years = 48, CHUNK + 3  # more than are drawn at once
    model = climate_weather(**CLIMATE)
    chance = draw_chance(years, model.memory_h.size + 1, np.random.default_rng(4), hours)
    plain = draw_weather(model, START_NS, years, np.random.default_rng(4), hours)
    for _ in range(2):  # it is not used up
        found = draw_weather(model, START_NS, years, None, hours, chance=chance)
        for name in ("temperature_degC", "wind_m_s", "cloud", "rime"):
            np.testing.assert_array_equal(getattr(found, name), getattr(plain, name))
    with pytest.raises(SettingsError, match=r"chance of \(53, 50, 2, 6\): expected \(52, 50"):
        draw_weather(model, START_NS, years - 1, None, hours, chance=chance)
