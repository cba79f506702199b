"""Published cases of the IERS Conventions (2010) routine, and laws a tide obeys."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.earth.ellipsoid import geodetic_from_xyz, xyz_from_geodetic
from stakeline.earth.sun_moon import sun_moon
from stakeline.earth.tides import (
    permanent_tide,
    pole_tide,
    pole_tide_enu,
    secular_pole,
    solid_tide,
)
from stakeline.errors import SolutionError
from stakeline.time import from_calendar, gps_from_utc

millimetre = 1e-3

# Test cases printed with the routine of IERS Conventions (2010), section 7.1.1; a fourth one
# circulates with the Sun at a tenth of its distance and the answer of the third: a misprint.
CASES = {
    "A": (
        (4075578.385, 931852.890, 4801570.154),
        (2009, 4, 13),
        (137859926952.015, 54228127881.4350, 23509422341.6960),
        (-179996231.920342, -312468450.131567, -169288918.592160),
        (0.07700420357108125891, 0.06304056321824967613, 0.05516568152597246810),
    ),
    "B": (
        (1112189.660, -4842955.026, 3985352.284),
        (2012, 7, 13),
        (-54537460436.2357, 130244288385.279, 56463429031.5996),
        (300396716.912, 243238281.451, 120548075.939),
        (-0.02036831479592075833, 0.05658254776225972449, -0.07597679676871742227),
    ),
    "C": (
        (1112200.5696, -4842957.8511, 3985345.9122),
        (2015, 7, 15),
        (100210282451.6279, 103055630398.3160, 56855096480.4475),
        (369817604.4348, 1897917.5258, 120804980.8284),
        (0.00509570869172363845, 0.0828663025983528700, -0.0636634925404189617),
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_published_cases(case):
    station, date, sun, moon, expected = CASES[case]
    when = gps_from_utc(np.array([from_calendar(*date)]))
    found = solid_tide(np.array(station), when, [sun], [moon])[0]
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-12)


def test_permanent_part_restored():
    # case A with the routine's third step on, as printed in a public test suite
    station, date, sun, moon, _ = CASES["A"]
    when = gps_from_utc(np.array([from_calendar(*date)]))
    found = solid_tide(np.array(station), when, [sun], [moon], restore_mean=True)[0]
    expected = (0.085888815560994619, 0.065071968475918243, 0.10369393753580475)
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-12)


def test_permanent_part_at_pole_and_equator():
    # IERS Conventions (2010), equation 7.14a: (-0.1206 + 0.0001 P2) P2 m; P2 = 1 and -1/2
    assert abs(permanent_tide([0.0, 0.0, 6356752.0])[2] + 0.1205) < 0.1 * millimetre
    assert abs(permanent_tide([6378137.0, 0.0, 0.0])[0] - 0.06033) < 0.1 * millimetre


def test_tide_is_defined_at_the_pole():
    when = from_calendar(2020, 1, 1) + np.arange(4) * NS_PER_DAY // 4
    sun, moon = sun_moon(when)
    at = solid_tide(np.array([0.0, 0.0, 6356752.3]), when, sun, moon)
    near = solid_tide(np.array([0.0, 30.0, 6356752.3]), when, sun, moon)
    np.testing.assert_allclose(at, near, rtol=0, atol=0.01 * millimetre)


def test_tide_of_a_fortnight_has_the_size_of_the_textbooks():
    # about 0.4 m from low to high at middle latitudes: common knowledge, e.g. Melchior (1983)
    when = from_calendar(2020, 3, 1) + np.arange(0, 15 * 24) * 3600 * NS_PER_S
    station = xyz_from_geodetic(np.radians(45.0), 0.0, 0.0)
    up = solid_tide(station, when, *sun_moon(when)) @ (station / np.linalg.norm(station))
    assert 0.30 < np.ptp(up) < 0.60


def test_no_place_on_earth():
    when = np.array([from_calendar(2020, 1, 1)])
    with pytest.raises(SolutionError, match="on the ground"):
        solid_tide(np.zeros(3), when, *sun_moon(when))


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "m1", "m2", "enu_mm"),
    [  # IERS Conventions (2010), equation 7.26, evaluated apart (arithmetic only)
        (-80.0, 160.0, 0.1, 0.2, (-1.969, -0.216, -0.289)),
        (-80.0, 160.0, 0.2, 0.1, (-1.439, -1.300, -1.735)),
    ],
)
def test_pole_tide_formula(latitude_deg, longitude_deg, m1, m2, enu_mm):
    found = pole_tide_enu(np.radians(90.0 - latitude_deg), np.radians(longitude_deg), m1, m2)
    np.testing.assert_allclose(found * 1e3, enu_mm, atol=1e-3)


def test_secular_pole():
    # IERS Conventions, update of 2018: 95.248 and 403.540 mas in 2024.0 (arithmetic)
    x, y = secular_pole(from_calendar(2024, 1, 1))
    np.testing.assert_allclose(np.degrees([x[0], y[0]]) * 3.6e6, (95.248, 403.540), atol=1e-3)


def test_pole_tide_vanishes_at_the_secular_pole():
    when = np.array([from_calendar(2024, 1, 1)])
    station = xyz_from_geodetic(np.radians(79.0), np.radians(-30.0), 100.0)
    np.testing.assert_allclose(pole_tide(station, when, *secular_pole(when)), 0.0, atol=1e-15)


def test_the_ground_sinks_where_the_pole_comes():
    # IERS Conventions (2010), equation 7.26: -33 mm per arcsecond at 45 N on the pole's meridian
    when = np.array([from_calendar(2024, 1, 1)])
    mean_x, mean_y = secular_pole(when)
    station = xyz_from_geodetic(np.radians(45.0), 0.0, 0.0)
    moved = pole_tide(station, when, mean_x + np.radians(0.1 / 3600), mean_y)[0]
    latitude, _, _ = geodetic_from_xyz(station)
    up = moved @ [np.cos(latitude), 0.0, np.sin(latitude)]
    assert abs(up + 3.3 * millimetre) < 0.02 * millimetre


def test_bodies_of_other_epochs_are_refused():
    when = from_calendar(2020, 1, 1) + np.arange(3) * NS_PER_DAY
    sun, moon = sun_moon(when)
    with pytest.raises(SolutionError, match="each of the 3 epochs"):
        solid_tide(xyz_from_geodetic(1.0, 0.0, 0.0), when, sun[:2], moon)
