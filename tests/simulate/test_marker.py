from dataclasses import replace

import numpy as np
import pytest

from stakeline.earth.projection import ARCTIC
from stakeline.simulate.bridging import surface_change_m
from stakeline.simulate.chance import stream
from stakeline.simulate.flood import DAY_S
from stakeline.simulate.glacier import HALVARD
from stakeline.simulate.ground import Place
from stakeline.simulate.marker import (
    EQUIPMENT,
    PARTS,
    Settling,
    fixed_m,
    make_marker,
    make_path,
    make_visits,
)
from stakeline.simulate.ocean import make_tide
from stakeline.simulate.scenario import SCENARIOS
from stakeline.simulate.water import make_water
from stakeline.time import from_calendar

START_NS = from_calendar(2030, 5, 1)
DAYS = 504
HOURS_S = np.arange(0.0, DAYS * DAY_S, 3.0 * 3600.0)
SITES = {site.name: site for site in (*HALVARD.sites(), HALVARD.base())}


def marker_of(name, seed=1, days=DAYS, visits=None):
    scenario = SCENARIOS["flood-fast"]
    water = make_water(stream(seed, "water"), scenario, HALVARD.lakes, days)
    tide = make_tide(stream(seed, "tide"))
    if visits is None:
        visits = make_visits(stream(seed, name, "visits"), SITES[name], days)
    site = SITES[name]
    return make_marker(seed, scenario, HALVARD, water, tide, site, days, START_NS, visits)


@pytest.fixture(scope="module", params=["HV02", "HV06", "HV12", "HV13"])
def marker(request):
    return marker_of(request.param)


@pytest.fixture(scope="module")
def floating():
    return marker_of("HV13")


def test_parts_add_up_to_the_displacement(marker):
    parts = marker.parts_m(HOURS_S)
    assert tuple(parts) == PARTS
    along, across, up = sum(parts.values()).T
    azimuth = marker.site.azimuth_rad
    moved = marker.displacement_m(HOURS_S)
    # along = sin az east + cos az north; across is to the left of it
    np.testing.assert_allclose(
        moved[:, 0] * np.sin(azimuth) + moved[:, 1] * np.cos(azimuth), along, atol=1e-9
    )
    np.testing.assert_allclose(
        moved[:, 1] * np.sin(azimuth) - moved[:, 0] * np.cos(azimuth), across, atol=1e-9
    )
    np.testing.assert_allclose(moved[:, 2], up, atol=1e-12)
    equipment = sum(parts[name] for name in EQUIPMENT)
    ice = marker.ice_m(HOURS_S)
    np.testing.assert_allclose(moved[:, 2] - ice[:, 2], equipment[:, 2], atol=1e-11)
    level = np.linalg.norm(moved[:, :2] - ice[:, :2], axis=1)
    np.testing.assert_allclose(level, np.linalg.norm(equipment[:, :2], axis=1), atol=1e-9)


def test_it_starts_at_its_place(marker):
    parts = marker.parts_m(np.zeros(1))
    for name in set(PARTS) - {"tide", "slope"}:
        np.testing.assert_allclose(parts[name], 0.0, atol=1e-9, err_msg=name)
    # the tide of the moment has displaced it by some cm along a slope of some per cent
    assert abs(parts["slope"][0, 2]) < 2e-3
    still = replace(marker, tide=None).displacement_m(np.zeros(1))
    np.testing.assert_allclose(still, 0.0, atol=1e-9)


def test_the_path_follows_the_lines_of_flow():
    for name in ("HV06", "HV12", "HV13"):
        marker = marker_of(name)
        flow, side = marker.ground_m(HOURS_S).T
        # ice flows along lines of equal side; a turn taken as even leaves it by decimetres
        assert np.all(np.diff(flow) > 0.0)
        assert np.abs(side - marker.site.side_m).max() < 0.5
        travelled = marker.flow.travelled_m(HOURS_S)
        scale = HALVARD.arc_scale(flow, side)
        np.testing.assert_allclose(np.diff(flow) * scale[1:], np.diff(travelled), rtol=1e-3)


def test_the_surface_is_that_of_the_glacier(marker):
    """Between the nodes of the path, the height is that of the formula."""
    ways = np.random.default_rng(2).uniform(0.0, 400.0, 50)
    flow, side, height = marker.path(ways).T
    np.testing.assert_allclose(HALVARD.surface_m(flow, side), height, atol=1e-4)
    path = make_path(HALVARD, marker.site, 0.0, 400.0)
    np.testing.assert_allclose(path(ways), marker.path(ways), atol=1e-4)


def test_slope_and_lake_are_where_the_marker_is():
    marker = marker_of("HV07")
    parts = marker.parts_m(HOURS_S)
    travelled = marker.flow.travelled_m(HOURS_S) + parts["tide"][:, 0]
    flow, side, height = marker.path(travelled).T
    np.testing.assert_allclose(
        parts["slope"][:, 2], height - SITES["HV07"].place.height_m, atol=1e-3
    )
    lift = surface_change_m(marker.water, HALVARD.lakes, flow, side, HOURS_S)
    np.testing.assert_allclose(parts["lake"][:, 2], lift, atol=2e-3)
    for event in marker.water.of(1)[:1]:
        window = (event.onset_s < HOURS_S) & (event.end_s + 5 * DAY_S > HOURS_S)
        fall = np.ptp(parts["lake"][window, 2])
        assert 1.5 < fall < 6.0


def test_the_tide_lifts_what_floats():
    grounded, afloat = (marker_of(name).parts_m(HOURS_S)["tide"][:, 2] for name in ("HV05", "HV14"))
    assert np.abs(grounded).max() < 1e-6
    assert 0.4 < np.abs(afloat).max() < 1.2


def height_by_bowring(position_m):
    """Return height above the ellipsoid: Bowring (1976), iterated; the estimator is not asked."""
    a, f = 6378137.0, 1.0 / 298.257223563  # m, -; NGA.STND.0036 (2014), table 3.1
    b, e2 = a * (1.0 - f), f * (2.0 - f)
    x, y, z = position_m.T
    p = np.hypot(x, y)
    beta = np.arctan2(a * z, b * p)
    for _ in range(4):
        latitude = np.arctan2(
            z + e2 / (1.0 - e2) * b * np.sin(beta) ** 3, p - e2 * a * np.cos(beta) ** 3
        )
        beta = np.arctan2((1.0 - f) * np.sin(latitude), np.cos(latitude))
    return (
        p * np.cos(latitude) + z * np.sin(latitude) - a * np.sqrt(1.0 - e2 * np.sin(latitude) ** 2)
    )


def test_height_stays_exact_over_three_kilometres():
    place = Place(np.radians(79.4), np.radians(-21.0), 350.0)
    moved = np.array(
        [[0.0, 0.0, 0.0], [3000.0, 0.0, -80.0], [-1500.0, 2600.0, 3.0], [9.0, -2.0, 0]]
    )
    position = fixed_m(place, moved)
    # bar of the brief: 0.1 mm; met to a micrometre
    np.testing.assert_allclose(height_by_bowring(position), 350.0 + moved[:, 2], atol=2e-6)
    local = (position - place.position_m) @ place.axes.T
    np.testing.assert_allclose(local[:, :2], moved[:, :2], atol=1e-8)
    assert local[1, 2] + 80.0 < -0.6  # the Earth falls away by d^2 / 2 R = 0.70 m


def test_positions_are_those_of_the_displacement(floating):
    time_s = np.array([0.0, 3e6, 4e7])
    position = floating.position_m(time_s)
    moved = floating.displacement_m(time_s)
    height = height_by_bowring(position)
    np.testing.assert_allclose(height, floating.place.height_m + moved[:, 2], atol=1e-5)


def test_the_marker_on_the_map(floating):
    x, y = HALVARD.plane(*floating.ground_m(np.array([2e7])).T)
    latitude, longitude = ARCTIC.inverse(x, y)
    there = Place(float(latitude[0]), float(longitude[0]), 0.0)
    position = fixed_m(floating.place, floating.ice_m(np.array([2e7])))
    ground = (position - there.position_m) @ there.axes.T
    tide_m = abs(floating.parts_m(np.array([2e7]))["tide"][0, 0])
    assert np.hypot(ground[0, 0], ground[0, 1]) < tide_m + 1e-3


def test_speed_is_the_derivative_of_the_path(floating):
    time_s = np.random.default_rng(1).uniform(0.0, DAYS * DAY_S, 300)
    step_s = 10.0
    names = ("flow", "season", "melt", "response", "slip")
    later, earlier = (floating.parts_m(time_s + s) for s in (step_s, -step_s))
    moved = sum(later[name] - earlier[name] for name in names)
    speed = np.linalg.norm(moved[:, :2], axis=1) / (2.0 * step_s) * DAY_S
    # the tide's way turns the chord of the others, by its cm over the radius of the turn
    np.testing.assert_allclose(speed, floating.speed_m_d(time_s), rtol=1e-3)


def test_strain_thins_when_ice_is_faster():
    marker = marker_of("HV12")
    up = marker.parts_m(HOURS_S)["strain"][:, 2]
    sums = sum(marker.flow.integral_s(HOURS_S).values())
    slope = np.polyfit(sums, up, 1)[0]
    year_s = 365.25 * DAY_S
    # continuity: dH/dt = -H du/dx
    expected = -marker.site.thickness_m * marker.site.stretch_a / year_s
    assert slope == pytest.approx(expected, rel=1e-9)


def test_poles_settle_ever_more_slowly():
    settling = Settling(0.06, 0.01, 60 * DAY_S)
    year_s = 365.25 * DAY_S
    time_s = np.linspace(0.0, 2.0 * year_s, 2000)
    rate_m_a = np.gradient(settling(time_s), time_s) * year_s
    assert np.all(np.diff(rate_m_a[1:-1]) < 0.0)
    # from 6 to 1 cm/a, by the exponential law
    assert rate_m_a[1] == pytest.approx(0.06, rel=0.02)
    assert rate_m_a[-2] == pytest.approx(0.01, rel=0.02)
    up = marker_of("HV03").parts_m(HOURS_S)["settling"][:, 2]
    assert np.all(np.diff(up) < 0.0)
    assert -0.06 < up[-1] < -0.015


def test_the_leaning_pole():
    marker = marker_of("HV06")
    tilt = marker.parts_m(HOURS_S)["tilt"]
    reset_s = marker.visits[1].time_s
    level = np.linalg.norm(tilt[:, :2], axis=1)
    standing = reset_s > HOURS_S
    length = marker.visits[0].antenna_height_m
    # a rod of length L: (L + up)^2 + level^2 = L^2
    np.testing.assert_allclose(
        (length + tilt[standing, 2]) ** 2 + level[standing] ** 2, length**2, rtol=1e-12
    )
    assert np.all(np.diff(level[standing]) >= 0.0)
    assert 0.1 < level[standing][-1] < 0.5
    assert np.all(tilt[~standing] == 0.0)
    assert np.all(marker_of("HV05").parts_m(HOURS_S)["tilt"] == 0.0)


def test_visits_and_their_steps():
    for name, site in SITES.items():
        visits = make_visits(stream(1, name, "visits"), site, DAYS)
        assert visits[0].kind == "set-up"
        assert visits[0].time_s == 0.0
        assert len(visits) == 2
        assert 368 <= visits[1].time_s / DAY_S <= 387
        logged = [v.logged for v in visits]
        assert logged == [True, name != "HV09"]
    marker = marker_of("HV09")
    step = marker.visits[1]
    assert step.kind == "reset"
    around = step.time_s + np.array([-1e-3, 0.0])
    jump = np.diff(marker.displacement_m(around), axis=0)[0]
    np.testing.assert_allclose(jump, [step.east_m, step.north_m, step.up_m], atol=1e-6)
    heights = marker.antenna_height_m(around)
    assert heights.tolist() == [v.antenna_height_m for v in marker.visits]
    assert np.abs(np.diff(marker.ice_m(around), axis=0)).max() < 1e-6


def test_one_forgotten_reset_in_three_years():
    visits = make_visits(stream(1, "HV09", "visits"), SITES["HV09"], 1096)
    assert [v.logged for v in visits].count(False) == 1
    assert len(visits) >= 3


def test_rock_stands_still():
    marker = marker_of("HB01")
    assert np.all(marker.displacement_m(HOURS_S) == 0.0)
    assert np.all(marker.speed_m_d(HOURS_S) == 0.0)
    np.testing.assert_allclose(
        marker.position_m(HOURS_S[:3]), np.tile(marker.place.position_m, (3, 1)), atol=1e-8
    )


def test_without_a_tide_and_without_chance_in_the_order(floating):
    still = replace(floating, tide=None)
    parts = still.parts_m(HOURS_S)
    assert np.all(parts["tide"] == 0.0)
    time_s = np.array([5.0 * DAY_S + 0.1, 2.0 * DAY_S])
    one = np.concatenate([floating.displacement_m(time_s[k : k + 1]) for k in range(2)])
    np.testing.assert_allclose(one, floating.displacement_m(time_s), rtol=0.0, atol=1e-11)


def test_a_seed_repeats_and_two_differ():
    time_s = HOURS_S[::40]
    first, again, other = (marker_of("HV10", s).displacement_m(time_s) for s in (1, 1, 2))
    assert first.tobytes() == again.tobytes()
    assert np.abs(first - other).max() > 0.1
