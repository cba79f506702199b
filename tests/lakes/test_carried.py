"""Where ice carries a place: against closed forms of simple flows."""

import numpy as np
import pytest

from stakeline.constants import DAYS_PER_YEAR
from stakeline.errors import SettingsError
from stakeline.lakes import carried as c
from stakeline.lakes.outline import ellipse_outline

X_M, Y_M = np.linspace(-5000.0, 20000.0, 51), np.linspace(-5000.0, 5000.0, 21)
EAST, NORTH = np.meshgrid(X_M, Y_M)


def field(along, across=0.0, scale=1.0):
    """Return the map of a velocity [m/d] given on true metres; ``scale`` map metres each."""
    velocity = np.stack(np.broadcast_arrays(along, across, EAST)[:2], axis=-1) * 1.0
    x, y = X_M * scale, Y_M * scale
    strain = c.principal_strain_per_a(x, y, velocity, scale)
    return c.IceField(x, y, velocity, strain, scale)


def test_principal_strain_of_stretching_shear_and_rotation():
    rate = 1e-5  # 1/d
    stretched = field(1.0 + rate * EAST, -rate * NORTH)
    np.testing.assert_allclose(stretched.strain_per_a, rate * DAYS_PER_YEAR, rtol=1e-9)
    sheared = field(1.0 + rate * NORTH)
    np.testing.assert_allclose(sheared.strain_per_a, 0.5 * rate * DAYS_PER_YEAR, rtol=1e-9)
    turned = field(-rate * NORTH, rate * EAST)
    np.testing.assert_allclose(turned.strain_per_a, 0.0, atol=1e-12)
    turned_by_45 = field(0.5 * rate * (EAST + NORTH), 0.5 * rate * (EAST + NORTH))
    np.testing.assert_allclose(turned_by_45.strain_per_a, rate * DAYS_PER_YEAR, rtol=1e-9)


@pytest.mark.parametrize("scale", [1.0, 0.98])
def test_a_place_in_stretching_flow_goes_by_the_exponential(scale):
    """v = v0 (1 + x / L): x(t) = (x0 + L) exp(v0 t / L) - L."""
    speed, length = 2.0, 8000.0
    ice = field(speed * (1.0 + EAST / length), scale=scale)
    found = c.carried(ice, (0.0, 0.0), 10.0, 3000.0)
    lawful = length * (np.exp(speed * found.known_d / length) - 1.0)
    assert found.path_m[-1, 0] / scale == pytest.approx(lawful, rel=1e-4)
    assert found.path_m[-1, 1] == 0.0


def test_the_limit_is_met_where_strain_rises_to_it():
    """v = v0 + k x^2 / 2 has the strain rate k x: at x = limit / k after the integral of 1 / v."""
    speed, bend = 1.5, 4e-9  # m/d, 1/(m d)
    ice = field(speed + 0.5 * bend * EAST**2)
    limit = 4e-5 * DAYS_PER_YEAR  # met at 10 km
    found = c.carried(ice, (0.0, 0.0), limit, 20000.0)
    root = np.sqrt(2.0 * speed / bend)
    lawful = root / speed * np.arctan(1e4 / root)
    assert found.limit_d == pytest.approx(lawful, rel=0.01)
    assert found.limit_m == pytest.approx(1e4, rel=0.01)
    assert found.end == c.OFF_MAP
    assert found.most_per_a > limit > found.here_per_a


def test_without_a_limit_met_it_is_infinite_and_says_how_far_is_known():
    ice = field(1.0)
    found = c.carried(ice, (0.0, 0.0), 0.01, 100.0)
    assert np.isinf(found.limit_d)
    assert found.known_d == pytest.approx(100.0)
    assert found.end == c.TIME
    assert np.isnan(found.limit_m)
    off = c.carried(ice, (0.0, 0.0), 0.01, 1e6)
    assert off.end == c.OFF_MAP
    assert off.known_d == pytest.approx(20000.0, rel=0.01)
    crevassed = c.carried(field(1e-4 * EAST), (0.0, 0.0), 0.01, 100.0)
    assert crevassed.limit_d == 0.0


def test_it_leaves_the_lake_by_the_chord():
    lake = ellipse_outline("Lower Halvard", (1000.0, 0.0), (2500.0, 2500.0))
    found = c.carried(field(2.0), (1000.0, 700.0), 0.01, 5000.0, lake)
    chord = np.sqrt(2500.0**2 - 700.0**2)
    assert found.left_d == pytest.approx(chord / 2.0, abs=0.26 * 500.0 / 2.0)
    assert c.carried(field(2.0), (8000.0, 0.0), 0.01, 100.0, lake).left_d == 0.0


def test_a_hole_of_the_map_ends_the_way():
    velocity = np.ones((21, 51, 2)) * [1.0, 0.0]
    velocity[:, 30:] = np.nan
    ice = c.IceField(X_M, Y_M, velocity, np.zeros((21, 51)))
    found = c.carried(ice, (0.0, 0.0), 0.01, 1e5)
    assert found.end == c.OFF_MAP
    assert found.known_d == pytest.approx(X_M[29], abs=130.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: c.carried(field(1.0), (1e6, 0.0), 0.01, 1.0), "off the map"),
        (lambda: c.carried(field(1.0), (0.0, 0.0), 0.0, 1.0), "expected both above 0"),
        (lambda: c.IceField(X_M[::-1], Y_M, np.zeros((21, 51, 2)), np.zeros((21, 51))), "rising"),
        (lambda: c.IceField(X_M, Y_M, np.zeros((21, 51)), np.zeros((21, 51))), "fields of"),
    ],
)
def test_what_cannot_be_is_said(call, words):
    with pytest.raises(SettingsError, match=words):
        call()
