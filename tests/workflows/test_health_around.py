"""What plan, history and receivers' files say of a station enters its next visit with its date."""

from dataclasses import dataclass, field

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.constants import NS_PER_DAY
from stakeline.time import from_calendar
from stakeline.workflows.health import StationHealth
from stakeline.workflows.health_around import LEFT_SHARE, around_of
from stakeline.workflows.health_visits import CARD_DOUBT, visit_rows
from stakeline.workflows.plan_description import describe_station
from stakeline.workflows.plan_network import kept_of

SETTINGS = '[campaign]\nname = "Halvard"\n[[station]]\nname = "HV01"\n[[station]]\nname = "HV02"\n'
SET_UP = from_calendar(2031, 4, 28) // NS_PER_DAY
NOW = SET_UP + 100
MELT = "melt_m_a = 2.0\n"


@dataclass(frozen=True)
class File:
    """What is asked of a file that was taken in."""

    station: str
    span_ns: tuple
    mismatches: tuple = ()
    quality: dict = field(default_factory=dict)


@pytest.fixture
def campaign(tmp_path):
    create(tmp_path)
    (tmp_path / "campaign.toml").write_text(SETTINGS, encoding="utf-8")
    return open_campaign(tmp_path)


def with_plan(campaign, old, new):
    """Change the plan of HV01 and return its description."""
    path = campaign.root / "plans" / "HV01.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return describe_station(path)


def around(campaign, files=(), health=(), rows=(), audit=()):
    """Return what is around the stations; the row's ``odd`` is what stands out."""
    files = files or [File("HV01", (SET_UP * NS_PER_DAY, NOW * NS_PER_DAY))]
    found, now = around_of(
        campaign,
        files,
        campaign.histories(),
        health,
        rows,
        lambda own: [(r, r["odd"]) for r in own],
        audit,
    )
    assert now == NOW
    return found


def test_the_card_is_full_so_many_days_after_the_last_visit(campaign):
    description = describe_station(campaign.root / "plans" / "HV01.toml")
    found = around(campaign)["HV01"]
    whole = kept_of(description, 365.25).card_d
    assert found.visit_day == SET_UP
    assert found.card == pytest.approx([SET_UP + whole / CARD_DOUBT, SET_UP + whole,
                                        SET_UP + whole * CARD_DOUBT])  # fmt: skip


def test_a_small_card_enters_the_visits_before_its_date(campaign):
    with_plan(campaign, "[aim]\n", "[recording]\ncard_GB = 1\n\n[aim]\n")
    found = around(campaign)
    rows = {row["station"]: row for row in visit_rows([StationHealth("HV01", ())], found, NOW)}
    assert "memory card full around " in rows["HV01"]["reason"]
    assert rows["HV01"]["before"]


def test_the_plan_s_snow_buries_parts_where_no_ranger_says_it(campaign):
    found = around(campaign)["HV01"].buried
    assert {"antenna", "panel south", "turbine"} <= set(found)
    assert found["panel south"][1] < found["antenna"][1]
    ranger = StationHealth("HV01", ("a.csv",), SET_UP, 101, snow={"rise_m": 0.1, "rate_m_a": 0.3,
                           "sigma_m_a": 0.1, "buried": {}})  # fmt: skip
    assert around(campaign, health=[ranger])["HV01"].buried == {}


def test_what_is_drilled_in_melts_out_by_plan_or_ranger(campaign):
    description = with_plan(campaign, "[snow]\n", "[snow]\n" + MELT)
    deep = description.settings.mast.embedded_m
    early, median, late = around(campaign)["HV01"].loose["mast"]
    built = description.settings.aim.built
    begin = SET_UP if built is None else from_calendar(built.year, built.month, built.day) // (
        NS_PER_DAY)  # fmt: skip
    assert median == pytest.approx(begin + 365.25 * (1.0 - LEFT_SHARE) * deep / 2.0, abs=30.0)
    assert early <= median <= late
    fallen = StationHealth("HV01", ("a.csv",), SET_UP, 101, snow={
        "rise_m": -deep, "rate_m_a": -2.0, "sigma_m_a": 0.1, "buried": {}})  # fmt: skip
    assert around(campaign, health=[fallen])["HV01"].loose["mast"] == (NOW, NOW, NOW)
    rising = StationHealth("HV01", ("a.csv",), SET_UP, 101, snow={
        "rise_m": 0.2, "rate_m_a": 0.5, "sigma_m_a": 0.1, "buried": {}})  # fmt: skip
    assert around(campaign, health=[rising])["HV01"].loose == {}


def test_files_and_headers_are_of_the_latest_and_said_once(campaign):
    files = [File("HV01", (NOW * NS_PER_DAY,) * 2, ("height differs",))] * 3
    rows = [{"station": "HV01", "day_gps": f"2031-07-{k:02d}", "percent": float(k),
             "odd": ["slips"] if k > 18 else []} for k in range(1, 21)]  # fmt: skip
    found = around(campaign, files, rows=rows)
    assert found["HV01"].contradicted == ("height differs",)
    assert found["HV01"].files == (10, np.median(np.arange(11, 21)),
                                   ("2031-07-19 slips", "2031-07-20 slips"))  # fmt: skip
    assert found["HV02"].files == found["HV02"].contradicted == ()
    assert found["HV02"].last_day is None


def test_forms_of_visits_are_added_to_headers_but_not_said_twice(campaign):
    files = [File("HV01", (NOW * NS_PER_DAY,) * 2, ("height differs",))]
    audit = ("HV01: visit of May: battery_rest_V is 11 V", "HV01: first file: height differs",
             "HV02: visit of May: another")  # fmt: skip
    found = around(campaign, files, audit=audit)
    assert found["HV01"].contradicted == (
        "height differs",
        "visit of May: battery_rest_V is 11 V",
    )
    assert found["HV02"].contradicted == ("visit of May: another",)


def test_a_station_that_was_taken_away_needs_no_visit(campaign):
    path = campaign.root / "stations" / "HV01.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text + '\n[[visit]]\ntime = 2031-08-01T12:00:00Z\nkind = "retrieval"\n', encoding="utf-8"
    )
    assert sorted(around(open_campaign(campaign.root))) == ["HV02"]
