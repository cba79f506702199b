"""One lake worked out: its settings reach the search for events."""

import numpy as np
import pytest

from stakeline.campaign.lakes_settings import Lake, LakesPart
from stakeline.lakes.combined import StationUp
from stakeline.lakes.curve import ramp
from stakeline.workflows.lakes_events import _choice
from stakeline.workflows.lakes_solve import LakeProblem, solve

START_NS = 1_900_000_000_000_000_000
DAY_NS = 86_400_000_000_000


def station(name, drop_m, seed, **more):
    day = np.arange(0.0, 60.0, 0.25)
    noise = 0.006 * np.random.default_rng(seed).standard_normal(len(day))
    up = noise - drop_m * ramp((day - 25.0) / 8.0, 2.5, 3.0)
    time_ns = START_NS + np.round(day * DAY_NS).astype(np.int64)
    return StationUp(name, time_ns, up, np.full(len(day), 0.006), **more)


@pytest.mark.compiled
def test_the_longest_event_is_a_setting():
    part = LakesPart(longest_d=5.0, lake=(Lake(name="Upper Halvard", longest_d=20.0),))
    assert _choice(part, "Lower Halvard").longest_d == 5.0
    stations = (station("HV02", 2.0, 1), station("HV04", 0.0, 2, control=True))
    found = {}
    for lake in ("Upper Halvard", "Lower Halvard"):
        problem = LakeProblem(lake, stations, {}, (), None, "no grid", _choice(part, lake))
        found[lake] = solve(problem).history
    (event,) = found["Upper Halvard"].events
    assert np.median(event.change_m) == pytest.approx(-2.0, rel=0.02)
    assert found["Lower Halvard"].events == ()
    assert "is no event: it lasts longer than 5 d" in found["Lower Halvard"].notes[-1]
