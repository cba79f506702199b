"""Behaviour of invented clocks: drift and noise as put in, kinds as they are."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_S
from stakeline.signals.receiver_clock import (
    FREE,
    LEAST_S,
    MILLISECOND_S,
    PUT_BACK,
    STEERED,
    clock_behaviour,
)

SECONDS = 90.0 * np.arange(960)
TIME_NS = (SECONDS * NS_PER_S).astype(np.int64)
NOISE = 5e-9 * np.random.default_rng(3).standard_normal(SECONDS.size)


def test_a_free_clock_tells_drift_and_noise():
    found = clock_behaviour(TIME_NS, 2e-4 + 3e-9 * SECONDS + NOISE)
    assert (found.kind, found.resets) == (FREE, 0)
    assert found.drift == pytest.approx(3e-9, abs=4 * 5e-9 * 12**0.5 / SECONDS[-1] / 960**0.5)
    assert found.noise_s == pytest.approx(5e-9, rel=0.1)


@pytest.mark.parametrize("drift", [9e-8, -9e-8, 2e-6])
def test_resets_by_whole_milliseconds_leave_drift_and_noise_as_they_were(drift):
    free = 1e-4 + drift * SECONDS + NOISE
    turns = np.floor(free / MILLISECOND_S + 0.5)
    found, same = (
        clock_behaviour(TIME_NS, free - turns * MILLISECOND_S),
        clock_behaviour(TIME_NS, free),
    )
    assert found.kind == PUT_BACK
    assert found.resets == abs(turns[-1] - turns[0]) > 0
    np.testing.assert_allclose((found.drift, found.noise_s), (same.drift, same.noise_s), rtol=1e-6)


def test_a_steered_clock_stays_at_noise():
    found = clock_behaviour(TIME_NS, NOISE + 2e-8 * np.sin(SECONDS / 5000.0))
    assert found.kind == STEERED
    assert abs(found.drift) < 1e-12
    limit = clock_behaviour(TIME_NS, NOISE + 1.1e-6 * SECONDS / SECONDS[-1])
    assert limit.kind == FREE


def test_gaps_do_not_matter():
    kept = np.r_[0:200, 320:960]
    bias = 4e-8 * SECONDS + NOISE
    found = clock_behaviour(TIME_NS[kept], bias[kept])
    assert (found.kind, found.resets) == (FREE, 0)
    assert found.drift == pytest.approx(4e-8, rel=1e-4)


def test_of_too_little_nothing_is_said():
    short = TIME_NS < LEAST_S * NS_PER_S
    for found in (
        clock_behaviour(TIME_NS[short], NOISE[short]),
        clock_behaviour(TIME_NS[:0], NOISE[:0]),
    ):
        assert found.kind == "too short a file"
        assert np.isnan([found.drift, found.noise_s]).all()
