"""Phases between events: rates, and edges as sure as the events beside them."""

from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.lakes.combined import StationUp, combined_series
from stakeline.lakes.event_record import interval
from stakeline.lakes.phases import AFTER, BEFORE, FIRST, LAST, phases_of
from stakeline.motion.motion_model import MotionModel

DAY_NS = 86_400_000_000_000
START_NS = 1_900_000_000_000_000_000


def series(rate_m_d, seed=1):
    day = np.arange(0.0, 80.0, 0.25)
    up = rate_m_d * day + 0.004 * np.random.default_rng(seed).standard_normal(len(day))
    times = START_NS + np.round(day * DAY_NS).astype(np.int64)
    return combined_series([StationUp("HV02", times, up, np.full(len(day), 0.004))], 6.0)


def event(start_ns, onset, length, spread):
    rng = np.random.default_rng(2)
    begin = onset + spread * rng.standard_normal(400)
    return SimpleNamespace(
        origin_ns=start_ns, onset_days=lambda: begin, end_days=lambda: begin + length
    )


def test_edges_are_those_of_the_events_beside():
    model = MotionModel(1e-9, np.inf, (0.002,), (3.0,), 1.0)
    rows = series(0.005)
    one = event(rows.start_ns, 30.0, 6.0, 0.4)
    before, after = phases_of("lake", rows, model, (one,))
    assert (before.begin_by, before.end_by) == (FIRST, AFTER)
    assert (after.begin_by, after.end_by) == (BEFORE, LAST)
    # the first row is known: no width; the event's onset as wide as its samples
    assert np.ptp(before.begin_ns) == 0
    low, _, high = interval(one.onset_days())
    assert np.ptp(before.end_ns) / DAY_NS == pytest.approx(high - low, rel=1e-6)
    assert after.begin_ns == pytest.approx(before.end_ns + 6 * DAY_NS, abs=1000)
    for phase in (before, after):
        assert phase.kind == "filling"
        assert abs(phase.rate_m_d - 0.005) < 4.0 * phase.sigma_m_d


def test_what_is_too_short_is_no_phase():
    model = MotionModel(1e-9, np.inf, (0.002,), (3.0,), 1.0)
    rows = series(0.0)
    pair = (event(rows.start_ns, 30.0, 6.0, 0.1), event(rows.start_ns, 39.0, 6.0, 0.1))
    found = phases_of("lake", rows, model, pair)
    assert [phase.begin_by for phase in found] == [FIRST, BEFORE]
    assert {phase.kind for phase in found} <= {"steady", "filling", "sinking"}
