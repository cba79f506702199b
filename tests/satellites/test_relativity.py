"""Relativity against published numbers."""

import numpy as np

from stakeline.satellites.relativity import periodic_clock, shapiro_delay

C = 299792458.0  # m/s, exact; BIPM SI Brochure


def geometry(elevation_deg, radius=26.56e6, ground=6371e3):
    elevation = np.radians(elevation_deg)
    distance = -ground * np.sin(elevation) + np.sqrt(radius**2 - (ground * np.cos(elevation)) ** 2)
    receiver = np.array([0.0, 0.0, ground])
    ahead = distance * np.array([np.cos(elevation), 0.0, np.sin(elevation)])
    return receiver, (receiver + ahead)[None, None, :]


def test_shapiro_delay_of_a_gps_satellite():
    # checks 4.1: 12.65 mm at the zenith, 17.93 mm at 5 deg (from the formula)
    for elevation, expected in ((90.0, 12.65e-3), (5.0, 17.93e-3)):
        receiver, satellite = geometry(elevation)
        assert abs(shapiro_delay(satellite, receiver)[0, 0] - expected) < 5e-5


def test_amplitude_of_the_periodic_clock_term(truth):
    # checks 4.1: 45.79 ns = 13.729 m at e = 0.02 (IS-GPS-200, F = -4.442807633e-10)
    kepler, elements, *_ = truth
    position, velocity = kepler(elements[1], np.arange(0.0, 43200.0, 60.0))
    term = periodic_clock(position, velocity)
    f, a, e = -4.442807633e-10, elements[1][0], elements[1][1]
    assert abs(np.abs(term).max() - abs(f) * e * np.sqrt(a)) < 1e-13
    assert abs(np.abs(term).max() * C - 13.729) < 5e-3  # checks use a = 26,560 km


def test_a_clock_at_perigee_and_apogee_has_no_periodic_term():
    assert periodic_clock(np.array([2.6e7, 0, 0]), np.array([0, 3.9e3, 0])) == 0.0
