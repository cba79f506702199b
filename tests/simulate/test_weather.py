import numpy as np
import pytest

from stakeline.simulate.chance import stream
from stakeline.simulate.ground import Place
from stakeline.simulate.snow import (
    FIRST_PACK_M,
    FRESH,
    ICE,
    MELT_ICE_M_K_D,
    MELT_SNOW_M_K_D,
    SETTLED,
    SETTLING_H,
    snow_cover,
)
from stakeline.simulate.weather import make_region, make_weather, persistent
from stakeline.time import from_calendar

START_NS = from_calendar(2030, 5, 1)
DAY_S = 86400.0


def place_at(height_m, latitude_deg=79.1):
    return Place(np.radians(latitude_deg), np.radians(-22.0), height_m)


def weather_of(seed, name="HV01", height_m=100.0, days=504, accumulation_m_a=0.6):
    region = make_region(stream(seed, "weather"), START_NS, days)
    rng = stream(seed, name, "weather")
    return region, make_weather(region, rng, place_at(height_m), accumulation_m_a)


@pytest.fixture(scope="module")
def years():
    return [weather_of(seed, days=366)[1] for seed in range(20)]


def test_a_longer_campaign_begins_as_the_shorter():
    (_, short), (_, long) = weather_of(4, days=200), weather_of(4, days=504)
    for name in ("temperature_degC", "wind_m_s", "cloud", "rime", "snowfall_m_h", "melt_m_h"):
        assert np.array_equal(getattr(short, name), getattr(long, name)[: short.time_s.size])
    at = np.linspace(0.0, 199 * DAY_S, 999)
    assert np.array_equal(short.snow_surface_m(at), long.snow_surface_m(at))


def between(weather, first_day, last_day):
    day = weather.time_s / DAY_S
    return (day >= first_day) & (day < last_day)


def test_one_seed_repeats_and_two_differ():
    (_, one), (_, same), (_, other) = weather_of(1), weather_of(1), weather_of(2)
    for name in ("temperature_degC", "wind_m_s", "cloud", "rime", "pressure_Pa", "snowfall_m_h"):
        assert getattr(one, name).tobytes() == getattr(same, name).tobytes()
        assert not np.array_equal(getattr(one, name), getattr(other, name))
    at = np.linspace(0.0, 504 * DAY_S, 999)
    assert one.snow_surface_m(at).tobytes() == same.snow_surface_m(at).tobytes()


def test_winter_and_summer_are_those_of_the_invented_glacier(years):
    # Invented climate: winter mean -28, cold spells to -50, July about +1 at the low stations
    winter = [
        y.temperature_degC[between(y, 214, 304)].mean() for y in years
    ]  # December to February
    july = [y.temperature_degC[between(y, 61, 92)].mean() for y in years]
    coldest = [y.temperature_degC.min() for y in years]
    assert np.mean(winter) == pytest.approx(-28.0, abs=1.5)
    assert np.mean(july) == pytest.approx(1.0, abs=0.7)
    assert np.median(coldest) == pytest.approx(-50.0, abs=4.0)
    assert min(coldest) > -65.0


def test_it_is_colder_higher_up():
    low, high = (weather_of(3, height_m=h)[1] for h in (100.0, 1100.0))
    # The station's own stream is the same, so only height differs: 6 K by kilometre
    assert low.temperature_degC - high.temperature_degC == pytest.approx(6.0)
    ratio = high.pressure_Pa / low.pressure_Pa
    # Law of heights, R T / g: 8.4 km at 288 K (ISO 2533), so 6.1 km at 210 K
    assert np.all((ratio > np.exp(-1000 / 6100)) & (ratio < np.exp(-1000 / 8600)))


def test_winds_of_great_storms(years):
    strongest = [y.wind_m_s.max() for y in years]
    # Invented: 35 to 45 m/s a few times a winter, each for one to three days
    assert 36.0 < np.median(strongest) < 46.0
    assert max(strongest) < 52.0
    assert all(y.wind_m_s.min() > 0.0 for y in years)
    assert 4.0 < np.mean([y.wind_m_s.mean() for y in years]) < 10.0


def test_a_great_storm_hits_all_stations():
    region, _ = weather_of(5)
    stations = [
        make_weather(region, stream(5, f"HV{k:02d}", "weather"), place_at(100.0 * k))
        for k in range(1, 8)
    ]
    great = [storm for storm in region.storms if storm.peak_m_s > 33.0]
    assert great
    for storm in (s for s in great if s.end_s < 504 * DAY_S):
        assert DAY_S <= storm.end_s - storm.begin_s <= 3 * DAY_S
        middle = 0.5 * (storm.begin_s + storm.end_s)
        assert all(w.at("wind_m_s", middle) > 27.0 for w in stations)
    calm = region.storm_m_s == 0.0
    one, other = stations[0].wind_m_s[calm], stations[1].wind_m_s[calm]
    assert 0.3 < np.corrcoef(one, other)[0, 1] < 0.95


def test_persistence_is_exponential():
    values = persistent(np.random.default_rng(1), 200_000, 24.0)
    assert values.std() == pytest.approx(1.0, abs=0.05)
    for lag in (6, 24, 48):
        found = np.mean(values[lag:] * values[:-lag])
        assert found == pytest.approx(np.exp(-lag / 24.0), abs=0.06)  # the process's own law
    starts = [persistent(np.random.default_rng(s), 3, 24.0)[0] for s in range(2000)]
    assert np.std(starts) == pytest.approx(1.0, abs=0.06)  # stationary from its first value


def test_a_mean_year_brings_the_snow_asked_for(years):
    fall = [y.snowfall_m_h[:-1].sum() for y in years]
    assert np.mean(fall) == pytest.approx(0.6, rel=0.12)


def test_stations_of_much_snow_get_more():
    fall = [weather_of(2, accumulation_m_a=a)[1].snowfall_m_h for a in (0.4, 0.8)]
    assert fall[1] == pytest.approx(2.0 * fall[0])


def test_shares_stay_shares(years):
    for year in years:
        for values in (year.cloud, year.rime, year.humidity_percent / 100.0):
            assert values.min() >= 0.0
            assert values.max() <= 1.0
        assert year.rime.max() > 0.3


def test_snow_surface_begins_at_nothing_and_stays_between_its_hours():
    _, weather = weather_of(4, days=60)
    assert weather.snow_surface_m(0.0) == 0.0
    hours = weather.snow_surface_m(weather.time_s)
    within = weather.snow_surface_m(weather.time_s[:-1] + 1300.0)
    low, high = np.minimum(hours[:-1], hours[1:]), np.maximum(hours[:-1], hours[1:])
    assert np.all((within >= low - 1e-12) & (within <= high + 1e-12))
    assert weather.snow_surface_m(1e12) == hours[-1]


def test_a_storm_raises_the_snow_by_what_falls():
    fall, rise = [], []
    for seed in range(6):
        region, weather = weather_of(seed, accumulation_m_a=1.5)
        for storm in region.storms:
            hours = (weather.time_s >= storm.begin_s) & (weather.time_s <= storm.end_s)
            span = np.clip([storm.begin_s, storm.end_s], 0.0, weather.time_s[-1])
            if weather.melt_m_h[hours].sum() == 0.0:
                fall.append(weather.snowfall_m_h[hours].sum())
                rise.append(np.diff(weather.snow_surface_m(span))[0])
    # Law: fresh snow stands as high as it falls, less what settles in a storm's one to three days
    assert np.polyfit(fall, rise, 1)[0] == pytest.approx(1.0, abs=0.2)


def still_snow(temperature_degC, snowfall_m_h):
    return snow_cover(
        np.random.default_rng(0), temperature_degC, np.zeros(temperature_degC.size), snowfall_m_h
    )


def test_fresh_snow_settles_to_the_density_of_old_snow():
    hours = int(40 * SETTLING_H)
    snowfall = np.zeros(hours)
    snowfall[10] = 0.3
    surface, melt = still_snow(np.full(hours, -20.0), snowfall)
    # Law of mass: height times density stays
    assert surface[9] == pytest.approx(0.0, abs=1e-12)
    lying = (FIRST_PACK_M + 0.3 * FRESH) / (FIRST_PACK_M + 0.3 * FRESH + 0.02)
    loose = 0.3 * (1.0 - FRESH / SETTLED)
    assert surface[10] == pytest.approx(0.3 * FRESH / SETTLED + lying * loose)
    assert surface[-1] == pytest.approx(0.3 * FRESH / SETTLED, abs=1e-9)
    assert np.all(melt == 0.0)


def test_snow_melts_first_and_ice_after_it():
    hours, warm = 24 * 30, 4.0
    surface, melt = still_snow(np.full(hours, warm), np.zeros(hours))
    # By hand, Hock (2003) equation 1: the snow is gone after pack / (4 K x factor) days
    snow_days = FIRST_PACK_M / (MELT_SNOW_M_K_D * warm)
    ice_m = (30.0 - snow_days) * MELT_ICE_M_K_D * warm
    assert melt.sum() == pytest.approx(FIRST_PACK_M + ice_m)
    first = (FIRST_PACK_M - MELT_SNOW_M_K_D * warm / 24.0) / SETTLED
    assert surface[-1] == pytest.approx(-first - ice_m / ICE)


def test_water_is_neither_made_nor_lost():
    rng = np.random.default_rng(7)
    temperature = 3.0 * rng.standard_normal(5000)
    snowfall = 0.004 * (rng.uniform(size=5000) < 0.1)
    surface, melt = still_snow(temperature, np.where(temperature < 0.0, snowfall, 0.0))
    assert np.all(melt >= -1e-15)
    assert np.all(np.isfinite(surface))
    warmth = np.maximum(temperature, 0.0).sum() / 24.0
    assert MELT_SNOW_M_K_D * warmth <= melt.sum() <= MELT_ICE_M_K_D * warmth
