"""Tables of the invented world: at their nodes the truth, but for errors of the size asked for."""

import numpy as np

from stakeline.constants import SPEED_OF_LIGHT_M_S
from stakeline.simulate.products import (
    PERFECT,
    Imperfection,
    antennas_of,
    clocks_of,
    make_errors,
    orbits_of,
)
from stakeline.simulate.sky import to_unturned

DAY_NS = 86400 * 10**9


def tables(world, imperfection):
    errors = make_errors(np.random.default_rng(4), world, imperfection)
    start = world.sky.start_ns
    return orbits_of(world, errors, start - DAY_NS, start + DAY_NS), errors


def test_perfect_orbits_are_the_truth(world):
    orbits, _ = tables(world, PERFECT)
    time_s = (orbits.time_ns - world.sky.start_ns) / 1e9
    assert orbits.time_ns[-1] - world.sky.start_ns == DAY_NS  # the next midnight is there
    turned = to_unturned(orbits.position_m, time_s[:, None])
    shape = (len(time_s), len(orbits.satellites))
    truth, _ = world.constellation.states(np.broadcast_to(time_s[:, None], shape))
    assert np.abs(turned - truth).max() < 1e-6


def test_errors_have_the_size_asked_for(world):
    size = (0.02, 0.03, 0.04)
    given, _ = tables(world, Imperfection(size, 0.01, 0.0))
    true, _ = tables(world, PERFECT)
    apart = np.linalg.norm(given.position_m - true.position_m, axis=2)
    # waves of random phase over two days: their rms to a tenth
    assert abs(np.sqrt((apart**2).mean()) / np.linalg.norm(size) - 1.0) < 0.1


def test_clocks_are_the_truth_at_their_nodes(world):
    errors = make_errors(np.random.default_rng(4), world, PERFECT)
    start = world.sky.start_ns
    clocks = clocks_of(world, errors, start, start + 10**9 * 3600)
    time_s = (clocks.time_ns - start) / 1e9
    assert np.abs(clocks.bias_s - world.clocks.bias_s(time_s)).max() == 0.0
    # 0.0 to 0.3 ms and white steps of some 1e-11 s in 30 s: GPS clocks, from memory
    step = np.diff(clocks.bias_s, axis=0)
    wander = (step - step.mean(axis=0)).std() * SPEED_OF_LIGHT_M_S
    assert 5e-4 < wander < 4e-3


def test_antenna_table_follows_the_formula(world):
    antennas = antennas_of(world)
    assert len(antennas.entries) == 49
    receiver = antennas.entries[-1]
    assert receiver.satellite is None
    assert len(receiver.model) == 20
    pattern = receiver.patterns["G02"]
    assert pattern.by_azimuth_m.shape == (73, 19)
    zenith, azimuth = np.radians(receiver.zenith_deg[8]), np.radians(receiver.azimuth_deg[20])
    expected = world.receiver_antenna.variation_m("G2", zenith, azimuth)
    assert abs(pattern.by_azimuth_m[20, 8] - expected) < 6e-6  # ANTEX keeps 0.01 mm
    assert set(antennas.entries[30].patterns) == {"E01", "E05"}
