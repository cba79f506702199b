import numpy as np

from stakeline.constants import GRS80_A_M, GRS80_INVERSE_FLATTENING
from stakeline.earth.ellipsoid import (
    enu_axes,
    enu_from_xyz,
    geodetic_from_xyz,
    xyz_from_enu,
    xyz_from_geodetic,
)


def test_to_cartesian_wgs84():
    # SOFA/ERFA validation suite, gd2gc
    xyz = xyz_from_geodetic(-0.5, 3.1, 2500.0)
    expected = [-5599000.5577049947, 233011.67223479203, -3040909.4706983363]
    np.testing.assert_allclose(xyz, expected, rtol=0, atol=1e-7)


def test_to_cartesian_grs80():
    # SOFA/ERFA validation suite, gd2gc
    xyz = xyz_from_geodetic(-0.5, 3.1, 2500.0, GRS80_A_M, GRS80_INVERSE_FLATTENING)
    expected = [-5599000.5577260984, 233011.6722356703, -3040909.4706095476]
    np.testing.assert_allclose(xyz, expected, rtol=0, atol=1e-7)


def test_to_geodetic_wgs84():
    # SOFA/ERFA validation suite, gc2gd
    latitude, longitude, height = geodetic_from_xyz([2e6, 3e6, 5.244e6])
    assert abs(longitude - 0.982793723247329068) < 1e-14
    assert abs(latitude - 0.97160184819075459) < 1e-14
    assert abs(height - 331.4172461426) < 1e-8


def test_to_geodetic_other_ellipsoid():
    # SOFA/ERFA validation suite, gc2gde
    latitude, _, height = geodetic_from_xyz([2e6, 3e6, 5.244e6], 6378136.0, 1.0 / 0.0033528)
    assert abs(latitude - 0.9716018377570411532) < 1e-14
    assert abs(height - 332.36862495764397) < 1e-8


def test_poles():
    latitude, _, height = geodetic_from_xyz([[0.0, 0.0, 6356752.3142], [0.0, 0.0, -6356752.3142]])
    np.testing.assert_allclose(latitude, [np.pi / 2, -np.pi / 2])
    # WGS84 semi-minor axis 6356752.3142 m: NGA.STND.0036, table 3.4
    np.testing.assert_allclose(height, 0.0, atol=1e-4)


def test_missing_stays_missing():
    latitude, longitude, height = geodetic_from_xyz([[np.nan, 1.0, 2.0], [6378137.0, 0.0, 0.0]])
    assert np.isnan([latitude[0], longitude[0], height[0]]).all()
    assert abs(height[1]) < 1e-8


def test_axes_at_the_equator_by_hand():
    # at latitude 0, longitude 0: east is y, north is z, up is x
    np.testing.assert_allclose(enu_axes(0.0, 0.0), [[0, 1, 0], [0, 0, 1], [1, 0, 0]])
    np.testing.assert_allclose(enu_from_xyz([1.0, 2.0, 3.0], 0.0, 0.0), [2.0, 3.0, 1.0])
    np.testing.assert_allclose(xyz_from_enu([2.0, 3.0, 1.0], 0.0, 0.0), [1.0, 2.0, 3.0])


def test_axes_agree_with_differences_of_the_ellipsoid():
    latitude, longitude, step = 1.38, -0.42, 1e-6
    here = xyz_from_geodetic(latitude, longitude, 100.0)
    axes = enu_axes(latitude, longitude)
    for row, there in enumerate(
        (
            xyz_from_geodetic(latitude, longitude + step, 100.0),
            xyz_from_geodetic(latitude + step, longitude, 100.0),
            xyz_from_geodetic(latitude, longitude, 101.0),
        )
    ):
        direction = (there - here) / np.linalg.norm(there - here)
        np.testing.assert_allclose(axes[row], direction, atol=2e-6)
