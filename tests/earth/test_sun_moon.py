import erfa
import numpy as np

from stakeline.constants import ASTRONOMICAL_UNIT_M, NS_PER_S
from stakeline.earth.sun_moon import sun_moon, sun_moon_celestial
from stakeline.time import from_calendar, gps_from_utc, julian_tt

kilometre = 1e3


def test_sun_against_a_published_example():
    # Reda & Andreas, NREL/TP-560-34302 (2008), table A5.1: 2003-10-17 19:30:30 UT, declination
    # -9.31434 deg, hour angle 11.105902 deg at 105.1786 W, distance 0.9965422974 au. Theirs is
    # apparent: 0.006 deg of aberration apart.
    when = gps_from_utc(np.array([from_calendar(2003, 10, 17, 19, 30, 30)]))
    sun, _ = sun_moon(when)
    distance = np.linalg.norm(sun[0])
    assert abs(distance / ASTRONOMICAL_UNIT_M - 0.9965422974) < 1e-5
    assert abs(np.degrees(np.arcsin(sun[0, 2] / distance)) + 9.31434) < 0.006
    assert abs(np.degrees(np.arctan2(sun[0, 1], sun[0, 0])) + 105.1786 + 11.105902) < 0.007


def test_sun_and_moon_line_up_in_an_eclipse():
    # Total solar eclipse of 2017-08-21, greatest at 18:25:32 UT, gamma 0.4367 Earth radii:
    # NASA/TP-2006-214141 (from memory)
    when = gps_from_utc(np.array([from_calendar(2017, 8, 21, 18, 25, 32)]))
    sun, moon = (body[0] for body in sun_moon(when))
    toward = sun / np.linalg.norm(sun)
    axis = np.linalg.norm(moon - (moon @ toward) * toward)  # distance of the Moon from the Sun line
    miss = axis * np.linalg.norm(sun) / (np.linalg.norm(sun) - np.linalg.norm(moon))
    assert abs(miss / 6378137.0 - 0.4367) < 0.02


def test_interpolated_positions_follow_the_series():
    when = from_calendar(2020, 6, 25) + np.arange(0, 86400, 120) * NS_PER_S
    sun, moon = sun_moon_celestial(when)
    exact_sun = -erfa.epv00(*julian_tt(when))[0]["p"] * ASTRONOMICAL_UNIT_M
    exact_moon = erfa.moon98(*julian_tt(when))["p"] * ASTRONOMICAL_UNIT_M
    assert np.abs(sun - exact_sun).max() < 0.5 * kilometre
    assert np.abs(moon - exact_moon).max() < 0.01 * kilometre


def test_an_epoch_does_not_depend_on_its_company():
    when = from_calendar(2020, 6, 25) + np.arange(0, 86400, 30) * NS_PER_S
    together, _ = sun_moon(when)
    part, _ = sun_moon(when[1000:1200])
    np.testing.assert_allclose(part, together[1000:1200], rtol=0, atol=1.0)
