"""The verb decide on a campaign laid by hand: files, plans, and what is missing, in words."""

import json
import sys
from pathlib import Path

import numpy as np
import pytest

from stakeline.campaign.decide_settings import DecidePart
from stakeline.campaign.folders import create, open_campaign
from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError
from stakeline.workflows import decide
from stakeline.workflows.decide_melt import melt_index
from stakeline.workflows.decide_record import (
    daily_speeds,
    drainings,
    questions,
)
from stakeline.workflows.lakes_results import lake_results
from stakeline.workflows.motion_results import station_results

sys.path.append(str(Path(__file__).parent))
from decide_campaign import (
    DAYS,
    ONSETS,
    RESPONDING,
    SETTINGS,
    START,
    speed,
    write_lake,
    write_station,
)

pytestmark = pytest.mark.compiled  # a dozen fits of a decision take minutes without


@pytest.fixture
def campaign(tmp_path):
    create(tmp_path)
    path = tmp_path / "campaign.toml"
    path.write_text('[campaign]\nname = "Trial"\n' + SETTINGS)
    rng = np.random.default_rng(11)
    for name in RESPONDING:
        write_station(tmp_path, name, speed(rng, 0.06))
    write_station(tmp_path, "HV01", speed(rng))
    write_lake(tmp_path)
    return tmp_path


def test_the_verb_writes_everything_once(campaign):
    said = decide.run(campaign)
    assert said.problems == ()
    assert said.done == ("1 lakes",)
    folder = campaign / "7-decide"
    text = (folder / "verdict.txt").read_text(encoding="utf-8")
    assert text.startswith("Faster: ")
    assert "No plan was frozen beforehand" in text
    told = json.loads((folder / "verdict.json").read_text(encoding="utf-8"))
    assert told["verdict"]["outcome"] == "faster"
    assert told["lakes"][0]["placebo_stations"] == ["HV01"]
    tables = ("effects", "pooled", "tests", "robustness", "power")
    assert all((folder / f"{name}.csv").stat().st_size > 50 for name in tables)
    assert len(list((folder / "figures").glob("*.svg"))) == 5
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    again = decide.run(campaign)
    assert again.up_to_date == ("1 lakes",)
    assert again.done == ()
    (folder / "verdict.txt").unlink()
    assert decide.run(campaign).done == ("1 lakes",)
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before


@pytest.mark.parametrize(
    ("changed", "match"),
    [
        ({"status": "rejected"}, "rejected by a person"),
        ({"probability_real": 0.4}, "real with a probability of 0.40 only"),
    ],
)
def test_events_that_do_not_count_are_named(campaign, changed, match):
    write_lake(campaign, **changed)
    (asked,), _ = questions(open_campaign(campaign), station_results(open_campaign(campaign)))
    assert len(asked.names) == 2
    assert any(match in line for line in asked.left_out)


def test_events_outside_the_record_are_named(campaign):
    write_lake(campaign, onsets=(2.0, 81.8, 400.0))
    (asked,), _ = questions(open_campaign(campaign), station_results(open_campaign(campaign)))
    assert len(asked.names) == 1
    assert sum("outside the record" in line for line in asked.left_out) == 2


def test_series_that_say_nothing_are_named(campaign):
    write_station(campaign, "HV05", np.full(DAYS, 1.0))
    write_station(campaign, "HV06", np.full(DAYS, np.nan))
    write_lake(campaign)
    said = decide.run(campaign)
    text = (campaign / "7-decide" / "verdict.txt").read_text(encoding="utf-8")
    assert text.startswith("Cannot tell: no moving station stands on the route of Upper's water.")
    assert "HV05: its speed does not vary at all" in text
    assert "HV06: 0 days of speed" in text
    assert said.problems == ()
    told = json.loads((campaign / "7-decide" / "verdict.json").read_text(encoding="utf-8"))
    assert told["verdict"]["p"] is None


def test_what_is_not_there_is_said(campaign, tmp_path):
    path = campaign / "campaign.toml"
    path.write_text(path.read_text().replace("[decide]", '[decide]\nlakes = ["Lower"]'))
    with pytest.raises(SettingsError, match="there is no lake 'Lower' in 6-lakes; there are Upper"):
        decide.run(campaign)
    path.write_text(path.read_text().replace('lakes = ["Lower"]', 'stations = ["HV99"]'))
    with pytest.raises(SettingsError, match="no motion of a station 'HV99'"):
        decide.run(campaign)
    path.write_text(path.read_text().replace('stations = ["HV99"]', "window_d = 3"))
    with pytest.raises(SettingsError, match="motion has windows of 1 d"):
        decide.run(campaign)
    create(tmp_path / "empty")
    assert decide.run(tmp_path / "empty").skipped == (decide.NO_MOTION,)


def test_an_old_verdict_is_not_removed_without_a_word(campaign):
    decide.run(campaign)
    for path in (campaign / "5-motion").rglob("*.parquet"):
        path.unlink()
    assert decide.run(campaign).skipped == (decide.NO_MOTION, decide.REMOVED)
    assert not (campaign / "7-decide" / "verdict.json").exists()
    assert decide.run(campaign).skipped == (decide.NO_MOTION,)


def test_melt_needs_a_table_of_temperature(campaign):
    opened = open_campaign(campaign)
    axis = START / NS_PER_DAY + np.arange(4) + 0.5
    melt, files, said = melt_index(opened, axis)
    assert melt is None
    assert files == ()
    assert "no table of air temperature" in said[-1]
    folder = campaign / "0-raw" / "weather"
    folder.mkdir()
    rows = "".join(f"2031-05-0{d}T12:00:00Z,{t}\n" for d, t in ((1, 2.0), (2, -3.0), (3, 4.5)))
    (folder / "HV01.csv").write_text("time_utc,temperature_degC\n" + rows)
    melt, files, _ = melt_index(opened, axis)
    assert melt[:3] == pytest.approx([2.0, 0.0, 4.5])
    assert files == (folder / "HV01.csv",)


def test_speeds_lie_on_one_axis(campaign):
    results = station_results(open_campaign(campaign))
    axis, found, said = daily_speeds(results, 1.0)
    assert len(axis) == DAYS
    assert axis[0] == pytest.approx(START / NS_PER_DAY + 0.5)
    percent, sigma, usual, way = found["HV05"]
    assert np.median(percent) == pytest.approx(100.0, abs=0.01)
    assert sigma[0] == pytest.approx(0.6 / usual)
    assert way is None  # these windows tell no positions
    assert said == ()


def test_drainings_without_volume_are_sized_by_the_roof(campaign):
    lake = lake_results(open_campaign(campaign))[0]
    for told in lake.told["events"]:
        told |= {"volume_m3_median": None, "volume_m3_low": None, "volume_m3_high": None}
        told |= {"change_m_low": -2.4, "change_m_median": -2.0, "change_m_high": -1.6}
    axis = START / NS_PER_DAY + np.arange(DAYS) + 0.5
    events, names, size, sigma, unit, _ = drainings(DecidePart(), lake, axis)
    assert (len(events), len(names), unit) == (3, 3, "m")
    assert size == pytest.approx([2.0] * 3)
    assert sigma == pytest.approx([0.8 / 3.92] * 3)
    assert np.median(events.onset[0]) == pytest.approx(ONSETS[0] - 0.5, abs=0.2)
