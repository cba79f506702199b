import numpy as np
import pyproj
import pytest

from stakeline.earth.projection import ANTARCTIC, PolarStereographic, point_scale, projection
from stakeline.errors import SettingsError

millimetre = 1e-3


def test_guidance_note_example():
    # IOGP Guidance Note 7-2, section 3.2.2.2 (EPSG:3032)
    chart = PolarStereographic(np.radians(-71.0), np.radians(70.0), 6e6, 6e6)
    easting, northing = chart.forward(np.radians(-75.0), np.radians(120.0))
    assert abs(easting - 7255380.79) < 0.005
    assert abs(northing - 7053389.56) < 0.005


@pytest.mark.parametrize(
    ("longitude_deg", "latitude_deg", "easting_m", "northing_m"),
    [  # EPSG:3031 in a public test suite, re-computed with PROJ
        (0.0, -71.0, 0.0, 2082760.1085),
        (90.0, -75.0, 1638783.2384, 0.0),
        (-45.0, -72.0, -1393947.5397, 1393947.5397),
        (179.0, -85.0, 9487.0112, -543510.5062),
    ],
)
def test_antarctic_points(longitude_deg, latitude_deg, easting_m, northing_m):
    found = ANTARCTIC.forward(np.radians(latitude_deg), np.radians(longitude_deg))
    np.testing.assert_allclose(found, (easting_m, northing_m), rtol=0, atol=millimetre)


@pytest.mark.parametrize(("epsg", "sign"), [(3413, 1.0), (3031, -1.0)])
def test_agrees_with_proj(epsg, sign):
    # PROJ (pyproj), the EPSG definitions
    rng = np.random.default_rng(7)
    longitude, latitude = rng.uniform(-180.0, 180.0, 200), sign * rng.uniform(50.0, 89.99, 200)
    theirs = pyproj.Transformer.from_crs(4326, epsg, always_xy=True).transform(longitude, latitude)
    ours = projection(epsg).forward(np.radians(latitude), np.radians(longitude))
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=1e-6)
    factors = pyproj.Proj(epsg).get_factors(longitude, latitude)
    np.testing.assert_allclose(
        point_scale(np.radians(latitude), epsg), factors.meridional_scale, atol=1e-9
    )


def test_point_scale_values():
    # closed formula evaluated by others (checks of the project, arithmetic only)
    latitude = np.radians([-65, -70, -71, -75, -80, -85])
    expected = [1.020549, 1.003001, 1.0, 0.989626, 0.980214, 0.974623]
    np.testing.assert_allclose(point_scale(latitude, 3031), expected, atol=1e-6)


def test_point_scale_is_the_ratio_of_lengths():
    # definition, by a finite difference along a parallel on the ellipsoid
    latitude, step = np.radians(-80.0), 1e-6
    x, y = ANTARCTIC.forward(latitude, np.array([0.3, 0.3 + step]))
    e2 = ANTARCTIC.eccentricity**2
    parallel = ANTARCTIC.a_m * np.cos(latitude) / np.sqrt(1.0 - e2 * np.sin(latitude) ** 2)
    ratio = np.hypot(x[1] - x[0], y[1] - y[0]) / (parallel * step)
    assert abs(ratio - ANTARCTIC.point_scale(latitude)) < 1e-8


def test_point_scale_at_the_pole_is_the_limit():
    near, at = ANTARCTIC.point_scale(np.array([-np.pi / 2 + 1e-5, -np.pi / 2]))
    assert abs(near - at) < 1e-9


def test_convergence_by_hand():
    # EPSG:3031 at 90 E lies on the positive x axis: true north points to +x, 90 deg clockwise
    assert abs(ANTARCTIC.convergence(np.pi / 2) - np.pi / 2) < 1e-12


def test_true_scale_at_the_pole_is_variant_a():
    # PROJ, north pole, scale one at the pole
    ours = PolarStereographic(np.pi / 2).forward(np.radians(80.0), np.radians(30.0))
    theirs = pyproj.Proj("+proj=stere +lat_0=90 +k=1 +ellps=WGS84")(30.0, 80.0)
    np.testing.assert_allclose(ours, theirs, atol=1e-6)


def test_unknown_map_names_the_known_ones():
    with pytest.raises(SettingsError, match="EPSG:3413"):
        projection(32633)


def test_no_parallel_of_true_scale():
    with pytest.raises(SettingsError, match="true scale"):
        PolarStereographic(0.0)
