"""The frozen plan: followed only where it is whole, first, and nothing it rests on has changed."""

import shutil
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.errors import SettingsError
from stakeline.workflows import decide
from stakeline.workflows.decide_plan import PLAN, check_plan
from stakeline.workflows.decide_since import NONE_YET, changed_since, made_from

sys.path.append(str(Path(__file__).parent))
from decide_campaign import RESPONDING, SETTINGS, speed, write_lake, write_station

TODAY = datetime.now(UTC).date()
OUTLINE = '{"type": "FeatureCollection", "features": []}'


@pytest.fixture
def campaign(tmp_path):
    create(tmp_path)
    (tmp_path / "campaign.toml").write_text('[campaign]\nname = "Trial"\n' + SETTINGS)
    rng = np.random.default_rng(11)
    for name in RESPONDING:
        write_station(tmp_path, name, speed(rng, 0.06))
    write_lake(tmp_path)
    (tmp_path / "maps").mkdir(exist_ok=True)
    (tmp_path / "maps" / "lakes.geojson").write_text(OUTLINE)
    (tmp_path / "0-raw" / "weather").mkdir(parents=True)
    (tmp_path / "0-raw" / "weather" / "HV01.csv").write_text("time_utc,temperature_degC\n")
    return tmp_path


def checked(root, part=None, stations=None, first=None):
    opened = open_campaign(root)
    part = opened.settings.decide if part is None else part
    stations = decide.stations_of(opened) if stations is None else stations
    return check_plan(root / "7-decide" / PLAN, part, stations, made_from(opened), first)


def with_settings(root, text):
    path = root / "campaign.toml"
    path.write_text(path.read_text() + text)


def test_a_plan_is_followed_only_whole_and_unchanged(campaign):
    decide.freeze(campaign, day=TODAY)
    path = campaign / "7-decide" / PLAN
    settings = open_campaign(campaign).settings.decide
    assert decide.stations_of(open_campaign(campaign)) == {"Upper": ["HV05", "HV06"]}
    assert checked(campaign).followed
    assert checked(campaign).sentence == (
        f"The plan frozen on {TODAY.isoformat()}, before any result, was followed."
    )
    with pytest.raises(SettingsError, match="frozen already"):
        decide.freeze(campaign, day=TODAY)
    other = settings.model_copy(update={"after_d": 12.0})
    check = checked(campaign, other)
    assert (check.state, check.followed) == ("not followed", False)
    assert "after_d: planned 10.0, done 12.0" in check.sentence
    check = checked(campaign, stations={"Upper": ["HV05"]})
    assert "Upper: planned HV05, HV06, done HV05" in check.sentence
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"after_d" = 10.0', '"after_d" = 12.0'))
    assert checked(campaign, other).state == "changed"
    path.write_text("nonsense")
    with pytest.raises(SettingsError, match="is no frozen plan"):
        checked(campaign)


REVIEW = """
[[lakes.review]]
lake = "Upper"
onset = 2031-06-15
status = "rejected"
reason = "no"
who = "one of us"
day = 2031-12-01
"""


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda root: write_lake(root, status="rejected"), "events rejected since (Upper day 45.3"),
        (lambda root: write_lake(root, onsets=(81.8, 158.4)), "events gone since (Upper day 45.3"),
        (lambda root: with_settings(root, REVIEW), "reviews changed since (Upper, 2031-06-15"),
        (lambda root: with_settings(root, "[lakes]\nleast_m = 0.5\n"), "settings of lakes changed"),
        (lambda root: with_settings(root, "[motion]\nwindow_d = [1, 2]\n"), "settings of motion"),
        (lambda root: (root / "maps" / "lakes.geojson").write_text(OUTLINE + " "), "outlines chan"),
        (lambda root: (root / "0-raw/weather/HV01.csv").unlink(), "weather changed since (0-raw"),
    ],
)
def test_what_makes_the_events_may_not_change(campaign, change, words):
    decide.freeze(campaign, day=TODAY)
    change(campaign)
    check = checked(campaign)
    assert check.state == "not followed"
    assert words in check.sentence
    assert "exploratory" in check.sentence


def test_what_only_came_since_is_told(campaign):
    decide.freeze(campaign, day=TODAY)
    write_lake(campaign, onsets=(45.3, 81.8, 130.0, 158.4))
    (campaign / "0-raw" / "weather" / "HV02.csv").write_text("time_utc,temperature_degC\n")
    check = checked(campaign)
    assert check.followed
    assert "events new since (Upper day 130 drain)" in check.sentence
    assert "weather new since (0-raw/weather/HV02.csv)" in check.sentence


def test_of_events_not_known_yet_the_first_verdict_counts(campaign):
    shutil.rmtree(campaign / "6-lakes" / "Upper")
    decide.freeze(campaign, day=TODAY)
    assert f'catalogue = "{NONE_YET}"' in (campaign / "7-decide" / PLAN).read_text()
    write_lake(campaign)
    first = made_from(open_campaign(campaign))
    assert checked(campaign).followed
    write_lake(campaign, status="rejected")
    assert checked(campaign).followed  # nothing had been seen
    check = checked(campaign, first=first)
    assert "events rejected since" in check.sentence


@pytest.mark.compiled
def test_a_verdict_once_made_is_remembered(campaign):
    decide.run(campaign)
    for path in (campaign / "7-decide").glob("verdict.*"):
        path.unlink()
    said = decide.freeze(campaign, day=TODAY)
    assert f"a verdict was made on {TODAY.isoformat()}" in said.text
    check = checked(campaign)
    assert check.state == "late"
    assert f"a verdict had been made on {TODAY.isoformat()}" in check.sentence
    assert "exploratory" in check.sentence


@pytest.mark.parametrize("away", [-400, 300])
def test_a_day_that_is_not_today_is_told(campaign, away):
    day = TODAY + timedelta(days=away)
    said = decide.freeze(campaign, day=day)
    assert f"{abs(away)} d {'after' if away > 0 else 'before'} today" in said.text
    check = checked(campaign)
    carries = f"carries the day {day.isoformat()} and was written on {TODAY.isoformat()}"
    assert carries in check.sentence


def test_a_plan_that_wrote_none_of_it_down_is_not_followed(campaign):
    made = made_from(open_campaign(campaign))
    breaking, _ = changed_since({}, made)
    assert "settings of lakes changed since" in breaking
    assert changed_since(made, made) == ([], [])
