"""A place, and the tide of the solid Earth: against the estimator's full convention."""

import numpy as np

from stakeline.earth.ellipsoid import enu_axes, xyz_from_geodetic
from stakeline.earth.sun_moon import sun_moon
from stakeline.earth.tides import solid_tide
from stakeline.simulate.ground import Place, tide_of_the_ground
from stakeline.simulate.sky import make_sky
from stakeline.time import from_calendar


def test_a_place_is_where_the_ellipsoid_has_it():
    for latitude, longitude, height in ((79.1, -22.0, 420.0), (-33.0, 151.0, 0.0), (0.0, 180.0, 9)):
        place = Place(np.radians(latitude), np.radians(longitude), height)
        expected = xyz_from_geodetic(np.radians(latitude), np.radians(longitude), height)
        assert np.abs(place.position_m - expected).max() < 1e-6
        expected = enu_axes(np.radians(latitude), np.radians(longitude))
        np.testing.assert_allclose(place.axes, expected, atol=1e-14)


def test_the_tide_is_near_the_convention(place):
    start_ns = from_calendar(2031, 7, 12)
    time_s = np.arange(0.0, 14 * 86400.0, 3600.0)
    ours = tide_of_the_ground(place, make_sky(start_ns, 15 * 86400.0), time_s)
    time_ns = start_ns + (time_s * 1e9).astype(np.int64)
    # IERS Conventions (2010), section 7.1.1, both steps; the two codes share nothing but numbers
    theirs = solid_tide(place.position_m, time_ns, *sun_moon(time_ns, None))
    difference = (ours - theirs) @ place.axes.T
    assert np.abs(difference).max() < 1.6e-3
    assert np.sqrt((difference**2).mean(axis=0)).max() < 0.8e-3
    assert np.ptp(theirs @ place.axes[2]) > 0.05
