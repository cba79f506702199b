"""Published values of mapping functions and zenith delays, and laws they obey."""

import numpy as np
import pytest

from stakeline.earth.troposphere import (
    global_mapping_coefficients,
    gradient_mapping,
    mapping_functions,
    zenith_hydrostatic_m,
    zenith_wet_m,
)
from stakeline.time import from_calendar, from_mjd

millimetre = 1e-3
LATITUDE, LONGITUDE, ELEVATION = 0.6708665767, -1.393397187, np.pi / 2 - 1.278564131
WHEN = from_mjd(55055.0)


def test_mapping_of_given_coefficients():
    # IERS Conventions (2010), chapter 9, test of the VMF1 routine
    dry, wet = mapping_functions([ELEVATION], 0.00127683, 0.00060955, LATITUDE, 0.0, WHEN)
    assert abs(dry[0] - 3.424342122738070593) < 1e-12
    assert abs(wet[0] - 3.448299714692572238) < 1e-12


def test_mapping_with_height():
    # IERS Conventions (2010), chapter 9, test of the VMF1 routine with height correction
    dry, wet = mapping_functions([ELEVATION], 0.00127683, 0.00060955, LATITUDE, 824.17, WHEN)
    assert abs(dry[0] - 3.425088087972572470) < 1e-12
    assert abs(wet[0] - 3.448299714692572238) < 1e-12


def test_global_mapping_function():
    # IERS Conventions (2010), chapter 9, test of the GMF routine; every coefficient enters
    ah, aw = global_mapping_coefficients(LATITUDE, LONGITUDE, WHEN)
    dry, wet = mapping_functions([ELEVATION], ah, aw, LATITUDE, 844.715, WHEN)
    assert abs(dry[0] - 3.425245519339138678) < 1e-12
    assert abs(wet[0] - 3.449589116182419257) < 1e-12


@pytest.mark.parametrize(
    ("pressure_hPa", "latitude_deg", "height_m", "delay_m"),
    [  # Davis et al. (1985), equation A11, evaluated apart (arithmetic only)
        (1013.25, 45.0, 0.0, 2.30697),
        (1000.0, -75.0, 0.0, 2.27157),
        (850.0, -82.0, 1200.0, 1.93099),
        (700.0, -80.0, 2800.0, 1.59103),
    ],
)
def test_zenith_hydrostatic(pressure_hPa, latitude_deg, height_m, delay_m):
    found = zenith_hydrostatic_m(pressure_hPa, np.radians(latitude_deg), height_m)
    assert abs(found - delay_m) < 0.01 * millimetre


def test_zenith_wet_against_the_older_rule():
    # Saastamoinen (1972): 0.002277 (1255/T + 0.05) e, within a tenth for a usual summer
    vapour, temperature = 12.0, 288.0
    rule = 0.002277 * (1255.0 / temperature + 0.05) * vapour
    assert abs(zenith_wet_m(vapour, 276.0, 2.8) / rule - 1.0) < 0.10


def test_one_at_the_zenith():
    dry, wet = mapping_functions([np.pi / 2], 0.00125, 0.00056, 1.3, 1500.0, WHEN)
    np.testing.assert_allclose([dry[0], wet[0]], 1.0, atol=1e-15)


def test_rows_are_epochs():
    elevations = np.array([[0.2, 0.5, np.nan], [0.3, 1.0, 1.5]])
    when = from_calendar(2020, 1, 1) + np.array([0, 100]) * 86_400_000_000_000
    ah = np.array([0.00125, 0.00127])
    dry, wet = mapping_functions(elevations, ah, 0.00056, -1.4, 2000.0, when)
    for k in range(2):
        alone = mapping_functions(elevations[k : k + 1], ah[k], 0.00056, -1.4, 2000.0, when[k])
        np.testing.assert_array_equal(dry[k], alone[0][0])
        np.testing.assert_array_equal(wet[k], alone[1][0])
    assert np.isnan(dry[0, 2])


def test_south_is_half_a_year_later():
    # Niell (1996): the season of the south is shifted by half a year; only the size differs
    january, july = from_calendar(2020, 1, 28), from_calendar(2020, 7, 28)

    def both(latitude):
        return [
            mapping_functions([0.1], 0.00125, 0.0006, latitude, 0.0, t)[0][0]
            for t in (january, july)
        ]

    south, north = both(-1.3), both(1.3)
    assert (south[0] - south[1]) * (north[0] - north[1]) < 0.0


def test_gradient_mapping():
    # Chen & Herring (1997): finite at the horizon, 1/0.0032; at 45 deg 1/(sqrt(1/2) + 0.0032)
    np.testing.assert_allclose(gradient_mapping(np.pi / 4), 1.0 / (np.sqrt(0.5) + 0.0032))
    np.testing.assert_allclose(gradient_mapping(1e-9), 312.5, rtol=1e-6)
