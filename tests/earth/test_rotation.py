import erfa
import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.earth.rotation import (
    celestial_pole,
    celestial_to_terrestrial,
    earth_rotation_angle,
    orientation_at,
)
from stakeline.errors import ProductError
from stakeline.tables import EarthOrientation
from stakeline.time import from_calendar, gps_from_utc, julian_tt

arcsecond = np.radians(1.0 / 3600.0)


def table(first, xp, yp, ut1):
    n = len(ut1)
    days = first + np.arange(n, dtype=np.int64) * NS_PER_DAY
    zero = np.zeros(n)
    return EarthOrientation(days, np.array(xp), np.array(yp), np.array(ut1), zero, zero, zero)


def test_full_matrix_against_a_worked_example():
    # SOFA, "SOFA Tools for Earth Attitude" (2017), section 5.5: 2007-04-05 12:00 UTC,
    # xp 0.0349282", yp 0.4833163", UT1 - UTC -0.072073685 s, dX 0.1750, dY -0.2259 mas
    first = from_calendar(2007, 4, 5)
    mas = arcsecond * 1e-3
    orientation = EarthOrientation(
        np.array([first, first + NS_PER_DAY]),
        np.full(2, 0.0349282 * arcsecond),
        np.full(2, 0.4833163 * arcsecond),
        np.full(2, -0.072073685),
        np.zeros(2),
        np.full(2, 0.1750 * mas),
        np.full(2, -0.2259 * mas),
    )
    when = gps_from_utc(np.array([from_calendar(2007, 4, 5, 12)]))
    expected = [
        [0.973104317697535, 0.230363826239128, -0.000703163482198],
        [-0.230363800456037, 0.973104570632801, 0.000118545366625],
        [0.000711560162668, 0.000046626403995, 0.999999745754024],
    ]
    found = celestial_to_terrestrial(when, orientation)[0]
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-11)


def test_grid_follows_the_full_series():
    when = from_calendar(2020, 6, 25) + np.arange(0, 86400, 300) * NS_PER_S
    exact = np.stack(erfa.xys06a(*julian_tt(when)), axis=-1)
    assert np.abs(celestial_pole(when) - exact).max() < 1e-12  # 6 micrometres at 6000 km


def test_one_turn_in_a_sidereal_day():
    start = from_calendar(2020, 6, 25)
    # 86164.0989 s: stellar day, IERS Conventions (2010), from the rate 1.00273781191135448
    later = start + round(86400e9 / 1.00273781191135448)
    angle = earth_rotation_angle(np.array([start, later]), 0.0)
    assert abs(np.mod(angle[1] - angle[0] + np.pi, 2 * np.pi) - np.pi) < 1e-9


def test_interpolation_is_linear():
    first = from_calendar(2020, 6, 25)
    orientation = table(first, [1e-6, 3e-6], [2e-6, 2e-6], [-0.2, -0.21])
    noon = gps_from_utc(np.array([first + NS_PER_DAY // 2]))
    xp, yp, ut1, _, _ = orientation_at(orientation, noon)
    np.testing.assert_allclose([xp[0], yp[0], ut1[0]], [2e-6, 2e-6, -0.205])


def test_a_leap_second_makes_no_ramp():
    # IERS Bulletin C 52: UTC steps back one second at the end of 2016
    first = from_calendar(2016, 12, 31)
    orientation = table(first, [0, 0], [0, 0], [-0.408, 0.591])
    utc = first + np.array([NS_PER_DAY // 2, NS_PER_DAY - NS_PER_S])
    _, _, ut1, _, _ = orientation_at(orientation, gps_from_utc(utc))
    np.testing.assert_allclose(ut1, [-0.4085, -0.409], atol=1e-4)


def test_outside_the_table():
    first = from_calendar(2020, 6, 25)
    orientation = table(first, [0, 0], [0, 0], [0, 0])
    with pytest.raises(ProductError, match=r"covers 2020-06-25T00:00:00 to 2020-06-26T00:00:00"):
        orientation_at(orientation, np.array([first + 3 * NS_PER_DAY]))


def test_nothing_given():
    xp, yp, ut1, dx, dy = orientation_at(None, np.array([from_calendar(2020, 6, 25)]))
    assert xp == yp == ut1 == dx == dy == 0.0


def test_empty_table():
    with pytest.raises(ProductError, match="empty"):
        orientation_at(table(0, [], [], []), np.array([0]))
