"""What is seen, how well it fixes: hand formula, brute force, symmetry, the hole over the pole."""

import numpy as np
import pytest

from stakeline.constants import EARTH_RADIUS_M
from stakeline.earth.ellipsoid import xyz_from_enu, xyz_from_geodetic
from stakeline.errors import SettingsError
from stakeline.satellites.dilution import block_sigma_m, directions, sky_view
from stakeline.satellites.nominal import (
    GPS_AXIS_M,
    GPS_INCLINATION_DEG,
    WALKER,
    elements,
    nominal_orbits,
)
from stakeline.tables import satellite_id

PLACE = (np.radians(79.0), np.radians(17.0), 200.0)
DAY_S = np.arange(0.0, 86_400.0, 600.0)


def overhead(azimuth_deg, elevation_deg, place=PLACE, distance_m=2.2e7):
    """Return Earth-fixed positions (1, m, 3) in given directions from a place."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    local = distance_m * np.stack(
        [
            np.cos(elevation) * np.sin(azimuth),
            np.cos(elevation) * np.cos(azimuth),
            np.sin(elevation),
        ],
        axis=-1,
    )
    here = xyz_from_geodetic(*place)
    return (here + xyz_from_enu(local, place[0], place[1]))[None]


def ids(letters):
    return np.array([satellite_id(f"{one}{k:02d}") for k, one in enumerate(letters, 1)])


def test_one_overhead_and_three_on_a_ring_by_hand():
    # unit vectors: zenith, and three at elevation 0 spaced by 120 deg: sum over them of east^2 is
    # 1.5, of up^2 1 with a clock of four: HDOP^2 = 2 / 1.5, VDOP^2 = 4 / 3, TDOP^2 = 1 / 3
    low = sky_view(ids("GGGG"), overhead([0, 0, 120, 240], [90, 1e-6, 1e-6, 1e-6]), PLACE,
                   mask_rad=0.0)  # fmt: skip
    expected = np.sqrt([2.0 / 1.5 + 4.0 / 3.0, 2.0 / 1.5, 4.0 / 3.0, 1.0 / 3.0])
    np.testing.assert_allclose(low.dop[0], expected, rtol=1e-6)


def test_the_cofactors_are_the_spread_of_simulated_positions():
    rng = np.random.default_rng(4)
    azimuth, elevation = rng.uniform(0, 360, 9), rng.uniform(6, 90, 9)
    satellites = ids("GGGGGEEEE")
    view = sky_view(satellites, overhead(azimuth, elevation), PLACE, mask_rad=0.05)
    _, _, unit = directions(overhead(azimuth, elevation), PLACE)
    rows = np.hstack([-unit[0], np.repeat(np.eye(2), [5, 4], axis=0)])
    noise = rng.standard_normal((9, 40_000))
    found = np.linalg.lstsq(rows, noise, rcond=None)[0]
    spread = found.std(axis=1)
    expected = view.dop[0]
    assert np.hypot(spread[0], spread[1]) == pytest.approx(expected[1], rel=0.02)
    assert spread[2] == pytest.approx(expected[2], rel=0.02)


def test_position_squared_is_level_and_height_squared():
    satellites, position = nominal_orbits("GREC", DAY_S)
    dop = sky_view(satellites, position, PLACE, mask_rad=0.1).dop
    np.testing.assert_allclose(dop[:, 0] ** 2, dop[:, 1] ** 2 + dop[:, 2] ** 2)


def test_more_satellites_never_make_it_worse():
    satellites, position = nominal_orbits("GE", DAY_S)
    only = satellites // 100 == 0
    both = sky_view(satellites, position, PLACE, mask_rad=0.1).dop
    gps = sky_view(satellites[only], position[:, only], PLACE, mask_rad=0.1).dop
    assert (both[:, :3] <= gps[:, :3] + 1e-9).all()


def test_too_few_give_no_number():
    view = sky_view(ids("GGG"), overhead([0, 120, 240], [40, 40, 40]), PLACE, mask_rad=0.1)
    assert np.isnan(view.dop).all()
    two = sky_view(ids("GGEE"), overhead([0, 90, 180, 270], [40, 50, 60, 20]), PLACE, mask_rad=0.1)
    assert np.isnan(two.dop).all()


def test_a_skyline_hides_what_is_behind_it_and_no_more():
    position = overhead([0.0, 90.0, 180.0, 270.0], [20.0] * 4)
    view = sky_view(ids("GGGG"), position, PLACE, mask_rad=0.0,
                    skyline=lambda a: np.where(np.abs(a - np.pi / 2) < 0.1, 0.5, 0.0))  # fmt: skip
    assert view.seen[0].tolist() == [True, False, True, True]


def test_a_missing_position_is_not_seen():
    position = overhead([0.0, 90.0], [20.0, 30.0])
    position[0, 1] = np.nan
    assert sky_view(ids("GE"), position, PLACE, mask_rad=0.0).seen[0].tolist() == [True, False]


@pytest.mark.parametrize(
    ("letter", "axis_m", "tilt_deg"),
    [("G", GPS_AXIS_M, GPS_INCLINATION_DEG), *((k, *WALKER[k][3:]) for k in "REC")],
)
def test_no_satellite_stands_higher_at_the_pole_than_its_orbit_allows(letter, axis_m, tilt_deg):
    # at the pole the nearest is at psi = 90 deg - inclination: tan e = (cos psi - R / r) / sin psi
    satellites, position = nominal_orbits(letter, np.arange(0.0, 86_400.0, 60.0))
    view = sky_view(satellites, position, (0.5 * np.pi, 0.0, 0.0), mask_rad=0.1)
    psi = np.radians(90.0 - tilt_deg)
    polar_m = EARTH_RADIUS_M * (1.0 - 1.0 / 298.257)
    expected = np.degrees(np.arctan((np.cos(psi) - polar_m / axis_m) / np.sin(psi)))
    assert np.degrees(np.nanmax(view.elevation_rad)) == pytest.approx(expected, abs=0.05)


def test_both_poles_see_the_same():
    satellites, position = nominal_orbits("GREC", np.arange(0.0, 10 * 86_400.0, 1800.0))
    counts = [
        sky_view(satellites, position, (side * 1.4, 0.3, 0.0), mask_rad=0.1).count.mean()
        for side in (1, -1)
    ]
    assert counts[0] == pytest.approx(counts[1], rel=0.01)


def test_the_pattern_is_even():
    satellites, size, tilt, node, u = elements("E")
    assert len(satellites) == 24
    assert np.unique(np.round(np.degrees(node), 6)).tolist() == [0.0, 120.0, 240.0]
    assert np.ptp(size) == np.ptp(tilt) == 0.0
    first = np.sort(u[:8])
    np.testing.assert_allclose(np.diff(first), np.radians(45.0))


def test_orbits_keep_their_radius_and_come_back_after_a_day():
    satellites, position = nominal_orbits("G", np.array([0.0, 86_164.1]))
    np.testing.assert_allclose(np.linalg.norm(position, axis=2), GPS_AXIS_M)
    assert (
        np.linalg.norm(position[1] - position[0], axis=1).max() < 60e3
    )  # two turns a sidereal day
    assert satellites[0] == satellite_id("G01")


def test_longer_blocks_are_better_and_white_noise_is_scaled():
    satellites, position = nominal_orbits("GE", np.arange(0.0, 4 * 3600.0, 120.0))
    view = sky_view(satellites, position, PLACE, mask_rad=0.12)
    short, hour, long = (block_sigma_m(view, 0, count) for count in (5, 30, 90))
    assert (short > hour).all()
    assert (hour > long).all()
    assert (short / long > np.sqrt(18.0)).all()  # more than averaging gives: ambiguities
    with pytest.raises(SettingsError, match="epochs 100 to 130: there are 120"):
        block_sigma_m(view, 100, 30)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"mask_rad": 2.0}, "mask 114.592 deg"),
        ({"position_m": np.zeros((3, 2))}, "expected .epochs, satellites, 3"),
    ],
)
def test_what_is_no_sky_is_refused(change, sentence):
    given = {"position_m": np.zeros((1, 2, 3)), "mask_rad": 0.1} | change
    with pytest.raises(SettingsError, match=sentence):
        sky_view(ids("GG"), given["position_m"], PLACE, mask_rad=given["mask_rad"])
    with pytest.raises(SettingsError, match="expected some of G, R, E, C"):
        nominal_orbits("X", DAY_S)
