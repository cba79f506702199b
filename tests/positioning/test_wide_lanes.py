"""Wide lanes out of noisy means: right where they are sure, silent where not."""

import numpy as np

from stakeline.constants import FREQUENCY_HZ, SPEED_OF_LIGHT_M_S
from stakeline.positioning.wide_lanes import fix_wide_lanes, lane_lengths


def made(rng, noise_cycles):
    """Return (lanes, elevation, arc, true cycles) of 12 arcs of five hours."""
    n, m = 600, 12
    true = rng.integers(-9, 9, m)
    lanes = true + 0.37 + rng.normal(0.0, noise_cycles, (n, m))
    return lanes, np.full((n, m), 0.9), np.tile(np.arange(m), (n, 1)), true


def test_integers_are_right_up_to_what_all_share():
    lanes, elevation, arc, true = made(np.random.default_rng(1), 0.4)
    found = fix_wide_lanes(lanes, elevation, arc, np.zeros(12, int), 30.0)
    assert found.fixed.all()
    assert len(set((found.cycles - true).tolist())) == 1
    assert np.abs(found.fraction).max() < 0.1


def test_an_arc_half_way_between_stays_float():
    lanes, elevation, arc, _ = made(np.random.default_rng(2), 0.2)
    lanes[:, 4] += 0.5
    found = fix_wide_lanes(lanes, elevation, arc, np.zeros(12, int), 30.0)
    assert not found.fixed[4]
    assert found.fixed.sum() == 11


def test_a_short_arc_is_not_sure():
    lanes, elevation, arc, _ = made(np.random.default_rng(3), 0.4)
    arc[10:, 3] = -1
    found = fix_wide_lanes(lanes, elevation, arc, np.zeros(12, int), 30.0)
    assert not found.fixed[3]
    assert found.sigma[3] > 3 * found.sigma[0]


def test_an_arc_without_lanes_is_silent():
    lanes, elevation, arc, _ = made(np.random.default_rng(4), 0.2)
    lanes[:, 5] = np.nan
    found = fix_wide_lanes(lanes, elevation, arc, np.zeros(12, int), 30.0)
    assert not found.fixed[5]
    assert np.isnan(found.fraction[5])


def test_lane_lengths_are_those_of_the_frequencies():
    f = np.array([[FREQUENCY_HZ["G1"], FREQUENCY_HZ["G2"]]])
    wide, narrow = lane_lengths(f)
    # (77, 60) * 10.23 MHz: c / ((77 + 60) 2 * 10.23e6); IS-GPS-200N, section 3.3.1.1
    assert narrow[0] == SPEED_OF_LIGHT_M_S / (274 * 10.23e6)
    # cycles of both signals alike are narrow lanes; of the second alone, minus a wide lane less
    waves = SPEED_OF_LIGHT_M_S / f[0]
    c1, c2 = f[0] ** 2 / (f[0, 0] ** 2 - f[0, 1] ** 2) * [1, -1]
    np.testing.assert_allclose(c1 * waves[0] + c2 * waves[1], narrow[0], rtol=1e-12)
    np.testing.assert_allclose(-c2 * waves[1], wide[0], rtol=1e-12)
