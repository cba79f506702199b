"""Two runs of one campaign beside each other."""

import csv
import shutil

import pytest

from stakeline.campaign.folders import create
from stakeline.errors import SettingsError
from stakeline.workflows.report_compare import COMPARED, compare

POOLED = """\
lake,event,change_percent,change_low_percent,change_high_percent
all lakes,all,5.28,2.68,7.77
"""
EVENTS = "event,onset_median_gps,change_m_median\nUpper drain,2031-06-14T10:00:00,-2.6\n"


@pytest.fixture
def runs(tmp_path):
    here, there = tmp_path / "here", tmp_path / "there"
    create(here)
    (here / "7-decide/pooled.csv").write_text(POOLED)
    (here / "6-lakes/events.csv").write_text(EVENTS)
    shutil.copytree(here, there)
    return here, there


def rows(root):
    with (root / COMPARED).open() as file:
        return list(csv.DictReader(file))


def test_a_run_is_the_same_as_itself(runs):
    here, there = runs
    assert compare(here, other=there).text.startswith("8 values are the same, 0 differ")
    assert rows(here) == []


def test_what_moved_is_told_with_its_size(runs):
    here, there = runs
    (there / "7-decide/pooled.csv").write_text(POOLED.replace("5.28", "4.80"))
    text = compare(here, other=there).text
    assert "7-decide/pooled.csv: all lakes, all: change_percent: 5.28 here, 4.80 there" in text
    (one,) = rows(here)
    assert (one["difference"], one["percent"]) == ("0.48", "10.00")
    back = compare(there, other=here)
    assert back.text.startswith("7 values are the same, 1 differ")
    assert rows(there)[0]["difference"] == "-0.48"


def test_rows_of_one_run_only_and_settings(runs):
    here, there = runs
    (there / "6-lakes/events.csv").write_text(EVENTS.replace("Upper", "Lower"))
    path = there / "campaign.toml"
    path.write_text(path.read_text().replace("mask_deg = 5 ", "mask_deg = 7 "))
    compare(here, other=there)
    found = {(r["of"], r["column"]): (r["here"], r["other"]) for r in rows(here)}
    assert found["Upper drain", "change_m_median"] == ("-2.6", "")
    assert found["Lower drain", "change_m_median"] == ("", "-2.6")
    assert found["settings", "position.mask_deg"] == ("5.0", "7.0")


def test_no_campaign_to_hold_against_is_said(runs, tmp_path):
    with pytest.raises(SettingsError, match="holds no campaign"):
        compare(runs[0], other=tmp_path)


def test_rows_of_the_same_name_are_all_compared(runs):
    here, there = runs
    row = POOLED.splitlines()[1]
    (here / "7-decide/pooled.csv").write_text(f"{POOLED}{row}\n")
    (there / "7-decide/pooled.csv").write_text(f"{POOLED}{row.replace('5.28', '6.28')}\n")
    compare(here, other=there)
    assert [(r["of"], r["difference"]) for r in rows(here)] == [("all lakes, all (2)", "-1")]
