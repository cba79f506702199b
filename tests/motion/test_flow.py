"""Flow coordinates: laws of the plane, bends, maps, and no speed out of noise."""

import csv
import gzip

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.earth.ellipsoid import xyz_from_geodetic
from stakeline.earth.projection import projection
from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.flow import (
    along_path,
    fixed_path,
    flow_axes,
    mean_speed,
    noise_of_positions,
    rotate_covariance,
    smooth_path,
    straight_line,
    straight_path,
)
from stakeline.motion.local import (
    local_from_geodetic,
    local_from_map,
    local_from_xyz,
    true_velocity,
)
from stakeline.time import from_iso

MICROMETRE = 1e-6


def hours(count):
    return 10**18 + np.arange(count) * (NS_PER_DAY // 24)


def flat(east, north):
    return np.stack([east, north, np.zeros_like(east)], axis=-1)


def test_across_is_positive_to_the_left_looking_downstream():
    enu = np.array([[0.0, 1.0, 5.0], [1.0, 0.0, 6.0], [-1.0, 0.0, 7.0]])
    north = along_path(fixed_path(0.0), enu).flow_m
    assert north == pytest.approx(np.array([[1, 0, 5], [0, -1, 6], [0, 1, 7]]), abs=1e-12)
    west = along_path(fixed_path(np.radians(270.0)), enu).flow_m
    assert west == pytest.approx(np.array([[0, -1, 5], [-1, 0, 6], [1, 0, 7]]), abs=1e-12)


def test_axes_are_a_rotation():
    axes = flow_axes(np.linspace(0, 7, 20))
    assert axes @ np.swapaxes(axes, 1, 2) == pytest.approx(np.tile(np.eye(3), (20, 1, 1)))
    assert np.linalg.det(axes) == pytest.approx(np.ones(20))


def test_covariance_turns_with_the_positions():
    rng = np.random.default_rng(4)
    root = rng.normal(size=(3, 3))
    azimuth = np.radians(130.0)
    sample = rng.normal(size=(40000, 3)) @ root.T
    turned = along_path(fixed_path(azimuth), sample).flow_m
    expected = rotate_covariance(root @ root.T, azimuth)
    assert np.cov(turned.T) == pytest.approx(expected, abs=0.05 * np.trace(expected))
    one = rotate_covariance(np.diag([4.0, 1.0, 9.0]), np.radians(90.0))
    assert np.diag(one) == pytest.approx([4.0, 1.0, 9.0])
    assert np.linalg.eigvalsh(expected) == pytest.approx(np.linalg.eigvalsh(root @ root.T))


def test_level_travel_stays_level_and_metres_are_true():
    # 2 km along the meridian: arc of radius a(1-e2)/(1-e2 sin2)^1.5 (any geodesy text)
    latitude = np.radians(79.0) + np.linspace(0.0, 2000.0, 5) / 6.4e6
    local = local_from_geodetic(latitude, np.full(5, -0.5), np.full(5, 300.0))
    e2 = 0.00669437999014
    radius = 6378137.0 * (1 - e2) / (1 - e2 * np.sin(latitude.mean()) ** 2) ** 1.5 + 300.0
    assert local.enu_m[:, 2] == pytest.approx(0.0, abs=MICROMETRE)
    assert local.enu_m[:, 1] == pytest.approx(radius * (latitude - latitude[0]), abs=1e-3)
    xyz = xyz_from_geodetic(latitude, -0.5, 300.0)
    assert local_from_xyz(xyz).enu_m == pytest.approx(local.enu_m, abs=MICROMETRE)


@pytest.mark.parametrize(("epsg", "latitude_deg"), [(3413, 79.0), (3031, -80.0)])
def test_map_coordinates_become_true_metres(epsg, latitude_deg):
    rng = np.random.default_rng(1)
    latitude = np.radians(latitude_deg) + rng.normal(0, 1e-5, 30)
    longitude = np.radians(-50.0) + rng.normal(0, 1e-5, 30)
    height = rng.normal(100, 5, 30)
    easting, northing = projection(epsg).forward(latitude, longitude)
    found = local_from_map(easting, northing, height, epsg)
    expected = local_from_geodetic(latitude, longitude, height)
    assert found.enu_m == pytest.approx(expected.enu_m, abs=1e-5)
    # scale of a map speed at 80 S: 0.980214 (closed formula, Snyder 1987, equation 21-32)
    move = np.diff(np.stack([easting, northing]))
    east, north = true_velocity(*move, latitude[:-1], longitude[:-1], epsg)
    true = np.diff(expected.enu_m[:, :2], axis=0)
    assert np.stack([east, north], axis=1) == pytest.approx(true, abs=0.05)
    if epsg == 3031:
        ratio = np.hypot(*move) / np.hypot(*true.T)
        assert ratio == pytest.approx(0.980214, abs=5e-5)


def test_a_maps_covariance_is_turned_and_scaled():
    place = np.radians(-80.0), np.radians(40.0)
    easting, northing = projection(3031).forward(*place)
    covariance = np.tile(np.diag([4.0, 1.0, 9.0]), (2, 1, 1))
    local = local_from_map(
        np.array([easting, easting + 1.0]),
        np.array([northing, northing]),
        np.zeros(2),
        3031,
        covariance,
    )
    scale = 0.980214
    turned = local.covariance_m2[0]
    assert np.linalg.eigvalsh(turned[:2, :2]) == pytest.approx(
        [1 / scale**2, 4 / scale**2], rel=1e-5
    )
    direction = local.enu_m[1, :2] / np.hypot(*local.enu_m[1, :2])
    assert direction @ turned[:2, :2] @ direction == pytest.approx(4 / scale**2, rel=1e-4)
    assert turned[2, 2] == pytest.approx(9.0)
    with pytest.raises(SettingsError, match="EPSG:9999"):
        local_from_map(easting, northing, 0.0, 9999)


def test_a_still_station_has_no_speed():
    # the norm of noisy differences would be positive for each of them
    rng = np.random.default_rng(9)
    time_ns = hours(240)
    speeds, norms, seen = [], [], 0
    for _ in range(100):
        enu = rng.normal(0.0, 0.02, (240, 3))
        for make in (straight_path, smooth_path):
            path = make(time_ns, enu)
            seen += not path.warnings
            speeds.append(mean_speed(time_ns, along_path(path, enu).flow_m[:, 0])[0])
        norms.append(np.hypot(*straight_line(time_ns, enu[:, :2])[0]))
    error = np.std(speeds) / np.sqrt(len(speeds) / 2)
    assert abs(np.mean(speeds)) < 3.0 * error
    assert np.mean(norms) > 10.0 * np.std(norms) / np.sqrt(len(norms))
    assert seen <= 2


def test_a_random_walk_is_not_taken_for_flow():
    rng = np.random.default_rng(10)
    time_ns = hours(500)
    seen = 0
    for _ in range(200):
        path = straight_path(time_ns, np.cumsum(rng.normal(0, 0.01, (500, 3)), axis=0))
        seen += not path.warnings
    assert seen <= 3


def test_slow_flow_is_seen_and_its_direction_honest():
    rng = np.random.default_rng(12)
    time_ns = hours(720)
    days = (time_ns - time_ns[0]) / NS_PER_DAY
    azimuth = np.radians(215.0)
    off = []
    for _ in range(60):
        enu = flat(0.02 * days * np.sin(azimuth), 0.02 * days * np.cos(azimuth))
        path = straight_path(time_ns, enu + np.cumsum(rng.normal(0, 5e-4, enu.shape), axis=0))
        assert not path.warnings
        turn = (path.azimuth_rad - azimuth + np.pi) % (2 * np.pi) - np.pi
        off.append(turn / path.azimuth_sigma_rad)
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(1.0, abs=0.4)


def circle(radius_m, travel_m, count):
    """Positions on an arc that begins northward and bends to the left."""
    turn = np.linspace(0.0, travel_m / radius_m, count)
    return flat(radius_m * (np.cos(turn) - 1.0), radius_m * np.sin(turn)), radius_m * turn


def test_distance_along_a_bend():
    rng = np.random.default_rng(2)
    enu, arc = circle(100.0, 120.0, 800)
    time_ns = hours(800)
    path = smooth_path(time_ns, enu + rng.normal(0, 0.01, enu.shape))
    flow = along_path(path, enu)
    assert flow.flow_m[:, 0] - flow.flow_m[0, 0] == pytest.approx(arc - arc[0], abs=0.03)
    assert flow.flow_m[:, 1] == pytest.approx(0.0, abs=0.03)
    assert np.unwrap(flow.azimuth_rad)[[100, 700]] - 2 * np.pi == pytest.approx(
        -arc[[100, 700]] / 100.0, abs=0.02
    )
    straight = along_path(straight_path(time_ns, enu), enu).flow_m
    assert np.ptp(straight[:, 0]) < arc[-1] - 5.0


def test_across_of_a_bend_is_the_distance_to_it():
    enu, _ = circle(100.0, 120.0, 800)
    path = smooth_path(hours(800), enu, smoothing_m=10.0)
    inner, _ = circle(97.0, 97.0 * 1.2, 50)
    inner[:, 0] -= 3.0  # the same centre, 3 m to the left
    assert along_path(path, inner[5:-5]).flow_m[:, 1] == pytest.approx(3.0, abs=0.02)


def test_beyond_its_ends_a_path_goes_straight_on():
    enu, _ = circle(200.0, 60.0, 400)
    path = smooth_path(hours(400), enu)
    end = along_path(path, enu[-2:])
    direction = np.array([np.sin(end.azimuth_rad[1]), np.cos(end.azimuth_rad[1]), 0.0])
    beyond = along_path(path, enu[-1:] + 7.0 * direction)
    assert beyond.flow_m[0, 0] - end.flow_m[1, 0] == pytest.approx(7.0, abs=1e-3)
    assert beyond.flow_m[0, 1] == pytest.approx(end.flow_m[1, 1], abs=1e-3)


def test_a_path_that_turns_back_is_refused():
    for turn_rad in (2.8, 3.2):
        enu, _ = circle(10.0, 10.0 * turn_rad, 400)
        with pytest.raises(SolutionError, match=r"70 deg at most.*cut the record"):
            smooth_path(hours(400), enu)
    enu, _ = circle(10.0, 50.0, 400)
    assert "no steady flow" in smooth_path(hours(400), enu).warnings[0]


def test_missing_and_unsorted_positions():
    enu, _ = circle(100.0, 50.0, 300)
    time_ns = hours(300)
    order = np.random.default_rng(3).permutation(300)
    whole = mean_speed(time_ns, enu[:, 1])
    assert mean_speed(time_ns[order], enu[order, 1]) == whole
    holed = enu.copy()
    holed[50:200] = np.nan
    path = smooth_path(time_ns, holed)
    flow = along_path(path, holed).flow_m
    assert np.isnan(flow[50:200]).all()
    assert np.isfinite(np.delete(flow, np.s_[50:200], axis=0)).all()
    assert path.azimuth_rad == pytest.approx(smooth_path(time_ns[order], holed[order]).azimuth_rad)


def test_what_cannot_be_done_is_said():
    with pytest.raises(SolutionError, match="none of 3 positions"):
        local_from_xyz(np.full((3, 3), np.nan))
    with pytest.raises(SolutionError, match="3 positions at different times; 2"):
        straight_path(hours(2), np.zeros((2, 3)))
    with pytest.raises(SolutionError, match="2 positions at different times; 1"):
        mean_speed(hours(3), np.array([np.nan, 1.0, np.nan]))
    path = straight_path(hours(4), flat(np.arange(4.0), np.zeros(4)))
    assert "too few positions" in path.warnings[0]


def test_noise_of_positions_does_not_see_motion():
    rng = np.random.default_rng(6)
    time_ns = hours(4000)
    days = (time_ns - time_ns[0]) / NS_PER_DAY
    value = np.stack([3.0 * days + 0.01 * days**2, 0.1 * np.sin(days)], axis=1)
    noise = noise_of_positions(time_ns, value + rng.normal(0, [0.004, 0.02], (4000, 2)))
    assert noise == pytest.approx([0.004, 0.02], rel=0.06)


@pytest.mark.real
@pytest.mark.parametrize(
    ("name", "speed_m_d"),
    # mean speeds in the README of the data
    [
        ("ice_2014", 0.90),
        ("ice_2015", 1.26),
        ("front_2015_a", 1.59),
        ("front_2015_b", 1.19),
        ("front_2015_c", 0.94),
    ],
)
def test_bowdoin(reference_data, name, speed_m_d):
    path = reference_data / "ice" / "motion" / f"bowdoin_{name}.csv.gz"
    with gzip.open(path, "rt") as text:
        rows = list(csv.DictReader(text))
    time_ns = np.array([from_iso(r["time_gps"]) for r in rows])
    columns = ("latitude_deg", "longitude_deg", "height_m")
    latitude, longitude, height = np.array([[float(r[c]) for c in columns] for r in rows]).T
    local = local_from_geodetic(np.radians(latitude), np.radians(longitude), height)
    chord = straight_path(time_ns, local.enu_m)
    assert not chord.warnings
    speed, _ = mean_speed(time_ns, along_path(chord, local.enu_m).flow_m[:, 0])
    assert speed == pytest.approx(speed_m_d, rel=0.01)
