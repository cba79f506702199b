"""The climate of the air: the published grid's own numbers, and how the compact model follows."""

import numpy as np
import pytest

from stakeline.earth.climate import climate, climate_from_grid, pressure_ratio, season
from stakeline.earth.troposphere import zenith_hydrostatic_m
from stakeline.formats.gpt3_grid import read
from stakeline.time import from_calendar, from_mjd

# Printed by the scripts that go with Landskron & Boehm (2018), as public test suites quote them:
# MJD, latitude, longitude [deg], height [m]; pressure [hPa], temperature [deg C], vapour [hPa],
# mean temperature [K], decrease factor, ah, aw
PUBLISHED = [
    (
        *(56141.0, 48.20, 16.37, 156.0),
        *(1002.577297099, 22.060239452, 16.676583415, 281.064766962, 2.697732327),
        *(0.001258154, 0.000568212),
    ),
    (
        *(58940.0, 77.5, 137.5, 0.0),
        *(1019.900868185, -18.589601195, 1.251369020, 250.211896532, 1.813332081),
        *(0.001171577, 0.000574057),
    ),
    (
        *(58940.0, 80.0, 120.0, 100.0),
        *(1005.387362480, -19.730175236, 1.034448353, 249.451317840, 1.664833031),
        *(0.001169367, 0.000577807),
    ),
]


def values(air):
    return np.array(
        [
            *(air.pressure_hPa[0], air.temperature_K[0] - 273.15, air.vapour_hPa[0]),
            *(air.mean_temperature_K[0], air.wet_lapse[0], air.ah[0], air.aw[0]),
        ]
    )


@pytest.fixture(scope="module")
def grid(reference_data):
    return read(reference_data / "gnss" / "auxiliary" / "troposphere" / "gpt3_5.grd.gz")


@pytest.mark.real
@pytest.mark.parametrize("row", PUBLISHED)
def test_grid_gives_the_published_numbers(grid, row):
    air = climate_from_grid(grid, np.radians(row[1]), np.radians(row[2]), row[3], from_mjd(row[0]))
    np.testing.assert_allclose(values(air), row[4:], rtol=0, atol=1e-8)


@pytest.mark.parametrize("row", PUBLISHED)
def test_compact_model_is_near_the_published_numbers(row):
    air = climate(np.radians(row[1]), np.radians(row[2]), row[3], from_mjd(row[0]))
    # three times the rms of the compact model, data/README.md
    tolerance = np.array([2.2, 6.0, 3.7, 3.0, 0.6, 4e-6, 5e-5])
    assert (np.abs(values(air) - row[4:]) < tolerance).all()


@pytest.mark.real
def test_compact_model_on_an_ice_sheet(grid):
    # the interior of both ice sheets, winter and summer: 2 hPa is 5 mm of zenith delay
    when = from_calendar(2021, 1, 15) + np.array([0, 182]) * 86_400_000_000_000
    for latitude_deg, longitude_deg, height_m in ((72.6, -38.5, 3260.0), (-75.1, 123.3, 3270.0)):
        place = np.radians(latitude_deg), np.radians(longitude_deg), height_m
        ours, theirs = climate(*place, when), climate_from_grid(grid, *place, when)
        assert np.abs(ours.pressure_hPa - theirs.pressure_hPa).max() < 4.0


def test_pressure_falls_as_the_standard_atmosphere():
    # ISO 2533: 1013.25 hPa, 288.15 K at 0 m; 701.09 hPa at 3000 m (10 K are added inside)
    assert abs(1013.25 * pressure_ratio(278.15, 3000.0) - 701.09) < 0.2


def test_zenith_delay_at_the_sea_is_plausible():
    # 2.3 m at the sea the world over: e.g. Davis et al. (1985)
    for latitude_deg in range(-80, 81, 20):
        latitude = np.radians(latitude_deg)
        air = climate(latitude, 0.5, 0.0, from_calendar(2022, 6, 1))
        assert 2.20 < zenith_hydrostatic_m(air.pressure_hPa[0], latitude, 0.0) < 2.36


def test_season_counts_days_of_the_year():
    # 365.25 d is a turn: on 1 April (day 91, or 91.3125 after 7.5 h) the cosine is almost zero
    row = season(np.array([from_calendar(2021, 4, 1, 7, 30)]))[0]
    np.testing.assert_allclose(row, [1.0, 0.0, 1.0, -1.0, 0.0], atol=1e-12)


def test_vapour_is_positive_and_poles_are_regular():
    for latitude in (np.pi / 2, -np.pi / 2):
        a, b = (climate(latitude, lon, 2800.0, from_calendar(2022, 7, 1)) for lon in (0.0, 2.0))
        assert a.vapour_hPa[0] > 0.0
        np.testing.assert_allclose(values(a), values(b), rtol=1e-9)
