import functools

import numpy as np
import pytest
from scipy.integrate import quad

from stakeline.simulate.chance import stream
from stakeline.simulate.flood import DAY_S, FlowHistory, Pulse, Season, make_flow, reach
from stakeline.simulate.glacier import HALVARD
from stakeline.simulate.ground import Place
from stakeline.simulate.melt import STORE_H, STRONG_K, make_foehns, make_melt
from stakeline.simulate.scenario import SCENARIOS
from stakeline.simulate.slips import Slips, make_slips
from stakeline.simulate.sunlight import sun_position
from stakeline.simulate.water import make_water
from stakeline.simulate.weather import REFERENCE_M, air_temperature, make_region
from stakeline.time import day_of_year, from_calendar

START_NS = from_calendar(2030, 5, 1)
DAYS = 504
HOURS_S = np.arange(0.0, DAYS * DAY_S, 3600.0)
SITES = {site.name: site for site in HALVARD.sites()}


def water_of(scenario, seed=1):
    return make_water(stream(seed, "water"), SCENARIOS[scenario], HALVARD.lakes, DAYS)


@functools.lru_cache(maxsize=4)
def melt_of(scenario, seed=1, start_ns=START_NS):
    foehns = make_foehns(stream(seed, "melt"), SCENARIOS[scenario], water_of(scenario, seed))
    return make_melt(make_region(stream(seed, "region"), start_ns, DAYS + 8, foehns), HALVARD)


def flow_of(name, scenario="flood-fast", seed=1, start_ns=START_NS):
    water, chosen = water_of(scenario, seed), SCENARIOS[scenario]
    melt = melt_of(scenario, seed, start_ns)
    by_flow = stream(seed, name, "flow")
    return make_flow(
        by_flow, chosen, water, HALVARD, SITES[name], DAYS, melt=melt, start_ns=start_ns
    )


@pytest.fixture(scope="module")
def flow():
    return flow_of("HV12")


def test_the_speed_is_the_derivative_of_the_way(flow):
    rng = np.random.default_rng(3)
    time_s = rng.uniform(0.0, DAYS * DAY_S, 4000)
    speed = flow.speed_at_m_d(time_s)
    step_s = 5.0
    change = flow.travelled_m(time_s + step_s) - flow.travelled_m(time_s - step_s)
    # centred difference; where ice begins to stick or slip within the step it is no derivative
    error = np.abs(change / (2.0 * step_s) * DAY_S - speed)
    assert np.mean(error < 2e-4) > 0.99
    smooth = FlowHistory(flow.speed_m_d, flow.stretch_a, flow.parts, None)
    change = smooth.travelled_m(time_s + step_s) - smooth.travelled_m(time_s - step_s)
    error = np.abs(change / (2.0 * step_s) * DAY_S - smooth.speed_at_m_d(time_s))
    assert error.max() < 2e-4


def test_the_way_solves_its_equation_by_another_way():
    history = FlowHistory(1.8, 0.3, {"season": Season(0.2, 4e6)}, None)
    steps, time_s, way = 4000, 0.0, 0.0
    h = 300 * DAY_S / steps

    def rate(t, x):
        share = float(history.parts["season"](t))
        return (1.8 / DAY_S + 0.3 / (365.25 * DAY_S) * x) * (1.0 + share)

    for _ in range(steps):  # Runge and Kutta's method of order 4
        k1 = rate(time_s, way)
        k2 = rate(time_s + h / 2, way + h / 2 * k1)
        k3 = rate(time_s + h / 2, way + h / 2 * k2)
        k4 = rate(time_s + h, way + h * k3)
        way += h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        time_s += h
    assert abs(float(history.travelled_m(np.array([time_s]))[0]) - way) < 1e-6


def test_parts_add_up_and_start_at_nothing(flow):
    assert set(flow.share(HOURS_S)) == {"season", "melt", "response"}
    assert abs(flow.travelled_m(np.zeros(1))[0]) < 1e-12
    for name, part in flow.integral_s(HOURS_S).items():
        assert abs(part[0]) < 1e-6, name
    even = FlowHistory(1.0, 0.0, {}, None)
    np.testing.assert_allclose(even.along_m(HOURS_S)["flow"], HOURS_S / DAY_S, rtol=1e-14)


def test_season_melt_and_summer(flow):
    share = flow.share(HOURS_S)
    # brief: a few per cent over the year, melt from June to August but for rare warm days
    assert 0.015 < np.abs(share["season"]).max() < 0.05
    _, day = day_of_year(START_NS + (HOURS_S * 1e9).astype(np.int64))
    summer = (day > 151) & (day < 245)
    assert share["melt"][~summer].sum() < 0.05 * share["melt"].sum()
    assert 0.02 < share["melt"].max() < 0.2
    assert share["melt"].min() >= 0.0
    upper = flow_of("HV01").share(HOURS_S)["melt"]
    assert upper.max() < 0.7 * share["melt"].max()  # stronger lower down
    assert np.corrcoef(upper, share["melt"])[0, 1] > 0.999  # the same weather


def test_the_flood_arrives_by_the_speed_of_the_water():
    water = water_of("flood-fast")
    near, far = (flow_of(name) for name in ("HV10", "HV12"))
    for k, event in enumerate(water.events):
        if event.lake != HALVARD.lakes[1].name:
            continue
        for name, history in (("HV10", near), ("HV12", far)):
            distance, weight = reach(HALVARD, water, 1, SITES[name])
            answer = history.answers[k]
            lag_h = (answer.begin_s - event.onset_s - distance / water.speed_m_s) / 3600.0
            assert weight > 0.9
            assert 2.0 <= lag_h <= 10.0
            assert 0.0 < answer.size <= SCENARIOS["flood-fast"].response
        before = np.arange(event.onset_s - 3 * DAY_S, far.answers[k].begin_s, 600.0)
        own = far.answers[k](before)
        assert np.all(own == 0.0)
        # plateau while the water passes, then the way back in days to weeks
        middle = far.answers[k].begin_s + 0.9 * far.answers[k].lasts_s
        assert far.answers[k](np.array([middle]))[0] == pytest.approx(far.answers[k].size)
        late = np.array([event.end_s + 60 * DAY_S])
        assert 0.0 < far.answers[k](late)[0] < 0.1 * far.answers[k].size


def test_no_answer_up_glacier_and_little_beside():
    largest = {n: np.abs(flow_of(n).share(HOURS_S)["response"]).max() for n in SITES}
    assert largest["HV01"] < 1e-12
    assert largest["HV05"] > 0.02
    assert largest["HV10"] > 0.04
    # off the route it falls by e in 3 km
    assert largest["HV09"] < 0.25 * largest["HV10"]
    assert largest["HV14"] < largest["HV12"]


@pytest.mark.parametrize(("scenario", "sign"), [("flood-fast", 1), ("flood-slow", -1)])
def test_scenarios_set_the_sign(scenario, sign):
    response = flow_of("HV12", scenario).share(HOURS_S)["response"]
    assert sign * response.max() >= 0.0
    assert sign * response.min() >= 0.0
    bar = abs(SCENARIOS[scenario].response)
    assert 0.5 * bar < np.abs(response).max() <= 1.3 * bar  # tails of two floods may add up


@pytest.mark.parametrize("scenario", ["no-response", "melt-confounded", "quiet"])
def test_where_nothing_answers(scenario):
    assert np.all(flow_of("HV12", scenario).share(HOURS_S)["response"] == 0.0)


def test_melt_beside_drainages_asks_for_no_route():
    water = water_of("melt-confounded")
    foehns = make_foehns(stream(1, "melt"), SCENARIOS["melt-confounded"], water)
    assert make_foehns(stream(1, "melt"), SCENARIOS["no-response"], water) == ()
    assert len(foehns) == len(water.events)
    melt, plain = melt_of("melt-confounded"), melt_of("no-response")
    assert np.all(melt.strength >= plain.strength)
    before = melt.time_s < min(foehn.begin_s for foehn in foehns)
    assert np.array_equal(melt.strength[before], plain.strength[before])
    fresh = melt.strength - plain.strength
    for event in water.events:
        # under way when the lake drains, not yet four days before unless the other lake drained
        assert np.interp(event.onset_s, melt.time_s, melt.strength) > 0.3
        others = [e for e in water.events if 0.0 < event.onset_s - e.onset_s < 30.0 * DAY_S]
        early = np.interp(event.onset_s - 4.0 * DAY_S, melt.time_s, fresh)
        assert others or early < 1e-9
    shares = [flow_of(name, "melt-confounded").share(HOURS_S)["melt"].max() for name in SITES]
    lower = [0.25 + 0.75 * site.flow_m / HALVARD.front_flow_m for site in SITES.values()]
    assert np.max(np.divide(shares, lower)) / np.min(np.divide(shares, lower)) < 1.36  # own chance


def test_melt_is_a_store_of_degrees_above_freezing():
    region = make_region(stream(3, "region"), START_NS, 120.0)
    melt = make_melt(region, HALVARD)
    # the store keeps what it gets: the sum is that of the positive degrees, over a strong melt's
    latitude, longitude = HALVARD.place(HALVARD.grounding_flow_m, 0.0)
    place = Place(float(latitude), float(longitude), REFERENCE_M)
    time_ns = START_NS + (region.time_s * 1e9).astype(np.int64)
    elevation, _ = sun_position(time_ns, place.latitude_rad, place.longitude_rad)
    warm = np.maximum(air_temperature(region, place, region.cloud, elevation), 0.0)
    inside = melt.time_s >= 0.0
    left = melt.strength[-1] / (np.exp(1.0 / STORE_H) - 1.0)  # still in the store
    assert melt.strength[inside].sum() + left == pytest.approx(warm.sum() / STRONG_K, rel=1e-9)
    assert warm.sum() > 100.0


def test_a_pulse_rises_holds_and_falls():
    pulse = Pulse(1e5, 4e4, 3e5, 2e5, 0.08)
    values = pulse(np.array([0.0, 1e5, 1.2e5, 1.4e5, 4e5, 6e5]))
    # smooth step 3 x^2 - 2 x^3 and (1 + x) exp(-x), by hand
    expected = [0.0, 0.0, 0.04, 0.08, 0.08, 0.08 * 2.0 / np.e]
    np.testing.assert_allclose(values, expected, atol=1e-15)


def test_seasons_integral():
    season = Season(0.03, 2e6)
    expected = quad(lambda t: float(season(t)), 0.0, 9e6)[0]  # adaptive quadrature
    assert abs(float(season.integral(9e6)) - expected) < 1e-6


def test_slips_make_up_for_the_lag():
    slips = make_slips(np.random.default_rng(4), 1.8, 200.0)
    assert np.all((slips.last_s >= 600.0) & (slips.last_s <= 1800.0))
    assert np.all((slips.size_m > 0.01) & (slips.size_m <= 0.07))
    time_s = np.arange(-DAY_S, 201 * DAY_S, 300.0)
    moved = slips.moved_m(time_s)
    assert moved.max() <= 0.0
    assert moved.min() > -0.07
    assert np.all(moved[time_s < 0.0] == 0.0)
    before, after = slips.moved_m(slips.onset_s), slips.moved_m(slips.onset_s + slips.last_s)
    np.testing.assert_allclose(after - before, slips.size_m, rtol=1e-9)
    assert 1.8 / DAY_S + slips.speed_m_s(time_s).min() > 0.0  # ice never flows back


def test_slips_speed():
    slips = Slips(np.array([1e5, 3e5]), np.array([1200.0, 900.0]), np.array([0.05, 0.03]))
    time_s = np.array([5e4, 1e5 + 300.0, 2e5, 3e5 + 450.0, 4e5])
    difference = (slips.moved_m(time_s + 1.0) - slips.moved_m(time_s - 1.0)) / 2.0
    np.testing.assert_allclose(slips.speed_m_s(time_s), difference, atol=1e-9)


def test_only_ice_near_the_grounding_line_slips():
    slipping = [name for name in SITES if flow_of(name).slips is not None]
    assert slipping == ["HV11", "HV12"]


def test_a_seed_repeats_and_two_differ():
    first, again, other = (flow_of("HV10", seed=seed).travelled_m(HOURS_S) for seed in (1, 1, 2))
    assert first.tobytes() == again.tobytes()
    assert np.abs(first - other).max() > 0.1
