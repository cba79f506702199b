"""One lake worked out: its settings reach the search for events."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.campaign.lakes_settings import Lake, LakesPart
from stakeline.lakes.combined import StationUp
from stakeline.lakes.curve import ramp
from stakeline.lakes.outline import ellipse_outline
from stakeline.time import from_iso
from stakeline.workflows.lakes_events import _choice
from stakeline.workflows.lakes_places import Track
from stakeline.workflows.lakes_solve import LakeProblem, solve
from stakeline.workflows.lakes_words import phase_rows

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


LAKE = ellipse_outline("Upper Halvard", (0.0, 0.0), (2500.0, 2000.0))


def lake_problem(shape, **more):
    stations = (station("HV02", 2.0, 1), station("HV04", 0.0, 2, control=True))
    track = Track("HV02", stations[0].time_ns[:1], np.zeros((1, 2)))
    choice = replace(_choice(LakesPart(), "Upper Halvard"), shape=shape)
    return LakeProblem(
        "Upper Halvard", stations, {"HV02": track}, (LAKE,), None, "no grid", choice, **more
    )


@pytest.mark.compiled
def test_area_times_change_needs_no_thickness():
    found = solve(lake_problem("uniform"))
    (volume,) = found.volumes
    assert found.unjudged == ""
    expected = LAKE.area_m2 * 2.0
    assert np.median(volume.volume_m3) == pytest.approx(expected, rel=0.05)
    assert {row[1] for row in found.ranges} == {"shape: uniform", "outline", "stations"}
    # water of the whole record: the roof as the surface, nothing levels
    assert found.levelling == ()
    assert found.curves.stored_m3[1, -1] == pytest.approx(-expected, rel=0.08)
    refused = solve(lake_problem("ice flow"))
    assert refused.volumes == (None,)
    assert 'set shape = "uniform"' in refused.unjudged


@pytest.mark.compiled
def test_the_measured_pattern_is_that_of_the_problem():
    found = solve(lake_problem("measured pattern", pattern={"HV02": (1.25, 0.02)}))
    (volume,) = found.volumes
    assert np.median(volume.volume_m3) == pytest.approx(LAKE.area_m2 * 1.6, rel=0.05)
    assert "shape: measured pattern" in {row[1] for row in found.ranges}
    without = solve(lake_problem("measured pattern", pattern_words="no passes"))
    assert without.volume_words == ("volumes are not given: no passes",)


@pytest.mark.compiled
def test_a_change_too_long_for_an_event_has_its_volume_among_the_phases():
    problem = lake_problem("uniform")
    problem = replace(problem, choice=replace(problem.choice, longest_d=5.0))
    found = solve(problem)
    assert found.history.events == ()
    (row,) = [row for row in phase_rows(found) if row["kind"].startswith("long")]
    assert row["kind"] == "long drain"
    # put in: from day 25 to 33, 2 m over the lake, counted from the first row
    begin, end = (START_NS + d * DAY_NS for d in (25.0, 33.0))
    assert from_iso(row["begin_low_gps"]) < begin < from_iso(row["begin_high_gps"])
    assert from_iso(row["end_low_gps"]) < end < from_iso(row["end_high_gps"])
    assert row["volume_m3_low"] < 2.0 * LAKE.area_m2 < row["volume_m3_high"]
    flow = -2.0 * LAKE.area_m2 / (8.0 * 86400.0)
    assert row["inflow_m3_s_low"] < flow < row["inflow_m3_s_high"]
    # the water of the curves holds it all the same
    assert found.curves.stored_m3[1, -1] == pytest.approx(-2.0 * LAKE.area_m2, rel=0.08)
    assert found.history.notes[-1].endswith("listed among the phases")
