"""Levels from passes: laws on an invented plain, and the surface of a track."""

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.lakes.altimetry import SurfacePoints, lake_levels, passes_of
from stakeline.lakes.motion_pattern import pattern_of, places_over
from stakeline.lakes.outline import ellipse_outline
from stakeline.lakes.response import Ice
from stakeline.lakes.track_surface import crossings, track_surface

DAY_NS = 86400 * 10**9
LAKE = ellipse_outline("Plain", (0.0, 0.0), (2000.0, 1500.0))
LEVELS = np.array([0.0, 1.0, 2.0, -0.5, 0.3, 1.2, 0.1, -1.0])


def surface(point):
    """Return a slope with waves. [m]"""
    x, y = point.T
    return 500.0 + 0.01 * x - 0.02 * y + 2.0 * np.cos(x / 800.0) + 1.5 * np.sin(y / 700.0)


def passes(rng, pattern, noise=0.05, levels=LEVELS, beams=3, bias=0.0):
    """Return points of two crossing bundles, flown in turn, whose lake moves by ``levels``."""
    ahead = np.arange(-7000.0, 7000.0, 100.0)
    parts = []
    for k, level in enumerate(levels):
        bundle, turn = k % 2, (0.4, -0.5)[k % 2]
        off, wrong = rng.normal(0.0, 40.0), rng.normal(0.0, bias)
        for beam in range(beams):
            across = (beam - 1) * 1100.0 + off
            x = np.cos(turn) * ahead - np.sin(turn) * across
            y = np.sin(turn) * ahead + np.cos(turn) * across
            point = np.stack([x, y], axis=1)
            height = surface(point) + level * pattern.base(point) + wrong
            height += rng.normal(0.0, noise, len(x))
            time_ns = np.full(len(x), k * 40 * DAY_NS)
            track = np.full(len(x), bundle * beams + beam)
            sigma = np.full(len(x), noise)
            parts.append((time_ns, point, height, sigma, track, np.full(len(x), k // 2)))
    return SurfacePoints(*(np.concatenate(p) for p in zip(*parts, strict=True)), None)


@pytest.fixture(scope="module")
def pattern():
    return pattern_of(LAKE, 2000.0)


@pytest.fixture(scope="module")
def found(pattern):
    points = passes(np.random.default_rng(1), pattern, bias=0.03)
    return points, lake_levels(points, LAKE)


def test_levels_are_found_within_their_sigma(found):
    _, levels = found
    change, sigma = levels.since()
    assert sigma[1:].max() < 0.15
    assert (np.abs(change - LEVELS)[1:] < 3.0 * sigma[1:]).all()
    assert np.abs(change - LEVELS).max() < 0.12  # m; noise 0.05 m, tracks 40 m apart


def test_a_height_added_to_all_changes_nothing(found):
    points, levels = found
    higher = SurfacePoints(points.time_ns, points.point_m, points.height_m + 25.0, points.sigma_m,
                           points.track, points.cycle, None)  # fmt: skip
    again = lake_levels(higher, LAKE)
    np.testing.assert_allclose(again.since()[0], levels.since()[0], atol=2e-3)


def test_changes_add_up_and_turn_round(found):
    _, levels = found
    first, second = levels.change(0, 3)[0], levels.change(3, 5)[0]
    assert first + second == pytest.approx(levels.change(0, 5)[0], abs=1e-12)
    there, back = levels.change(1, 4), levels.change(4, 1)
    assert (there[0], there[1]) == (pytest.approx(-back[0]), pytest.approx(back[1]))


def test_where_nothing_moves_no_change_is_seen(pattern):
    still = passes(np.random.default_rng(2), pattern, levels=np.zeros(8))
    change, sigma = lake_levels(still, LAKE).since()
    assert (np.abs(change[1:]) < 3.0 * sigma[1:]).all()


def test_odd_points_do_not_move_a_level(found):
    points, levels = found
    rng = np.random.default_rng(3)
    odd = rng.choice(len(points.time_ns), 60, replace=False)
    height = points.height_m.copy()
    height[odd] += rng.uniform(2.0, 15.0, 60)
    height[odd[:5]] += 2000.0
    wild = SurfacePoints(points.time_ns, points.point_m, height, points.sigma_m, points.track,
                         points.cycle, None)  # fmt: skip
    again = lake_levels(wild, LAKE)
    sigma = levels.since()[1][1:]
    assert (np.abs(again.since()[0] - levels.since()[0])[1:] < 2.0 * sigma).all()


def test_at_a_place_the_height_follows_the_share(found):
    _, levels = found
    share, sigma = levels.share((0.0, 0.0))
    height, covariance = levels.at((0.0, 0.0))
    np.testing.assert_allclose(height, share * levels.level_m)
    assert share == pytest.approx(levels.pattern.base(np.zeros((1, 2)))[0], abs=3.0 * sigma)
    assert (np.linalg.eigvalsh(covariance) > -1e-9).all()
    assert levels.share((9000.0, 0.0))[0] == pytest.approx(0.0, abs=1e-6)


def test_without_crossing_tracks_the_zeros_are_told_apart(pattern):
    points = passes(np.random.default_rng(4), pattern)
    one = points.chosen(points.track < 3)
    moved = SurfacePoints(one.time_ns, one.point_m, one.height_m, one.sigma_m, one.track, one.cycle,
                          None)  # fmt: skip
    levels = lake_levels(moved, LAKE)
    assert "no tracks cross: levels of different tracks have no common zero" in levels.notes
    assert levels.change(0, 1)[0] == pytest.approx(LEVELS[2], abs=0.2)


def test_what_cannot_be_solved_is_refused(found):
    points, _ = found
    first = points.time_ns == points.time_ns[0]
    with pytest.raises(SolutionError, match="1 passes"):
        lake_levels(points.chosen(first), LAKE)
    with pytest.raises(SettingsError, match="EPSG:3413"):
        lake_levels(points, ellipse_outline("Far", (-2e5, -1e6), (2000.0, 1500.0), epsg=3413))


def test_passes_are_parted_by_pauses():
    time_ns = np.array([0, 5, 700, 3, 705], np.int64) * 10**9
    assert passes_of(time_ns, 600.0).tolist() == [0, 0, 1, 0, 1]


@pytest.mark.parametrize("ice", [None, Ice(800.0)])
def test_the_pattern_has_the_mean_1_and_the_bend_0(ice):
    pattern = pattern_of(LAKE, 2000.0, ice)
    place = places_over(LAKE)
    assert pattern.base(place).mean() == pytest.approx(1.0, abs=1e-9)
    assert pattern.bend(place).mean() == pytest.approx(0.0, abs=1e-9)
    assert abs(pattern.base(np.array([[12e3, 0.0]]))[0]) < 0.02


def test_places_are_spread_evenly_over_the_lake():
    place = places_over(LAKE)
    assert LAKE.contains(place).all()
    np.testing.assert_allclose(place.mean(axis=0), LAKE.centre_m, atol=20.0)


def test_splines_hold_a_quadratic_across_and_a_line_along():
    rng = np.random.default_rng(5)
    along, across = rng.uniform(-5000.0, 5000.0, 400), rng.uniform(-90.0, 90.0, 400)
    turn = 0.7
    point = np.stack([np.cos(turn) * along - np.sin(turn) * across,
                      np.sin(turn) * along + np.cos(turn) * across], axis=1)  # fmt: skip
    track = track_surface(point)
    s, c = track.frame(point)
    height = 3.0 + 0.01 * s + 0.02 * c + 1e-5 * c**2
    matrix = track.design(point).toarray()
    found, *_ = np.linalg.lstsq(matrix, height, rcond=None)
    np.testing.assert_allclose(matrix @ found, height, atol=1e-6)
    assert np.abs(np.abs(s) - np.abs(along - np.median(along))).max() < 120.0


def test_tracks_cross_where_their_lines_do():
    ahead = np.arange(-3000.0, 3000.0, 50.0)
    lines = [np.stack([ahead, 0.0 * ahead + 500.0], axis=1),
             np.stack([0.0 * ahead + 200.0, ahead], axis=1),
             np.stack([ahead, 0.0 * ahead - 400.0], axis=1)]  # fmt: skip
    found = crossings([track_surface(p) for p in lines], lines)
    assert [(i, j) for i, j, _ in found] == [(0, 1), (1, 2)]
    np.testing.assert_allclose([p for *_, p in found], [[200.0, 500.0], [200.0, -400.0]], atol=1e-6)
    short = [lines[0], lines[1][ahead > 900.0]]
    assert crossings([track_surface(p) for p in short], short) == []
