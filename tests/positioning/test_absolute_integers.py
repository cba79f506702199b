"""Integers without a base: level positions gain, and float stays where products do not allow it."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import SPEED_OF_LIGHT_M_S
from stakeline.positioning import solve
from stakeline.positioning.absolute_integers import without_biases
from stakeline.signals.slips import wide_lane_cycles
from stakeline.signals.tracks import build_tracks
from stakeline.simulate.baselines import make_baselines

pytestmark = pytest.mark.compiled


@pytest.fixture(scope="module")
def world():
    """Return ten hours of a station without a base."""
    return make_baselines(2, [], hours=10.0, interval_s=60.0)


def found(world, **products):
    settings = replace(world.settings, integers=True)
    return solve(world.rover, replace(world.products, **products), settings)


def said(positions):
    return next(w for w in positions.summary["warnings"] if w.startswith("integers: "))


def level_rms(positions, world):
    at = np.searchsorted(world.truth.time_ns, positions.time_ns)
    error = (positions.position_m - world.truth.position_m[at]) @ world.truth.axes.T
    return np.sqrt(np.mean(error[:, :2] ** 2))


def test_integers_make_level_positions_better(world):
    fixed, float_ = found(world), solve(world.rover, world.products, world.settings)
    assert (fixed.state == "integer-fixed").mean() > 0.9
    assert set(float_.state) == {"float"}
    assert level_rms(fixed, world) < level_rms(float_, world)
    assert "arcs fixed" in said(fixed)


def test_without_biases_all_stays_float_to_the_digit_and_says_so(world):
    plain = found(world, wide_lanes=None)
    assert said(plain) == "integers: no satellite phase biases in the products: float"
    assert set(plain.state) == {"float"}
    float_ = solve(world.rover, world.products, world.settings)
    np.testing.assert_array_equal(plain.position_m, float_.position_m)


def test_wide_lanes_of_other_bands_are_none_of_these_signals(world):
    lanes = {s: (cycles, "17") for s, (cycles, _) in world.products.wide_lanes.items()}
    assert "no satellite phase biases" in said(found(world, wide_lanes=lanes))


def test_wide_lanes_that_do_not_fit_leave_all_float(world):
    lanes = {
        s: (cycles + 0.5 * (s % 2), bands)
        for s, (cycles, bands) in world.products.wide_lanes.items()
    }
    wrong = found(world, wide_lanes=lanes)
    assert "wide lanes do not fit the products" in said(wrong)
    assert set(wrong.state) == {"float"}


def test_biases_of_observables_move_the_wide_lane_by_what_they_are(world):
    tracks, _ = build_tracks(world.rover, "G")
    satellite, signals = int(tracks.satellites[0]), tracks.signals[0]
    wave_m = SPEED_OF_LIGHT_M_S / tracks.frequency_hz[0, 0]
    moved = without_biases(tracks, {(satellite, signals[1]): 0.25 * wave_m})
    apart = wide_lane_cycles(tracks) - wide_lane_cycles(moved)
    seen = np.isfinite(apart[:, 0])
    np.testing.assert_allclose(apart[seen, 0], 0.25, atol=1e-6)  # a cycle of L1 is one wide lane
    assert not np.nan_to_num(apart[:, 1:]).any()
