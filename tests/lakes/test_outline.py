"""Outlines: areas by another library, distances by hand, and what is refused."""

import numpy as np
import pyproj
import pytest
from scipy.stats import norm

from stakeline.errors import SettingsError
from stakeline.lakes.outline import (
    Outline,
    drawn_outlines,
    ellipse_outline,
    moved_margin,
    outline_from_degrees,
    outline_from_map,
    recognised_outline,
    same_map,
)

SQUARE = np.array([[0.0, 0.0], [4000.0, 0.0], [4000.0, 4000.0], [0.0, 4000.0], [0.0, 0.0]])
HOLE = np.array([[1000.0, 1000.0], [2000.0, 1000.0], [2000.0, 2000.0], [1000.0, 2000.0]])


def degrees_ring(longitude, latitude, half_deg, points=200):
    angle = np.linspace(0.0, 2.0 * np.pi, points)
    wide = half_deg / np.cos(np.radians(latitude))
    return np.stack([longitude + wide * np.cos(angle), latitude + half_deg * np.sin(angle)], 1)


@pytest.mark.parametrize(("longitude", "latitude", "epsg"), [(-30.0, 79.0, 3413), (160, -80, 3031)])
def test_area_is_that_of_the_ellipsoid(longitude, latitude, epsg):
    ring = degrees_ring(longitude, latitude, 0.1)
    outline = outline_from_degrees("lake", ring, epsg)
    # expected: geodesic polygon area of the pyproj library (Karney 2013)
    area, _ = pyproj.Geod(ellps="WGS84").polygon_area_perimeter(*ring.T)
    assert outline.area_m2 == pytest.approx(abs(area), rel=2e-5)
    assert outline.epsg == epsg


def test_area_on_the_map_would_be_wrong():
    outline = outline_from_degrees("lake", degrees_ring(0.0, -80.0, 0.1), 3031)
    # expected scale at 80 S: EPSG Guidance Note 7-2 by PROJ, checks.md 4.2
    assert outline.scale == pytest.approx(0.980214, abs=1e-6)


def test_square_with_a_hole_by_hand():
    outline = Outline("square", SQUARE, (HOLE,))
    assert outline.area_m2 == pytest.approx(16e6 - 1e6)
    points = np.array([[500.0, 3000.0], [5000.0, 2000.0], [1500.0, 1500.0], [-300.0, -400.0]])
    assert outline.contains(points).tolist() == [True, False, False, False]
    assert outline.margin_m(points) == pytest.approx([500.0, -1000.0, -500.0, -500.0])


def test_a_clockwise_ring_is_turned():
    assert Outline("lake", SQUARE[::-1]).area_m2 == pytest.approx(16e6)


def test_margin_takes_the_scale_out():
    outline = ellipse_outline("round", (0.0, 1.1e6), (3000.0, 3000.0), epsg=3031)
    assert outline.area_m2 == pytest.approx(np.pi * 9e6, rel=1e-9)
    assert outline.margin_m([[0.0, 1.1e6]])[0] == pytest.approx(3000.0, rel=1e-3)


@pytest.mark.parametrize(
    "ring",
    [
        [[0, 0], [4000, 4000], [4000, 0], [0, 4000]],  # bow tie
        [[0, 0], [4000, 0], [4000, 4000], [2000, -1000], [0, 4000]],  # a spike through an edge
    ],
)
def test_a_ring_that_crosses_itself_is_refused(ring):
    with pytest.raises(SettingsError, match="crosses itself near"):
        Outline("bad", np.array(ring, float))


def test_degrees_and_metres_are_told_apart():
    ring = degrees_ring(-30.0, 79.0, 0.05)
    outline, said = recognised_outline("lake", ring, 3413)
    assert "degrees" in said
    again, said = recognised_outline("lake", outline.ring_m, 3413)
    assert "metres of EPSG:3413" in said
    assert again.area_m2 == pytest.approx(outline.area_m2, rel=1e-12)


def test_wrong_kinds_are_refused():
    ring = degrees_ring(-30.0, 79.0, 0.05)
    with pytest.raises(SettingsError, match="these are degrees"):
        outline_from_map("lake", ring, 3413)
    with pytest.raises(SettingsError, match="latitude first"):
        outline_from_degrees("lake", ring[:, ::-1] * [1.0, 5.0], 3413)
    with pytest.raises(SettingsError, match="latitude given first"):
        outline_from_degrees("lake", ring[:, ::-1], 3413)
    with pytest.raises(SettingsError, match="another map"):
        outline_from_degrees("lake", ring, 3031)
    with pytest.raises(SettingsError, match="projected metres"):
        outline_from_degrees("lake", SQUARE + 1e6, 3413)
    mixed = np.vstack([ring[:-1], [[1e6, 1e6]]])
    with pytest.raises(SettingsError, match="look like degrees and the others like metres"):
        recognised_outline("lake", mixed, 3413)


def test_small_loops_of_tracing_are_cut_off_and_said():
    ring = np.vstack([SQUARE[:1], [[2000, 0], [2020, 0], [2010, -20], [2000, 0]], SQUARE[1:]])
    with pytest.raises(SettingsError, match="crosses itself"):
        outline_from_map("lake", ring + 1e6, 3413)
    outline, said = recognised_outline("lake", ring + 1e6, 3413)
    assert "1 small loops of its ring were cut off" in said
    assert outline.area_m2 * outline.scale**2 == pytest.approx(16e6)
    large = np.array([[0, 0], [4e3, 4e3], [8e3, 0], [8e3, 8e3], [4e3, 4e3], [0, 8e3]]) + 1e6
    with pytest.raises(SettingsError, match="crosses itself"):
        recognised_outline("eight", large, 3413)


def test_other_rings_are_refused():
    with pytest.raises(SettingsError, match="a ring needs three"):
        Outline("line", SQUARE[:2])
    with pytest.raises(SettingsError, match="hole lies partly outside"):
        Outline("square", SQUARE, (HOLE + 3000.0,))
    with pytest.raises(SettingsError, match="no lake below ice is wider"):
        Outline("continent", SQUARE * 1000.0)
    with pytest.raises(SettingsError, match="finite numbers"):
        Outline("missing", SQUARE * np.nan)
    with pytest.raises(SettingsError, match="several maps"):
        same_map([Outline("a", SQUARE, (), 3413), Outline("b", SQUARE, (), 3031)])


@pytest.mark.parametrize("step", [300.0, -300.0])
def test_a_moved_margin_of_a_circle(step):
    outline = ellipse_outline("round", (0.0, 0.0), (3000.0, 3000.0), points=400)
    assert moved_margin(outline, step).area_m2 == pytest.approx(
        np.pi * (3000 + step) ** 2, rel=1e-3
    )
    square = moved_margin(Outline("square", SQUARE), step)
    assert square.area_m2 == pytest.approx((4000.0 + 2.0 * step) ** 2)


def test_drawn_outlines_spread_as_asked():
    outline = ellipse_outline("round", (0.0, 0.0), (3000.0, 3000.0))
    drawn = drawn_outlines([outline], None, 200.0, np.random.default_rng(1), 200)
    radius = np.array([o.radius_m for o in drawn])
    assert radius.mean() == pytest.approx(3000.0, abs=4 * 200 / 14)
    assert radius.std() == pytest.approx(200.0, rel=0.15)
    with pytest.raises(SettingsError, match="expected one of each"):
        drawn_outlines([outline], [0.5, 0.5], 0.0, np.random.default_rng(1), 2)


def test_few_drawn_outlines_reach_as_far_as_many():
    outline = ellipse_outline("round", (0.0, 0.0), (3000.0, 3000.0), points=24)
    held = []
    for seed in range(40):
        drawn = drawn_outlines([outline], None, 200.0, np.random.default_rng(seed), 24)
        steps = (np.array([o.radius_m for o in drawn]) - outline.radius_m) / 200.0
        share = np.diff(norm.cdf([steps.min(), steps.max()]))
        held.append(share[0])
    # one draw in each 24th part: 1 - 2 / 48 lies between the outer ones; 23 / 25 if all were free
    assert np.mean(held) == pytest.approx(1.0 - 1.0 / 24.0, abs=0.01)


def test_a_step_too_far_inward_is_halved():
    narrow = ellipse_outline("narrow", (0.0, 0.0), (3000.0, 200.0))
    drawn = drawn_outlines([narrow], None, 500.0, np.random.default_rng(2), 20)
    assert all(o.area_m2 > 0.0 for o in drawn)


@pytest.mark.real
def test_published_outlines_in_metres_are_recognised(reference_data):
    files = sorted((reference_data / "ice" / "lakes").glob("*_outline_epsg3031.xy"))
    assert len(files) == 4
    for file in files:
        ring = np.loadtxt(file)[:, :2]
        outline, said = recognised_outline(file.name, ring, 3031)
        assert "metres of EPSG:3031" in said
        # expected: shoelace sum of the ring as it is, loops of tracing and all
        x, y = (ring - ring[0]).T
        area = abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2.0 / outline.scale**2
        assert outline.area_m2 == pytest.approx(area, rel=2e-3)
