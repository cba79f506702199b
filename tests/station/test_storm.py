"""Air density, profile, gusts and extremes: by law, then published values."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import storm


@pytest.mark.parametrize(
    ("pressure_hPa", "temperature_degC", "expected_kg_m3"),
    [
        (1013.25, 15.0, 1.2250),  # ISO 2533, sea level; the rest is arithmetic of the same law
        (1000.0, -40.0, 1.4942),
        (850.0, -40.0, 1.2701),
        (700.0, -50.0, 1.0928),
        (680.0, -60.0, 1.1114),
    ],
)
def test_density_of_dry_air(pressure_hPa, temperature_degC, expected_kg_m3):
    assert storm.air_density(pressure_hPa, temperature_degC) == pytest.approx(
        expected_kg_m3, abs=5e-5
    )


def test_pressure_falls_as_its_column_weighs():
    step = 1.0
    upper, lower = storm.pressure_at(np.array([2000.5, 1999.5]), -30.0)
    middle = storm.pressure_at(2000.0, -30.0)
    weight = storm.air_density(middle, -30.0) * storm.GRAVITY_M_S2 * step
    assert 100.0 * (lower - upper) == pytest.approx(weight, rel=1e-6)
    assert storm.pressure_at(0.0, -30.0) == 1013.25


@pytest.mark.parametrize(("speed", "pressure"), [(40, 980.8), (50, 1532.5), (60, 2206.8)])
def test_pressure_of_wind(speed, pressure):
    # ASCE 7: q = 0.613 V^2 [Pa], that is 1.226 kg/m3
    assert storm.dynamic_pressure(speed, 1.226) == pytest.approx(pressure, abs=0.1)
    cold = storm.air_density(1000.0, -40.0)
    assert storm.dynamic_pressure(50.0, cold) == pytest.approx(1867.7, abs=0.1)


def test_twice_the_wind_is_four_times_the_pressure():
    assert storm.dynamic_pressure(80.0, 1.3) == 4.0 * storm.dynamic_pressure(40.0, 1.3)


def test_profile_there_and_back():
    up = storm.speed_at_height(20.0, 3.0, 10.0)
    assert up > 20.0
    assert storm.speed_at_height(up, 10.0, 3.0) == pytest.approx(20.0, rel=1e-14)
    # equal steps of the logarithm add equal speeds
    speeds = storm.speed_at_height(20.0, 3.0, np.array([1.0, 2.0, 4.0, 8.0]))
    assert np.allclose(np.diff(speeds), np.diff(speeds)[0], rtol=1e-12)


def test_gusts_fall_towards_the_mean_high_up_and_over_smooth_ground():
    factors = storm.gust_factor(np.array([1.0, 3.0, 10.0, 1e6]))
    assert np.all(np.diff(factors) < 0.0)
    assert factors[-1] < 1.2
    assert storm.gust_factor(3.0, 1e-4) < storm.gust_factor(3.0, 1e-2)
    # EN 1991-1-4, figure 4.2 (from memory): terrain 0 at 10 m, exposure 3.0 = gust^2 x mean^2
    mean = 0.156 * np.log(10.0 / 0.003)
    assert (storm.gust_factor(10.0, 0.003) * mean) ** 2 == pytest.approx(3.0, abs=0.05)


def test_extremes_come_back_from_their_own_law():
    law = storm.Extremes(35.0, 4.0)
    draws = np.random.default_rng(3).gumbel(35.0, 4.0, (4000, 20))
    found = np.array([storm.fit_extremes(one).once_in(50.0) for one in draws])
    truth = law.once_in(50.0)
    sigma = storm.Extremes(35.0, 4.0, 20).sigma_once_in(50.0)
    assert found.mean() == pytest.approx(truth, abs=4.0 * sigma / np.sqrt(4000))
    assert found.std() == pytest.approx(sigma, rel=0.10)
    assert np.isnan(law.sigma_once_in(50.0))


def test_return_period_is_what_it_says():
    law = storm.Extremes(35.0, 4.0)
    speed = law.once_in(50.0)
    assert law.chance_of(speed) == pytest.approx(1.0 / 50.0, rel=1e-12)
    assert law.chance_of(speed, 50.0) == pytest.approx(1.0 - (1.0 - 1.0 / 50.0) ** 50, rel=1e-12)
    assert law.once_in(100.0) > speed


def test_a_year_without_a_maximum_counts_for_nothing():
    years = [31.0, 35.0, 40.0, 33.0, 36.5, 38.0]
    assert storm.fit_extremes([*years, np.nan]) == storm.fit_extremes(years)


def storms_at_random(rng, years, each_a=40.0, scale=3.0, above=12.0):
    """Return peaks of storms: at random times, exponential above a speed."""
    return above + rng.exponential(scale, rng.poisson(each_a * years))


def test_storms_come_back_as_the_yearly_maxima_that_they_make():
    # Poisson storms of exponential excess: yearly maxima are a Gumbel law, mode above + s ln rate
    rng, truth = np.random.default_rng(8), storm.Extremes(12.0 + 3.0 * np.log(40.0), 3.0)
    found = [storm.fit_storms(storms_at_random(rng, 3.0), 3.0) for _ in range(1500)]
    level = np.array([one.once_in(50.0) for one in found])
    sigma = np.mean([one.sigma_once_in(50.0) for one in found])
    assert level.mean() == pytest.approx(truth.once_in(50.0), abs=0.3)
    assert level.std() == pytest.approx(sigma, rel=0.10)
    maxima = [storms_at_random(rng, 1.0).max() for _ in range(1500)]
    assert storm.fit_extremes(maxima).once_in(50.0) == pytest.approx(level.mean(), abs=0.6)


def test_longer_records_are_surer():
    short, long = (storm.Extremes(20.0, 3.0, years, int(10 * years)) for years in (2.0, 8.0))
    assert long.sigma_once_in(50.0) == pytest.approx(short.sigma_once_in(50.0) / 2.0)


def test_a_storm_counts_once_and_a_hole_is_no_calm():
    hours = np.full(1000, 3.0)
    hours[100:103] = 20.0, 22.0, 22.0  # one storm, its largest hour twice
    hours[130] = 21.0  # the same storm's second breath
    hours[400] = 18.0
    hours[500:600] = np.nan
    peaks = storm.storm_peaks(hours)
    assert sorted(peaks)[-2:] == [18.0, 22.0]
    assert np.sum(peaks > 15.0) == 2
    assert np.isfinite(peaks).all()


def test_yearly_maxima_want_their_year():
    year = int(storm.YEAR_H)
    hours = np.full(3 * year + 100, 5.0)
    hours[10], hours[year + 10], hours[2 * year + 50] = 30.0, 40.0, 50.0
    hours[year + 1000 : year + 3000] = np.nan
    found = storm.yearly_maxima(hours)
    assert found[[0, 2]].tolist() == [30.0, 50.0]
    assert np.isnan(found[1])
    assert storm.yearly_maxima(hours[: year - 1]).size == 0


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: storm.air_density(-1.0, 0.0), "expected a positive pressure"),
        (lambda: storm.speed_at_height(10.0, 3.0, 0.0), "above the roughness length"),
        (lambda: storm.gust_factor(0.002), "three times the roughness"),
        (lambda: storm.fit_extremes([30.0, 31.0]), "2 yearly maxima of wind: expected at least 5"),
        (lambda: storm.fit_storms(np.arange(90.0), 0.5), "expected a year at least"),
        (lambda: storm.fit_storms(np.arange(15.0), 2.0), "15 storms of 2.0 years"),
        (lambda: storm.Extremes(30.0, 4.0).once_in(1.0), "expected more than 1"),
    ],
)
def test_impossible_weather_is_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()
