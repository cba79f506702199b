"""The Sun: worked example, laws of the sphere, nights by latitude, both hemispheres."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError
from stakeline.station.sunlight import (
    CIVIL_TWILIGHT_DEG,
    SUNRISE_DEG,
    bright_days,
    daily_above_air_W_m2,
    dark_days,
    declination_rad,
    half_day_rad,
    refraction_rad,
    sun_course,
)
from stakeline.time import from_calendar, gps_from_utc

HOUR_NS = NS_PER_DAY // 24
YEAR_NS = int(from_calendar(2019, 1, 1))
OBLIQUITY_RAD = np.radians(23.4366)  # Astronomical Almanac, 2019


def test_worked_example():
    # Reda & Andreas (2008), NREL/TP-560-34302, table A5.1
    time_ns = gps_from_utc(from_calendar(2003, 10, 17, 19, 30, 30))
    course = sun_course(time_ns, np.radians(39.742476), np.radians(-105.1786), 1830.14)
    lift = refraction_rad(course.elevation_rad, 82000.0, 11.0)
    assert np.degrees(course.elevation_rad[0]) == pytest.approx(39.872046, abs=1e-3)
    assert np.degrees(course.azimuth_rad[0]) == pytest.approx(194.340241, abs=1e-3)
    assert np.degrees(lift[0]) == pytest.approx(0.016332, abs=1e-6)
    assert np.degrees(declination_rad(time_ns)[0]) == pytest.approx(-9.31434, abs=1e-4)
    assert course.distance_au[0] == pytest.approx(0.9965422974, abs=1e-5)


def test_the_pole_sees_the_declination_and_no_day():
    time_ns = YEAR_NS + HOUR_NS * np.arange(0, 24 * 365, 7)
    north = sun_course(time_ns, np.radians(90.0), 0.0)
    south = sun_course(time_ns, np.radians(-90.0), 0.0)
    parallax = np.radians(9.0 / 3600.0)
    assert np.abs(north.elevation_rad - declination_rad(time_ns)).max() < parallax
    assert np.abs(north.elevation_rad + south.elevation_rad).max() < 2.0 * parallax


def test_it_culminates_in_the_meridian_at_the_colatitude_plus_declination():
    time_ns = YEAR_NS + NS_PER_DAY // 1440 * np.arange(1440)
    for latitude_deg in (-67.0, -30.0, 30.0, 67.0):
        course = sun_course(time_ns, np.radians(latitude_deg), np.radians(25.0))
        top = course.elevation_rad.argmax()
        meridian = 0.0 if latitude_deg < 0.0 else np.pi
        expected = 0.5 * np.pi - abs(np.radians(latitude_deg) - declination_rad(time_ns[top])[0])
        assert course.elevation_rad[top] == pytest.approx(expected, abs=1e-4)
        off = (course.azimuth_rad[top] - meridian + np.pi) % (2 * np.pi) - np.pi
        assert abs(off) < np.radians(2.0)  # half a minute, near the zenith


def test_half_a_turn_of_longitude_is_half_a_day():
    time_ns = YEAR_NS + HOUR_NS * np.arange(48)
    here = sun_course(time_ns, np.radians(79.0), 0.0)
    there = sun_course(time_ns + 12 * HOUR_NS, np.radians(79.0), np.pi)
    assert np.abs(here.elevation_rad - there.elevation_rad).max() < np.radians(0.25)


def test_nearest_in_january_farthest_in_july():
    course = sun_course(YEAR_NS + NS_PER_DAY * np.arange(365), 0.0, 0.0)
    assert 0 <= course.distance_au.argmin() <= 5
    assert 182 <= course.distance_au.argmax() <= 188
    assert course.above_air_W_m2.max() / course.above_air_W_m2.min() == pytest.approx(
        (1.01671 / 0.98329) ** 2, rel=1e-3
    )  # eccentricity 0.01671, Astronomical Almanac


@pytest.mark.parametrize(
    ("latitude_deg", "declination_deg", "factor", "expected"),
    # checks.md 1.5: December solstice with S 1361, E0 1.0344; equinox with E0 1
    [
        (-90.0, -23.4366, 1.0344, 560.0),
        (-80.0, -23.4366, 1.0344, 551.5),
        (-70.0, -23.4366, 1.0344, 526.2),
        (80.0, 0.0, 1.0, 75.2),
        (0.0, 0.0, 1.0, 433.2),
        (80.0, -23.4366, 1.0344, 0.0),
    ],
)
def test_daily_mean_above_the_air(latitude_deg, declination_deg, factor, expected):
    mean = daily_above_air_W_m2(np.radians(latitude_deg), np.radians(declination_deg), factor**-0.5)
    assert mean == pytest.approx(expected, abs=0.1)


def test_daily_mean_is_the_mean_of_the_hours():
    time_ns = YEAR_NS + 40 * NS_PER_DAY + NS_PER_DAY // 288 * np.arange(288)
    course = sun_course(time_ns, np.radians(-72.0), 0.0)
    hours = course.above_air_W_m2 * np.maximum(np.sin(course.elevation_rad), 0.0)
    declination = declination_rad(time_ns).mean()
    mean = daily_above_air_W_m2(np.radians(-72.0), declination, course.distance_au.mean())
    assert hours.mean() == pytest.approx(mean, rel=2e-3)


@pytest.mark.parametrize(
    ("latitude_deg", "declination", "lowest_deg", "hours"),
    # checks.md 1.7: length of the day
    [
        (60.0, -OBLIQUITY_RAD, SUNRISE_DEG, 5.867),
        (60.0, -OBLIQUITY_RAD, 0.0, 5.510),
        (60.0, OBLIQUITY_RAD, SUNRISE_DEG, 18.867),
        (-60.0, -OBLIQUITY_RAD, 0.0, 18.490),
        (40.0, OBLIQUITY_RAD, 0.0, 14.845),
        (0.0, 0.0, SUNRISE_DEG, 12.111),
        (0.0, 0.0, 0.0, 12.0),
    ],
)
def test_length_of_the_day(latitude_deg, declination, lowest_deg, hours):
    half = half_day_rad(np.radians(latitude_deg), declination, lowest_deg)
    assert np.degrees(half) * 2.0 / 15.0 == pytest.approx(hours, abs=4e-3)


@pytest.mark.parametrize(
    ("latitude_deg", "centre", "limb", "twilight", "bright"),
    # checks.md 1.7, which is the south; 2 days
    [(70, 64, 56, 0, 68), (74, 96, 90, 41, 96), (80, 134, 129, 96, 131), (84, 155, 151, 122, 152)],
)
def test_nights_by_latitude(latitude_deg, centre, limb, twilight, bright):
    place = (YEAR_NS, 365, np.radians(-latitude_deg), 0.0)
    assert dark_days(*place).sum() == pytest.approx(centre, abs=2)
    assert dark_days(*place, SUNRISE_DEG).sum() == pytest.approx(limb, abs=2)
    assert dark_days(*place, CIVIL_TWILIGHT_DEG).sum() == pytest.approx(twilight, abs=2)
    summer = (int(from_calendar(2019, 7, 1)), *place[1:])
    assert bright_days(*summer, SUNRISE_DEG).sum() == pytest.approx(bright, abs=2)


def test_the_northern_night_is_shorter_by_the_ellipse_of_the_orbit():
    # Earth is slow in July: the southern winter half year is 7.6 d longer (Astronomical Almanac)
    place = (365, np.radians(-80.0), 0.0)
    south = dark_days(YEAR_NS, *place).sum()
    north = dark_days(int(from_calendar(2019, 7, 1)), 365, np.radians(80.0), 0.0).sum()
    assert 5 <= south - north <= 9
    assert bright_days(int(from_calendar(2019, 7, 1)), *place).sum() == north


def test_the_sun_at_a_real_station_of_the_south():
    # ice/README.md: at 84.3 S the last sunrise is on day 97, the first one again on day 249
    night = np.flatnonzero(dark_days(YEAR_NS, 365, np.radians(-84.3), 0.0, SUNRISE_DEG)) + 1
    assert night[0] - 1 == pytest.approx(97, abs=2)
    assert night[-1] + 1 == pytest.approx(249, abs=3)


def test_refraction_at_the_horizon_and_below():
    lift = np.degrees(refraction_rad(np.radians([-5.0, 0.0, 90.0])))
    assert lift[0] == 0.0
    assert lift[1] * 60.0 == pytest.approx(29.0, abs=0.6)  # Saemundsson (1986), true altitude 0
    assert abs(lift[2]) < 1e-3


def test_degrees_are_refused():
    with pytest.raises(SettingsError, match="expected -90 to 90 deg, given in radians"):
        sun_course(YEAR_NS, 79.0, 0.0)
