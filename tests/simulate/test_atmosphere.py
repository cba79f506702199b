"""Delays of the invented air and ionosphere: limits, and known models that were not used."""

import numpy as np
import pytest

from stakeline.earth.troposphere import (
    global_mapping_coefficients,
    gradient_mapping,
    mapping_functions,
    zenith_hydrostatic_m,
)
from stakeline.simulate.atmosphere import (
    DELAY_M3_S2,
    TEC_UNIT,
    Ionosphere,
    make_air,
    trace_profile,
)
from stakeline.simulate.smooth import Smooth
from stakeline.time import from_calendar

TIME_NS = np.array([from_calendar(2031, 7, 12)])


@pytest.fixture(scope="module")
def profile():
    return trace_profile(420.0, 277.0, 96000.0, 600.0)


def test_zenith_delay_is_saastamoinens(profile):
    # Saastamoinen (1972) as Davis et al. (1985), equation A11; gravity here is one number
    expected = zenith_hydrostatic_m(960.0, np.radians(79.1), 420.0)
    assert abs(profile.dry_zenith_m - expected) < 0.004
    assert 0.04 < profile.wet_zenith_m < 0.10


def test_slant_delay_at_the_zenith_and_below(profile):
    dry, wet, _ = profile.slant(np.radians([90.0, 30.0, 10.0]))
    np.testing.assert_allclose([dry[0], wet[0]], 1.0, atol=1e-6)
    # 1.993 and 5.56 (dry, 30 and 10 deg): Niell (1996), J. Geophys. Res. 101, figures, from memory
    np.testing.assert_allclose(dry[1:], [1.993, 5.56], rtol=0.004)
    assert (wet[1:] > dry[1:]).all()  # vapour lies lower, where the Earth's curve counts less


def test_rays_agree_with_the_global_mapping_function(profile, place):
    elevation = np.radians([[7.0, 10.0, 15.0, 30.0]])
    at = place.latitude_rad, place.longitude_rad
    ah, aw = global_mapping_coefficients(*at, TIME_NS)
    expected = mapping_functions(elevation, ah, aw, at[0], 420.0, TIME_NS)
    dry, wet, _ = profile.slant(elevation)
    # Boehm et al. (2006), Geophys. Res. Lett. 33, L07304: weather moves it by some 0.1 % at 10 deg
    np.testing.assert_allclose(dry, expected[0], rtol=0.004)
    np.testing.assert_allclose(wet, expected[1], rtol=0.015)


def test_a_gradient_lengthens_towards_itself(profile, place):
    air = make_air(np.random.default_rng(1), place, 3600.0)
    still, tilted = np.zeros((20, 4)), np.zeros((20, 4))
    tilted[:, 2] = 1e-3
    elevation, north = np.full((1, 2), np.radians(20.0)), np.array([[0.0, np.pi]])
    delays = [
        type(air)(profile, Smooth(0.0, 300.0, w)).delay_m(np.zeros(1), elevation, north)
        for w in (still, tilted)
    ]
    there, back = (delays[1] - delays[0])[0]
    assert there > 0.0
    assert abs(there + back) < 1e-9
    # Chen & Herring (1997), J. Geophys. Res. 102, 20489
    assert abs(there / (1e-3 * gradient_mapping(np.radians(20.0))) - 1.0) < 0.1


def test_weather_is_smooth_and_of_its_size(place):
    air = make_air(np.random.default_rng(1), place, 86400.0)
    zenith = air.zenith_m(np.arange(0.0, 86400.0, 300.0)).sum(axis=1)
    assert 2.0 < zenith.min() < zenith.max() < 2.5
    assert np.abs(np.diff(zenith)).max() < 0.012  # 5 min; the air cannot do more


def test_ionosphere_goes_with_the_inverse_square_of_the_frequency():
    sky = Ionosphere(10.0, daily_share=0.0, slope_tec_rad=(0.0, 0.0))
    first = sky.delay_m(np.zeros(1), np.full((1, 1), np.pi / 2.0), np.zeros((1, 1)), 1575.42e6)
    # 40.3 TEC / f2: 1.62 m for ten units at L1; IS-GPS-200N, section 20.3.3.3.3.3
    assert abs(first[0, 0] - DELAY_M3_S2 * 10.0 * TEC_UNIT / 1575.42e6**2) < 1e-9
    assert abs(first[0, 0] - 1.62) < 0.01
    low = sky.delay_m(np.zeros(1), np.full((1, 1), np.radians(10.0)), np.zeros((1, 1)), 1575.42e6)
    assert 2.4 < low[0, 0] / first[0, 0] < 2.9  # thin shell at 350 km, from its geometry
