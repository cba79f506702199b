"""Quality figures of invented tracks: combinations without ionosphere, counts, slips, swings."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import FREQUENCY_HZ, NS_PER_S, SPEED_OF_LIGHT_M_S
from stakeline.signals.quality import (
    STEPS_DEG,
    TEC_M3_S2,
    TECU,
    arcs_of,
    multipath_combinations,
    quality_of,
)
from stakeline.signals.tracks import Tracks

F = np.array([FREQUENCY_HZ["G1"], FREQUENCY_HZ["G2"]])
N, M = 480, 8
CODE_M = (0.30, 0.40)
RNG = np.random.default_rng(5)
ELEVATION = np.tile(np.radians(np.linspace(12.0, 80.0, M)), (N, 1))


def tracks(code_m=CODE_M, rate_tecu_min=0.2):
    """Return tracks with white code noise and an ionosphere that grows evenly."""
    seconds = 30.0 * np.arange(N)
    electrons = 20.0 + rate_tecu_min * seconds[:, None] / 60.0 + np.zeros((N, M))
    delay = TEC_M3_S2 * TECU * electrons / F[:, None, None] ** 2
    distance = 2.2e7 + 300.0 * seconds[:, None] + 1e6 * np.arange(M)
    wave = SPEED_OF_LIGHT_M_S / F
    phase = distance - delay + wave[:, None, None] * np.arange(M) * 1000.0
    noise = np.array(code_m)[:, None, None] * RNG.standard_normal((2, N, M))
    return Tracks(
        (seconds * NS_PER_S).astype(np.int64),
        np.arange(1, M + 1, dtype=np.int16),
        distance + delay + noise,
        phase,
        np.zeros((N, M), np.uint8),
        np.full((2, N, M), 45.0),
        np.tile(F, (M, 1)),
        (("C1C", "L1C", "C2W", "L2W"),) * M,
        (("G01", "G02"),) * M,
    )


def judged(made, **more):
    return quality_of(made, ELEVATION, 30.0, N, **more)


def test_combinations_know_neither_range_nor_ionosphere():
    one, other = tracks((0.0, 0.0)), tracks((0.0, 0.0), rate_tecu_min=5.0)
    a, b = (multipath_combinations(t.code_m, t.phase_m, t.frequency_hz) for t in (one, other))
    np.testing.assert_allclose(a, b, atol=1e-6)  # m; of numbers of 2e7 m
    assert np.ptp(a, axis=1).max() < 1e-6


def test_code_noise_is_found_again():
    found = judged(tracks())
    np.testing.assert_allclose(found.multipath_m, CODE_M, rtol=0.03)
    assert found.multipath_by_step_m.shape == (2, len(STEPS_DEG) - 1)


def test_a_whole_day_is_complete_and_clean():
    found = judged(tracks())
    assert (found.epochs, found.seen, found.expected, found.percent) == (N, N * M, N * M, 100.0)
    assert (found.slips, found.gaps, found.clock_jumps, found.arcs) == (0, 0, 0, M)
    assert found.rate_tecu_min == pytest.approx(0.2, rel=1e-6)
    assert found.rate_index < 1e-6
    assert found.swing == pytest.approx(0.0, abs=1e-12)


def test_what_the_orbits_promise_and_nobody_tracked_is_missing():
    promised = np.hstack([ELEVATION[::10], ELEVATION[::10]])
    assert judged(tracks(), promised=promised).percent == pytest.approx(50.0)


def test_slips_gaps_clock_jumps_and_swings_are_counted():
    made = tracks()
    phase, code = made.phase_m.copy(), made.code_m.copy()
    phase[0, 200:, 2] += 5 * SPEED_OF_LIGHT_M_S / F[0]
    code[:, 300:] += 1e-3 * SPEED_OF_LIGHT_M_S
    strength = made.strength + 3.0 * RNG.standard_normal(made.strength.shape)
    kept = np.r_[0:100, 110:N]
    found = judged(replace(made, phase_m=phase, code_m=code, strength=strength))
    assert (found.slips, found.clock_jumps, found.arcs) == (1, 1, M + 1)
    assert found.slips_per_arc == pytest.approx(1.0 / (M + 1))
    assert found.swing > 0.3
    cut = made.select(epochs=kept)
    gap = quality_of(cut, ELEVATION[kept], 30.0, N)
    assert (gap.gaps, gap.longest_gap_s) == (1, 330.0)
    assert gap.arcs == 2 * M


def test_flags_of_the_receiver_count_as_slips():
    made = tracks()
    made.lock[50, 3] = 1
    found = judged(made)
    assert (found.slips, found.slips_by_flag) == (1, 1)


def test_without_elevations_nothing_is_said_that_needs_them():
    made = tracks()
    found = quality_of(made, np.full((N, M), np.nan), 30.0, N)
    assert found.seen == 0
    assert np.isnan([found.percent, found.slips_per_arc]).all()
    assert np.isnan(found.multipath_m).all()


def test_arcs_are_numbered_apart():
    present = np.array([[1, 1], [1, 0], [1, 0], [0, 0], [1, 1]], bool)
    slip = np.zeros((5, 2), bool)
    slip[2, 0] = True
    arc = arcs_of(np.arange(5) * 30 * NS_PER_S, present, slip, 60.0)
    assert (arc >= 0).sum() == present.sum()
    assert arc[1, 0] == arc[0, 0] != arc[2, 0] == arc[4, 0]
    assert arc[4, 1] != arc[0, 1]
