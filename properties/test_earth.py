"""Laws of geodesy that hold everywhere."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from stakeline.constants import NS_PER_DAY
from stakeline.earth.ellipsoid import (
    enu_axes,
    enu_from_xyz,
    geodetic_from_xyz,
    xyz_from_enu,
    xyz_from_geodetic,
)
from stakeline.earth.frames import transform
from stakeline.earth.projection import ANTARCTIC, ARCTIC, PolarStereographic
from stakeline.earth.rotation import celestial_to_terrestrial
from stakeline.earth.sun_moon import sun_moon
from stakeline.earth.tides import permanent_tide, solid_tide
from stakeline.earth.troposphere import climate, mapping_functions
from stakeline.time import from_calendar

latitudes = st.floats(-np.pi / 2, np.pi / 2)
longitudes = st.floats(-np.pi + 1e-9, np.pi)
heights = st.floats(-500.0, 9000.0)
epochs = st.integers(from_calendar(1995, 1, 1), from_calendar(2035, 1, 1))
frames = st.sampled_from(["IGb14", "ITRF2020", "ITRF2008", "ITRF2000", "ITRF93", "ETRF2000"])


@given(latitudes, longitudes, heights, st.floats(1e4, 3e7))
def test_geodetic_round_trip(latitude, longitude, height, high):
    for level, tolerance in ((height, 2e-8), (high, 1e-3)):
        xyz = xyz_from_geodetic(latitude, longitude, level)
        back = xyz_from_geodetic(*geodetic_from_xyz(xyz))
        np.testing.assert_allclose(back, xyz, rtol=0, atol=tolerance)


@given(latitudes, longitudes)
def test_axes_are_a_right_handed_frame(latitude, longitude):
    axes = enu_axes(latitude, longitude)
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-14)
    np.testing.assert_allclose(np.cross(axes[0], axes[1]), axes[2], atol=1e-14)
    step = np.array([1.0, -2.0, 3.0])
    back = xyz_from_enu(enu_from_xyz(step, latitude, longitude), latitude, longitude)
    np.testing.assert_allclose(back, step, atol=1e-14)


@settings(deadline=None)
@given(st.floats(0.0, 89.9999), longitudes, st.floats(30.0, 90.0), st.sampled_from([1.0, -1.0]))
def test_projection_round_trip(latitude_deg, longitude, true_scale_deg, pole):
    chart = PolarStereographic(pole * np.radians(true_scale_deg), 0.7, 1e5, -3e5)
    latitude = pole * np.radians(latitude_deg)
    there = chart.forward(latitude, longitude)
    again = chart.forward(*chart.inverse(*there))
    np.testing.assert_allclose(again, there, rtol=0, atol=1e-4)


@given(st.floats(55.0, 89.9), longitudes, st.floats(0.0, 2 * np.pi))
def test_point_scale_is_the_same_in_every_direction(latitude_deg, longitude, azimuth):
    for chart in (ARCTIC, ANTARCTIC):
        latitude = chart.pole * np.radians(latitude_deg)
        here = xyz_from_geodetic(latitude, longitude, 0.0)
        step = xyz_from_enu([np.sin(azimuth), np.cos(azimuth), 0.0], latitude, longitude)
        ends = [geodetic_from_xyz(here + sign * step) for sign in (0.5, -0.5)]
        (x1, y1), (x2, y2) = (chart.forward(end[0], end[1]) for end in ends)
        assert abs(np.hypot(x1 - x2, y1 - y2) - chart.point_scale(latitude)) < 1e-6


@given(frames, frames, epochs)
def test_frames_round_trip(source, target, epoch):
    xyz = np.array([1202433.6152, 252632.4041, 6237772.7642])
    there = transform(xyz, source, epoch, target)
    np.testing.assert_allclose(transform(there, target, epoch, source), xyz, rtol=0, atol=1e-8)
    assert np.linalg.norm(there - xyz) < 2.0  # plates drift by centimetres a year


@given(frames, frames, frames, epochs)
def test_frames_do_not_depend_on_the_way(first, second, third, epoch):
    xyz = np.array([1202433.6152, 252632.4041, 6237772.7642])
    direct = transform(xyz, first, epoch, third)
    by_way = transform(transform(xyz, first, epoch, second), second, epoch, third)
    np.testing.assert_allclose(by_way, direct, rtol=0, atol=1e-7)


@settings(deadline=None)
@given(latitudes, longitudes, epochs)
def test_tide_is_bounded_and_follows_the_bodies(latitude, longitude, epoch):
    when = np.array([epoch])
    xyz = xyz_from_geodetic(latitude, longitude, 0.0)
    moved = solid_tide(xyz, when, *sun_moon(when))[0]
    assert np.linalg.norm(moved) < 0.6
    if abs(latitude) < 1.5:
        mean_free = solid_tide(xyz, when, *sun_moon(when), restore_mean=True)[0]
        np.testing.assert_allclose(moved - mean_free, permanent_tide(xyz), atol=1e-12)


@settings(deadline=None)
@given(latitudes.filter(lambda x: abs(x) < 1.55), longitudes, st.floats(-3.0, 3.0), epochs)
def test_tide_turns_with_the_earth(latitude, longitude, turn, epoch):
    # step 1 alone does not know Greenwich; step 2 does, through its arguments: a few millimetres
    when = np.array([epoch])
    rotation = np.array(
        [[np.cos(turn), -np.sin(turn), 0.0], [np.sin(turn), np.cos(turn), 0.0], [0.0, 0.0, 1.0]]
    )
    sun, moon = sun_moon(when)
    xyz = xyz_from_geodetic(latitude, longitude, 0.0)
    here = solid_tide(xyz, when, sun, moon)[0]
    there = solid_tide(rotation @ xyz, when, sun @ rotation.T, moon @ rotation.T)[0]
    assert np.linalg.norm(rotation @ here - there) < 0.05


@settings(deadline=None)
@given(st.lists(epochs, min_size=1, max_size=5))
def test_celestial_matrix_is_a_rotation(times):
    for turn in celestial_to_terrestrial(np.array(times)):
        np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-13)
        assert np.linalg.det(turn) > 0.0


@given(st.floats(np.radians(3.0), np.pi / 2), latitudes, longitudes, heights, epochs)
@settings(deadline=None)
def test_air_is_plausible_anywhere(elevation, latitude, longitude, height, epoch):
    air = climate(latitude, longitude, height, epoch)
    assert 240.0 < air.pressure_hPa[0] < 1110.0  # 251 hPa at 9 km over a pole in winter: measured
    assert 160.0 < air.temperature_K[0] < 325.0
    assert 0.0 < air.vapour_hPa[0] < 50.0  # a hot, saturated 33 degC: Magnus formula, from memory
    dry, wet = mapping_functions([elevation], air.ah, air.aw, latitude, height, epoch)
    assert 1.0 - 1e-12 <= dry[0] < 1.0 / np.sin(elevation) + 1e-9
    assert 1.0 - 1e-12 <= wet[0] < 1.0 / np.sin(elevation) + 1e-9


def test_a_day_makes_the_moon_late():
    # the Moon comes back to a meridian after 24.84 h: common knowledge
    when = from_calendar(2020, 1, 1) + np.array([0, round(1.03505 * NS_PER_DAY)])
    _, moon = sun_moon(when)
    angle = np.arctan2(moon[:, 1], moon[:, 0])
    assert abs(np.angle(np.exp(1j * (angle[1] - angle[0])))) < 0.05
