"""The verb report: its numbers are the tables' own, gaps are told, nothing else is touched."""

import csv
import io
import json
import re
import shutil

import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.journal import append
from stakeline.campaign.store import sha256_of
from stakeline.errors import SettingsError
from stakeline.report.document import report_html
from stakeline.workflows import report
from stakeline.workflows.report_sources import MOST_ROWS, Record, Sources, table, written

EVENTS = """\
event,lake,kind,status,onset_median_gps,onset_low_gps,onset_high_gps,volume_m3_median,\
volume_m3_low,volume_m3_high,probability_real
Upper 2031-06-14 drain,Upper,drain,automatic,2031-06-14T10:11:00,2031-06-13T01:00:00,\
2031-06-15T02:00:00,34693154,21200000,50300000,0.9970
"""
EFFECTS = """\
lake,station,event,distance_km,change_percent,change_low_percent,change_high_percent,lag_d
Upper,HV05,all,6.54,4.24,2.99,5.45,1.15
Upper,HV05,Upper 2031-06-14 drain,6.54,9.99,2.99,5.45,1.15
"""
VERDICT = {
    "plan": {"sentence": "No plan was frozen beforehand."},
    "verdict": {"sentence": "Faster: by <b>4.2 %</b>.", "support": ["chance alone: p = 0.01"]},
    "lakes": [{"of": "Upper", "sentence": "Faster.", "left_out": ["size and change: 1 event"]}],
}


@pytest.fixture
def campaign(tmp_path):
    root = tmp_path / "campaign"
    create(root)
    (root / "6-lakes" / "events.csv").write_text(EVENTS)
    (root / "7-decide" / "effects.csv").write_text(EFFECTS)
    (root / "7-decide" / "verdict.json").write_text(json.dumps(VERDICT))
    (root / "7-decide" / "figures").mkdir()
    (root / "7-decide" / "figures" / "effects.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 100"><path d="M0 0L9 9"/></svg>'
    )
    return root


def test_each_number_stands_in_its_file(campaign):
    said = report.run(campaign)
    assert said.done == ("report",)
    told = json.loads((campaign / "8-report" / "numbers.json").read_text())
    assert len(told["numbers"]) > 10
    page = (campaign / "8-report" / "report.html").read_text()
    for one in told["numbers"]:
        data = (campaign / one["file"]).read_bytes()
        assert one["sha256"] == sha256_of(data)
        assert one["shown"] in page
        if one["file"].endswith(".csv"):
            row = list(csv.DictReader(io.StringIO(data.decode())))[one["row"] - 1]
            assert float(row[one["column"]]) == one["value"]


def test_thousands_are_parted_and_times_written_for_people(campaign):
    report.run(campaign)
    page = (campaign / "8-report" / "report.html").read_text()
    assert "34\u202f693\u202f154 (21\u202f200\u202f000 to 50\u202f300\u202f000)" in page
    assert "2031-06-14 10:11 (2031-06-13 01:00 to 2031-06-15 02:00)" in page
    assert "9.99" not in page  # effects of all events only


def test_names_are_shown_as_text_and_nothing_is_fetched(campaign):
    report.run(campaign)
    page = (campaign / "8-report" / "report.html").read_text()
    assert "Faster: by &lt;b&gt;4.2 %&lt;/b&gt;." in page
    assert not re.search(r"(src|href)=\"(?!data:|#)", page)
    assert "default-src 'none'" in page


def test_gaps_are_told(campaign):
    report.run(campaign)
    page = (campaign / "8-report" / "report.html").read_text()
    for sentence in ("Nothing was taken in", "There are no positions", "There is no motion",
                     "No station was planned"):  # fmt: skip
        assert page.count(sentence) == 2  # in its chapter and in the summary
    shutil.rmtree(campaign / "7-decide")
    assert "Nothing has been decided" in report.run(campaign).text


def test_the_same_gives_the_same_bytes_and_only_what_is_out_of_date(campaign):
    report.run(campaign)
    first = {p.name: p.read_bytes() for p in (campaign / "8-report").iterdir()}
    assert report.run(campaign).up_to_date == ("report",)
    shutil.rmtree(campaign / "8-report")
    report.run(campaign)
    assert {p.name: p.read_bytes() for p in (campaign / "8-report").iterdir()} == first
    assert first["report.pdf"].startswith(b"%PDF-")
    (campaign / "7-decide" / "effects.csv").write_text(EFFECTS.replace("4.24", "4.25"))
    assert report.run(campaign).done == ("report",)


def test_a_figure_that_changes_makes_a_new_report(campaign):
    report.run(campaign)
    path = campaign / "7-decide" / "figures" / "effects.svg"
    path.write_text(path.read_text().replace("L9 9", "L8 8"))
    assert report.run(campaign).done == ("report",)


def test_decisions_by_hand_are_told_and_make_a_new_report(campaign):
    journal, lock = campaign / "journal.jsonl", campaign / "ledger" / "lock"
    review = {"lake": "Upper", "onset": "2031-06-14", "status": "reviewed"}
    when = "2031-08-02T10:00:00Z"
    append(journal, lock, when, "I. Invented", "shore <b>photographed</b>", "review", review)
    document, *_ = report.contents(open_campaign(campaign))
    told = [block["lines"] for block in document["chapters"][-1]["blocks"]
            if block.get("title") == "Decisions by hand"]  # fmt: skip
    assert told == [["2031-08-02, I. Invented: Upper, event of 2031-06-14: reviewed. shore "
                     "<b>photographed</b>"]]  # fmt: skip
    append(journal, lock, when, "I. Invented", "another lake", "undo", {"number": 1})
    document, _, numbers = report.contents(open_campaign(campaign))
    titles = [block.get("title") for block in document["chapters"][-1]["blocks"]]
    assert "Decisions by hand" not in titles
    assert "journal.jsonl" in numbers["files"]


def test_a_broken_table_is_named(campaign):
    (campaign / "7-decide" / "verdict.json").write_text("{")
    with pytest.raises(SettingsError, match=r"verdict\.json: is no JSON .* run the verb"):
        report.run(campaign)


def test_no_campaign_is_said(tmp_path):
    with pytest.raises(SettingsError, match="holds no campaign"):
        report.run(tmp_path)


@pytest.mark.parametrize(
    ("value", "places", "shown"),
    [("0.0061", None, "0.0061"), (1.23456789, None, "1.235"), (7, None, "7"),
     ("1234567.8", 0, "1\u202f234\u202f568"), (0.123456, 3, "0.123")],
)  # fmt: skip
def test_numbers_are_written(value, places, shown):
    assert written(value, float(value), places) == shown


def test_missing_values_are_no_numbers():
    record = Record("a.csv", 3, {"a": "", "b": None, "c": "nan", "d": 2.0, "e": True})
    assert [record.cell(name).text for name in "abcdez"] == ["-", "-", "nan", "2", "yes", "-"]
    assert record.cell("d").numbers[0].row == 3
    assert record.cell("c").numbers == ()


def test_long_tables_point_to_their_file(tmp_path):
    (tmp_path / "a.csv").write_text("a\n" + "1\n" * (MOST_ROWS + 2))
    rows = [(r.cell("a"),) for r in Sources(tmp_path).rows("a.csv")]
    found = table("A", ("a",), rows, more="a.csv")
    assert len(found["rows"]) == MOST_ROWS
    assert found["note"] == "2 more rows stand in a.csv."


def test_a_page_of_nothing_stands():
    document = {"title": "A", "subtitle": "", "sentence": "S", "summary": [], "chapters": []}
    assert b"<h1>A</h1>" in report_html(document, {})
