"""What the verb lakes takes of the heights: steps, slope, scatter."""

import sys
from pathlib import Path

import numpy as np
import pytest

from stakeline.campaign.folders import open_campaign
from stakeline.constants import NS_PER_DAY
from stakeline.time import from_iso
from stakeline.workflows.lakes_input import scatter, slope_course, station_up, step_notes
from stakeline.workflows.motion_results import station_results

sys.path.append(str(Path(__file__).parent))
from lakes_campaign import ICE, make, station


def test_heights_take_steps_and_slope_along(tmp_path):
    step = "2031-05-11T00:00:00,2031-05-11T03:00:00,equipment,no,yes,0,0,0,0,0.50,0.03,found\n"
    step += "2031-05-12T00:00:00,2031-05-12T03:00:00,equipment,yes,yes,0,0,0,0,0.50,0.005,log\n"
    step += "2031-05-20T00:00:00,2031-05-26T03:00:00,undecided,no,no,0,0,0,0,-1.0,0.1,in a gap\n"
    root = make(tmp_path / "trial", ICE, stations=())
    station(root, "HV02", 0.0, 1, step=step)
    (result,) = station_results(open_campaign(root))
    up = station_up(result)
    assert up.step_ns == (from_iso("2031-05-11T03:00:00"),)
    assert station_up(result, control=True).step_ns == ()
    assert up.design is None
    assert up.sigma_m[0] == pytest.approx(0.008, rel=0.1)
    notes = step_notes([result])
    assert "took out a jump of +0.50 m up by 2031-05-11T03:00 that no log names" in notes[0]
    assert "-1.00 m up across the gap before 2031-05-26T03:00 stay in" in notes[1]


def test_scatter_is_blind_to_steps_and_drift():
    rng = np.random.default_rng(3)
    quiet = 0.01 * rng.standard_normal(4000)
    loud = quiet + 3.0 * (np.arange(4000) > 2000) + 1e-4 * np.arange(4000)
    assert scatter(loud) == pytest.approx(0.01, rel=0.06)
    assert scatter(loud) == pytest.approx(scatter(quiet), rel=0.01)


def test_a_slope_of_the_own_path_is_a_regressor_where_travel_bends(tmp_path):
    root = make(tmp_path / "trial", ICE, stations=("HV02",))
    (result,) = station_results(open_campaign(root))
    time_ns = result.time_ns
    day = (time_ns - time_ns[0]) / NS_PER_DAY
    travel = 0.5 * day + 2.0 * np.sin(2.0 * np.pi * day / 120.0)
    result.budget.update({"time_gps": result.columns["time_gps"], "slope_m": -0.02 * travel})
    result.told["slope"] = {"source": "own path", "own_path": -0.02}
    column = slope_course(result, time_ns)
    assert column.shape == (len(time_ns), 1)
    assert np.ptp(column) == pytest.approx(1.0)
    result.budget["slope_m"] = -0.02 * 0.5 * day  # even and straight: the line has it already
    assert slope_course(result, time_ns) is None
    result.told["slope"] = {"source": "given"}
    result.budget["slope_m"] = -0.02 * travel
    assert slope_course(result, time_ns) is None
