"""Shadows within a station: laws of geometry, and what they take from the light."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.station.battery import Bank
from stakeline.station.box import Box
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.offered import light_by_cloud, shadow_losses, sun_of_year
from stakeline.station.panel import Panel
from stakeline.station.shading import lost_beam, plates_of, shaded_share, sun_vectors
from stakeline.station.weather_record import HOUR_NS
from stakeline.time import from_calendar

AZIMUTHS = np.radians(np.arange(0.0, 360.0, 15.0))


def placed(name="front", **changed):
    """Return an upright panel of 1 m by 1 m that faces south, 1 m above the ground."""
    told = {"count": 1, "tilt_deg": 90.0, "azimuth_deg": 180.0, "width_m": 1.0, "tall_m": 1.0,
            "bottom_m": 1.0, "out_m": 1.0}  # fmt: skip
    return PlacedPanel(name, Panel(), **(told | changed))


def station(*panels, mast_m=(0.0, 0.0), depth_m=1.0):
    loads = (Load("receiver", "receiver", 3.0),)
    return Design("HV01", Site(79.0, 17.0, 200.0), panels, Bank(), Box(), loads,
                  box_depth_m=depth_m, mast_m=mast_m)  # fmt: skip


def share(design, group, elevation_deg, azimuth_deg=180.0):
    """Return the shaded share of one direction."""
    return shaded_share(design, group, np.radians([elevation_deg]), np.radians([azimuth_deg]))[0]


@pytest.fixture(scope="module")
def rows():
    """Return a station of two rows, the front one 2 m before the rear one."""
    front, rear = placed(out_m=1.5), placed("rear", out_m=-0.5)
    return station(front, rear), front, rear


def test_the_front_row_is_never_shaded_and_the_rear_one_not_from_behind(rows):
    design, front, rear = rows
    elevation = np.full(AZIMUTHS.size, 0.1)
    assert (shaded_share(design, front, elevation, AZIMUTHS) == 0.0).all()
    behind = np.cos(AZIMUTHS - np.pi) < 0.0
    found = shaded_share(design, rear, elevation, AZIMUTHS)
    assert (found[behind] == 0.0).all()
    assert found.max() > 0.0


def test_equal_rows_hide_all_at_the_horizon_and_by_the_tangent_above(rows):
    """Two rows d apart and t tall: 1 - d tan(e) / t of the rear one, textbooks of solar power."""
    design, _, rear = rows
    for elevation_deg in (0.0, 5.0, 12.0, 20.0, 30.0):
        lawful = max(0.0, 1.0 - 2.0 * np.tan(np.radians(elevation_deg)))
        assert share(design, rear, elevation_deg) == pytest.approx(lawful, abs=1.0 / 24.0 + 1e-9)


def test_a_shadow_slips_aside_by_the_tangent(rows):
    design, _, rear = rows
    for aside_deg in (5.0, 15.0, 40.0):
        lawful = max(0.0, 1.0 - 2.0 * np.tan(np.radians(aside_deg)))
        for azimuth_deg in (180.0 - aside_deg, 180.0 + aside_deg):
            found = share(design, rear, 0.0, azimuth_deg)
            assert found == pytest.approx(lawful, abs=1.0 / 24.0 + 1e-9)


def test_left_and_right_are_alike():
    east, west = placed("east", azimuth_deg=150.0), placed("west", azimuth_deg=210.0)
    design = station(east, west, placed("middle", out_m=0.2))
    elevation = np.full(AZIMUTHS.size, 0.2)
    left = shaded_share(design, east, elevation, AZIMUTHS)
    right = shaded_share(design, west, elevation, (2.0 * np.pi - AZIMUTHS) % (2.0 * np.pi))
    np.testing.assert_allclose(left, right, atol=1e-12)
    middle = shaded_share(design, design.panels[2], elevation, AZIMUTHS)
    assert middle.max() > 0.0


def test_a_turned_station_under_a_turned_sun_is_the_same(rows):
    design, _, rear = rows
    turned = [replace(one, azimuth_deg=240.0) for one in design.panels]
    elevation = np.full(AZIMUTHS.size, 0.15)
    plain = shaded_share(design, rear, elevation, AZIMUTHS)
    found = shaded_share(station(*turned), turned[1], elevation, AZIMUTHS + np.radians(60.0))
    assert np.abs(found - plain).max() <= 1.0 / 12.0  # rays on the very edge of a shadow may differ
    assert found.mean() == pytest.approx(plain.mean(), abs=0.01)


def test_panels_around_a_mast_that_look_outward_stay_bright():
    ring = [placed(f"{a}", azimuth_deg=a, out_m=0.3, width_m=0.5) for a in (0.0, 120.0, 240.0)]
    design = station(*ring, mast_m=(0.09, 2.5))
    elevation = np.full(AZIMUTHS.size, 0.1)
    for group in ring:
        assert (shaded_share(design, group, elevation, AZIMUTHS) == 0.0).all()


def test_a_mast_hides_its_width():
    group = placed("rear", out_m=-1.0)
    design = station(group, mast_m=(0.25, 5.0))
    assert share(design, group, 10.0) == pytest.approx(0.25, abs=1.0 / 12.0)
    assert share(design, group, 10.0, 120.0) == 0.0  # passes beside
    assert share(station(group, mast_m=(0.25, 0.5)), group, 10.0) == 0.0  # ends below the panel


def test_a_box_on_the_surface_hides_what_is_low_behind_it():
    group = placed("rear", out_m=-1.0, bottom_m=0.0, width_m=0.2)
    found = share(station(group, depth_m=None), group, 0.001)
    assert found == pytest.approx(Box().outer_m[2], abs=1.0 / 24.0)
    assert share(station(group), group, 0.001) == 0.0  # in the snow
    assert share(station(group, depth_m=None), group, 60.0) == 0.0


def test_a_panel_above_hides_a_high_sun():
    lower = placed("lower", tilt_deg=0.0, bottom_m=1.0, out_m=0.0)
    upper = placed("upper", tilt_deg=0.0, bottom_m=2.0, out_m=0.0)
    design = station(lower, upper)
    assert share(design, lower, 90.0) == 1.0
    assert share(design, upper, 90.0) == 0.0
    assert share(design, lower, 45.0) == pytest.approx(0.0, abs=1e-9)


def test_points_of_many_panels_are_their_mean():
    rear = placed("rear", out_m=-0.5, count=3)
    design = station(placed(out_m=1.5), rear)
    assert plates_of(rear).shape == (3, 11)
    assert share(design, rear, 0.0) == pytest.approx(1.0 / 3.0, abs=0.03)


def test_sun_vectors_are_units_toward_the_sun():
    found = sun_vectors(np.radians([0.0, 0.0, 90.0]), np.radians([0.0, 90.0, 0.0]))
    np.testing.assert_allclose(found, [[0, 1, 0], [1, 0, 0], [0, 0, 1]], atol=1e-12)


def test_shadows_take_beam_by_their_weight_and_no_more_than_all(rows):
    design, _, rear = rows
    at = np.radians([0.0, 20.0, 40.0]), np.radians([180.0, 180.0, 180.0])
    area = shaded_share(design, rear, *at)
    np.testing.assert_allclose(lost_beam(design, rear, *at), np.minimum(2.0 * area, 1.0))
    assert (lost_beam(design, replace(rear, shade_loss=0.0), *at) == 0.0).all()


def test_light_of_a_shaded_panel_keeps_what_is_diffuse(rows):
    design, front, rear = rows
    start = int(from_calendar(2031, 3, 20))
    sun = sun_of_year(design.site, start + HOUR_NS * np.arange(24))
    open_, dark = (light_by_cloud(design, group, sun) for group in (front, rear))
    assert (dark[0] <= open_[0] + 1e-9).all()
    assert dark[0].sum() < 0.9 * open_[0].sum()
    full = [parts.sum(axis=0) for parts in (open_, dark)]  # cover 1: no beam
    np.testing.assert_allclose(*full, rtol=1e-9, atol=1e-9)
    lost = shadow_losses(design, sun, 0.5)
    assert lost["front"] == 0.0
    assert 0.0 < lost["rear"] < 1.0 - dark[0].sum() / open_[0].sum()  # cloud has no shadows
    bare = replace(rear, shade_loss=0.0)
    np.testing.assert_allclose(
        light_by_cloud(station(front, bare), bare, sun), open_, rtol=1e-9, atol=1e-9
    )
