"""Interpolation and continuation of orbit tables."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.formats.sp3 import read_sp3
from stakeline.satellites._dynamics_kernels import body_pull, gravity
from stakeline.satellites.dynamics import _coefficients, persistent_orientation
from stakeline.satellites.orbits import (
    NODES,
    extend_orbits,
    first_nodes,
    orbit_states,
    turn_about_z,
)
from stakeline.tables import EarthOrientation, Orbits

mm = 1e-3
OMEGA = 7.2921151467e-5  # rad/s; IS-GPS-200N, section 20.3.3.4.3


def cut(orbits, rows):
    fields = {"position_m": orbits.position_m[rows], "clock_s": orbits.clock_s[rows]}
    return Orbits(orbits.time_ns[rows], orbits.satellites, frame=orbits.frame, **fields)


def test_windows_are_central_and_slide_away_from_gaps():
    time_ns = np.arange(40) * 900 * 10**9
    present = np.ones((40, 2), bool)
    present[20, 1] = False
    first = first_nodes(time_ns, present, np.zeros((40, 2), bool))
    assert first[0, 0] == 0
    assert first[20, 0] == 20 - (NODES // 2 - 1)
    assert first[38, 0] == 40 - NODES
    assert (first[[19, 20], 1] == -1).all()
    assert first[18, 1] == 20 - NODES
    assert first[21, 1] == 21


def test_a_longer_step_is_a_gap():
    time_ns = np.concatenate([np.arange(12), np.arange(14, 26)]) * 900 * 10**9
    first = first_nodes(time_ns, np.ones((24, 1), bool), np.zeros((24, 1), bool))
    assert first[11, 0] == -1
    assert first[10, 0] == 0
    assert first[12, 0] == 12


def test_too_few_nodes_give_nothing():
    time_ns = np.arange(5) * 900 * 10**9
    table = Orbits(time_ns, np.array([1]), np.ones((5, 1, 3)) * 2e7, np.zeros((5, 1)))
    position, velocity = orbit_states(table, [1], time_ns[2:3], 0)
    assert np.isnan(position).all()
    assert np.isnan(velocity).all()


def test_gravity_of_a_point_and_of_the_flattening():
    # J2 acceleration in closed form: Montenbruck & Gill (2000), section 3.2; J2 and radius of
    # IERS Conventions (2010), table 1.1 (J2 differs from the field's C20 by 1e-6 of itself)
    gm, radius, j2 = 3.986004418e14, 6378136.6, 4.84165143790815e-4 * np.sqrt(5.0)
    c, s = _coefficients(2)
    c[2, 1] = c[2, 2] = s[2, 1] = s[2, 2] = 0.0
    x, y, z = 1.5e7, -1.2e7, 1.8e7
    out = np.empty(3)
    gravity(x, y, z, c, s, np.zeros((4, 4)), np.zeros((4, 4)), out)
    r = np.sqrt(x * x + y * y + z * z)
    flat = 1.5 * j2 * gm * radius**2 / r**5
    horizontal = -gm / r**3 - flat * (1 - 5 * z * z / r**2)
    vertical = -gm / r**3 - flat * (3 - 5 * z * z / r**2)
    np.testing.assert_allclose(out, [horizontal * x, horizontal * y, vertical * z], rtol=1e-14)


def test_gravity_is_the_gradient_of_a_harmonic_potential():
    # Laplace's equation: the divergence of the pull vanishes outside the masses
    c, s = _coefficients()
    size = c.shape[0] + 1
    point, h, out = np.array([1.1e7, 0.8e7, -0.9e7]), 100.0, np.empty(3)
    divergence, terms = 0.0, []
    for axis in range(3):
        for sign in (1.0, -1.0):
            at = point.copy()
            at[axis] += sign * h
            gravity(*at, c, s, np.zeros((size, size)), np.zeros((size, size)), out)
            divergence += sign * out[axis] / (2 * h)
            terms.append(abs(out[axis] / (2 * h)))
    assert abs(divergence) < 1e-7 * max(terms)


def test_the_pull_of_the_moon_stretches_and_squeezes():
    # tidal acceleration 2 GM r / d^3 along and -GM r / d^3 across, to first order in r/d
    # (Montenbruck & Gill 2000, section 3.3.2); without the solid tide
    moon, r = np.array([[3.844e8, 0.0, 0.0]]), 1e5
    scale = 4.902800e12 * r / 3.844e8**3
    along, across = np.zeros(3), np.zeros(3)
    body_pull(4.902800e12, moon, 0, r, 0.0, 0.0, 0.0, along)
    body_pull(4.902800e12, moon, 0, 0.0, r, 0.0, 0.0, across)
    assert abs(along[0] / scale - 2.0) < 1e-3
    assert abs(across[1] / scale + 1.0) < 1e-3


def test_orientation_is_held_for_two_days_and_no_longer():
    day = 86_400 * 10**9
    start = 1_420_070_400_000_000_000
    column = np.array([1.0, 2.0]) * 1e-6
    table = EarthOrientation(start + np.arange(2) * day, *[column.copy() for _ in range(6)])
    held = persistent_orientation(table, start - day, start + 2 * day)
    np.testing.assert_allclose(held.pole_x_rad, [1e-6, 1e-6, 2e-6, 2e-6])
    assert persistent_orientation(table, start, start + 5 * day) is None
    assert persistent_orientation(None, start, start) is None


def test_a_table_that_reaches_far_enough_is_left_alone(invented):
    orbits = invented.orbits
    assert extend_orbits(orbits, int(orbits.time_ns[-7])) is orbits


def test_a_satellite_that_was_moved_is_not_continued(invented):
    orbits = invented.orbits
    position = orbits.position_m.copy()
    position[-5:, 0] += 30.0
    moved = replace(orbits, position_m=position)
    longer = extend_orbits(moved, int(orbits.time_ns[-1]))
    assert len(longer.time_ns) == len(orbits.time_ns) + NODES // 2
    assert np.isnan(longer.position_m[-1, 0]).all()


@pytest.mark.real
@pytest.mark.compiled
def test_hidden_nodes_of_a_real_table(reference_data):
    folder = reference_data / "gnss" / "rosalia_2025_001"
    table = read_sp3(folder / "COD0MGXFIN_20250010000_01D_05M_ORB.SP3.gz")
    thin = cut(table, slice(None, None, 3))
    hidden = slice(26, 264, 3)  # 2 to 22 h
    time_ns, start = table.time_ns[hidden], int(table.time_ns[0])
    position, _ = orbit_states(thin, table.satellites, time_ns, start)
    fixed = turn_about_z(position, -OMEGA * (time_ns - start)[:, None] * 1e-9)
    error = np.linalg.norm(fixed - table.position_m[hidden], axis=2)
    # common practice: mm level; the table is rounded to 1 mm; largest at eccentricity 0.16
    assert np.sqrt(np.nanmean(error**2)) < 1.5 * mm
    assert np.nanmax(error) < 10 * mm


@pytest.mark.real
@pytest.mark.compiled
def test_both_ends_of_a_real_table_are_continued_to_centimetres(reference_data):
    folder = reference_data / "gnss" / "esbc_2020_177"
    table = read_sp3(folder / "GRG0MGXFIN_20201770000_01D_15M_ORB.SP3.gz")
    inner = cut(table, slice(8, 80))
    longer = extend_orbits(inner, int(inner.time_ns[-1]), None, int(inner.time_ns[0]))
    half = NODES // 2
    np.testing.assert_array_equal(longer.position_m[half:-half], inner.position_m)
    assert longer.orbit_predicted[:half].all()
    assert not longer.orbit_predicted[half:-half].any()
    after = np.linalg.norm(longer.position_m[-half] - table.position_m[80], axis=1)
    before = np.linalg.norm(longer.position_m[half - 1] - table.position_m[7], axis=1)
    # positioning-notes, lesson 2: a short dynamic fit gives 2 cm
    for error in (after, before):
        assert np.isfinite(error).mean() > 0.95
        assert np.sqrt(np.nanmean(error**2)) < 30 * mm
        assert np.nanmedian(error) < 20 * mm
