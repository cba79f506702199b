"""Clock interpolation: linear, with an honest sigma, never across what is missing."""

from dataclasses import replace

import numpy as np

from stakeline.satellites.clocks import USUAL_WALK_M2_S, clock_states, walk_rates
from stakeline.tables import Clocks, Products

START = 1_420_070_400_000_000_000
ONE = np.array([1], np.int16)


def products(step_s, bias):
    bias = np.asarray(bias, float)[:, None]
    time_ns = START + np.arange(bias.size) * int(step_s * 1e9)
    return Products(clocks=Clocks(time_ns, ONE, bias, np.zeros_like(bias)))


def at(given, seconds):
    sent = START + (np.asarray(seconds)[:, None] * 1e9).astype(np.int64)
    clock, sigma = clock_states(given, ONE, sent)
    return clock[:, 0], sigma[:, 0]


def test_a_straight_line_between_nodes():
    clock, sigma = at(products(30, [0.0, 3e-6, 1e-6]), [0.0, 10.0, 45.0, 60.0])
    np.testing.assert_allclose(clock, [0.0, 1e-6, 2e-6, 1e-6], rtol=0, atol=1e-18)
    bridge = np.sqrt(USUAL_WALK_M2_S * np.array([0.0, 10 * 20 / 30, 7.5, 0.0]))
    np.testing.assert_allclose(sigma, bridge, rtol=0, atol=1e-12)


def test_a_missing_node_is_not_bridged_but_the_node_itself_serves():
    given = products(30, [0.0, 1e-6, np.nan, 3e-6, 4e-6])
    clock, _ = at(given, [15.0, 45.0, 75.0, 89.93, 90.0, 30.5])
    expected = [0.5e-6, np.nan, np.nan, 3e-6 - 0.07 / 30 * 1e-6, 3e-6, 1e-6]
    np.testing.assert_allclose(clock, expected, rtol=0, atol=1e-15)


def test_fifteen_minute_clocks_are_sure_at_their_nodes_only():
    clock, sigma = at(products(900, [0.0, 9e-6, 18e-6]), [899.93, 450.0, 900.0, 1200.0])
    assert np.isfinite(clock).all()
    assert abs(clock[0] - 9e-6 * 899.93 / 900) < 1e-15
    assert sigma[0] < 1e-3
    assert sigma[1] > 0.03  # Brownian bridge: sqrt(q 900 s / 4) with the usual walk of a clock


def test_clocks_further_apart_than_fifteen_minutes_serve_at_their_nodes_only():
    clock, sigma = at(products(1800, [0.0, 9e-6, 18e-6]), [1799.93, 450.0, 1800.0])
    assert np.isfinite(clock).tolist() == [True, False, True]
    assert np.isnan(sigma[1])


def test_a_clock_event_parts_the_clocks_of_an_orbit_table(invented):
    orbits = invented.orbits
    thin = orbits.time_ns[0] + np.arange(orbits.time_ns.size) * 300 * 10**9
    event = np.zeros(orbits.clock_s.shape, bool)
    event[3, 0] = True
    table = Products(orbits=replace(orbits, time_ns=thin, clock_event=event))
    sent = np.full((1, 2), thin[2] + 150 * 10**9)
    clock, _ = clock_states(table, orbits.satellites[:2], sent)
    assert np.isnan(clock[0, 0])
    assert np.isfinite(clock[0, 1])


def test_before_the_first_and_after_the_last_node():
    clock, _ = at(products(30, [0.0, 1e-6]), [-0.07, -2.0, 30.0, 32.0])
    assert np.isfinite(clock).tolist() == [True, False, True, False]


def test_the_walk_rate_of_a_simulated_clock_is_found_and_resets_do_not_count():
    rng = np.random.default_rng(20240511)
    c, wanted = 299792458.0, 2e-6  # m/s (BIPM); m2/s
    node_s = np.arange(2880) * 30.0
    bias = np.cumsum(rng.normal(0.0, np.sqrt(wanted * 30.0), (2880, 40)), axis=0) / c
    bias[1000:] += 1e-3  # a reset
    rate = walk_rates(node_s, bias)
    # about 400 overlapping second differences, median: 8 % of sigma each, 16 % of the rate
    assert abs(np.median(rate) / wanted - 1.0) < 0.1
    assert np.all((rate > 0.4 * wanted) & (rate < 2.0 * wanted))
