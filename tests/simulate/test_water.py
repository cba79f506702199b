import numpy as np
import pytest
from scipy.integrate import quad

from stakeline.simulate.chance import stream
from stakeline.simulate.scenario import SCENARIOS
from stakeline.simulate.site import Lake
from stakeline.simulate.water import DAY_S, Event, make_water

LAKES = (
    Lake("Upper", 22e3, 800.0, 2600.0, 1600.0, 800.0),
    Lake("Lower", 48e3, -800.0, 2300.0, 1500.0, 745.0),
)
DAYS = 504
HOURS_S = np.arange(0.0, DAYS * DAY_S, 3600.0)


def water_of(seed, scenario="flood-fast", days=DAYS):
    return make_water(stream(seed, "water"), SCENARIOS[scenario], LAKES, days)


@pytest.fixture(scope="module")
def water():
    return water_of(1)


def test_an_event_lets_out_its_volume():
    event = Event("Upper", 1e5, 6e5, 4.2e7, 1.7, 3.1, "threshold")
    rate = lambda t: float(event.discharge_m3_s(np.array([t]))[0])  # noqa: E731
    for end_s in (2e5, 4e5, 6e5):
        # adaptive quadrature is the second way
        volume = quad(rate, 1e5, end_s)[0]
        assert abs(float(event.drained_m3(np.array([end_s]))[0]) - volume) < 1e-7 * 4.2e7
    time_s = np.linspace(0.0, 7e5, 7001)
    discharge = event.discharge_m3_s(time_s)
    assert discharge.min() == 0.0
    assert abs(time_s[np.argmax(discharge)] - event.peak_s) <= 100.0
    assert event.peak_m3_s >= discharge.max()
    turns = np.sum(np.diff(np.sign(np.diff(discharge[discharge > 0.0]))) != 0)
    assert turns == 1  # it rises, then falls


@pytest.mark.parametrize("lake", [0, 1])
def test_water_is_kept(water, lake):
    # conservation: change of volume = integral of inflow - outflow, by Gauss-Legendre in each hour
    node, weight = np.polynomial.legendre.leggauss(6)
    begin_s = HOURS_S[(HOURS_S > 100 * DAY_S) & (HOURS_S < 200 * DAY_S)]
    time_s = (begin_s[:, None] + 1800.0 * (node + 1.0)).ravel()
    net = water.inflow_m3_s(lake, time_s) - water.discharge_m3_s(lake, time_s)
    net_m3 = 1800.0 * (net.reshape(-1, 6) @ weight)
    volume_m3 = water.volume_m3(lake, np.append(begin_s, begin_s[-1] + 3600.0))
    # the hydrograph starts with a power of time between 1 and 2: quadrature is good to litres
    np.testing.assert_allclose(np.diff(volume_m3), net_m3, atol=1.0)
    assert abs(volume_m3[-1] - volume_m3[0] - net_m3.sum()) < 10.0


@pytest.mark.parametrize("lake", [0, 1])
def test_the_roof_is_a_block(water, lake):
    rise_m3 = water.volume_m3(lake, HOURS_S) - water.volume_m3(lake, np.zeros(1))
    # volume = area x height
    np.testing.assert_allclose(water.level_m(lake, HOURS_S) * LAKES[lake].area_m2, rise_m3)
    assert abs(float(water.level_m(lake, np.zeros(1))[0])) < 1e-12
    assert water.volume_m3(lake, HOURS_S).min() > 0.0
    assert water.discharge_m3_s(lake, HOURS_S).min() == 0.0


@pytest.mark.parametrize("seed", range(12))
def test_campaigns_are_as_they_are_meant(seed):
    water = water_of(seed)
    upper, lower = water.of(0), water.of(1)
    assert 2 <= len(upper) <= 3
    assert 2 <= len(lower) <= 3
    assert 110.0 < upper[0].onset_s / DAY_S < 150.0
    assert 0.5 < water.travel_s / DAY_S < 2.0
    assert all(e.cause == "threshold" for e in upper)
    for flood, answer in zip(upper, lower, strict=False):
        assert answer.cause == "cascade"
        assert answer.onset_s > flood.onset_s + water.travel_s
    for lake in (0, 1):
        for event in water.of(lake):
            assert 4.0 <= (event.end_s - event.onset_s) / DAY_S <= 14.0
            around = np.arange(event.onset_s - 4 * DAY_S, event.end_s + DAY_S, 3600.0)
            level = water.level_m(lake, around)
            assert 1.5 < level.max() - level.min() < 6.1


def test_the_flood_from_above_comes_late_and_whole(water):
    event = water.of(0)[0]
    before = np.array([event.onset_s + water.travel_s])
    after = np.array([event.end_s + water.travel_s])
    own = water.supply[1].integral(after) - water.supply[1].integral(before)
    out = sum(e.drained_m3(after) - e.drained_m3(before) for e in water.of(1))
    gained = water.volume_m3(1, after) - water.volume_m3(1, before) - own + out
    # conservation: all that left the upper lake is in the lower one, or has left that
    np.testing.assert_allclose(gained, event.volume_m3, rtol=1e-9)
    time_s = before - np.array([60.0])
    np.testing.assert_array_equal(water.inflow_m3_s(1, time_s), water.supply[1](time_s))


def test_quiet_lakes_stay_as_they_are():
    water = water_of(3, "quiet")
    assert water.events == ()
    for lake in (0, 1):
        assert np.all(water.level_m(lake, HOURS_S) == 0.0)
        assert np.all(water.discharge_m3_s(lake, HOURS_S) == 0.0)
        assert np.all(water.inflow_m3_s(lake, HOURS_S) == 0.0)


def test_a_seed_repeats_and_two_differ():
    assert water_of(5).events == water_of(5).events
    assert water_of(5).events != water_of(6).events


def test_what_is_asked_does_not_depend_on_the_other_times(water):
    time_s = np.array([water.of(0)[0].peak_s + 0.123, 400 * DAY_S + 0.5])
    one = [water.volume_m3(1, time_s[k : k + 1])[0] for k in range(2)]
    np.testing.assert_array_equal(one, water.volume_m3(1, time_s))
