"""Decisions on the pages: written with who and why, shown, undone, and laid over the settings."""

import shutil
from pathlib import Path

import pytest
import results_campaign as campaign_of

from stakeline.campaign.folders import open_campaign
from stakeline.web.app import make_app

TOKEN = {"x-stakeline-token": "a token"}
REVIEW = {"lake": campaign_of.LAKE, "onset": "2031-06-20", "status": "rejected"}
HELD = {"station": "HV02", "begin_utc": "2031-07-17T09:00:00", "end_utc": "2031-07-17T15:00:00"}


@pytest.fixture
def root(tmp_path, results_root):
    return Path(shutil.copytree(results_root, tmp_path / "campaign"))


@pytest.fixture
def pages(root, results):
    return type(results)(make_app(root, port=4180, token="a token"))


def decide(pages, kind, about, who="I. Invented", why="seen on a photograph"):
    told = {"kind": kind, "about": about, "who": who, "why": why}
    return pages.post("/journal", json=told, headers=TOKEN)


def test_a_review_is_written_shown_and_undone(pages, root):
    assert decide(pages, "review", REVIEW, why=campaign_of.BAD).json() == {"number": 1}
    text = pages.get("/journal").text
    assert "Upper Halvard, event of 2031-06-20: rejected" in text
    assert "I. Invented" in text
    assert campaign_of.BAD not in text
    assert len(open_campaign(root).settings.lakes.review) == 1
    assert decide(pages, "undo", {"number": "1"}).json() == {"number": 2}
    assert open_campaign(root).settings.lakes.review == ()
    text = pages.get("/journal").text
    assert "decision 1 no longer holds" in text
    assert "<option>1</option>" not in text  # it cannot be undone twice


def test_the_pages_of_lakes_and_intake_have_their_forms(pages):
    text = pages.get(f"/lakes/{campaign_of.LAKE}").text
    assert 'data-decision="review"' in text
    assert '<option value="2031-06-20">' in text
    assert 'name="file" value="0-raw/d.rnx"' in pages.get("/intake").text


@pytest.mark.parametrize(
    ("kind", "about", "sentence"),
    [
        ("review", REVIEW | {"lake": "Lower Halvard"}, "no lake 'Lower Halvard'"),
        ("date", {"file": "0-raw/a.rnx"}, "intake proposes no other date"),
        ("held", HELD | {"station": "HV99"}, "no station 'HV99'"),
        ("held", HELD | {"end_utc": HELD["begin_utc"]}, "to a later one"),
        ("undo", {"number": "x"}, "no number of a decision"),
        ("review", [], "expected what the decision is about"),
        ("other", {}, "cannot take this"),
    ],
)
def test_a_decision_about_what_is_not_there_is_refused(pages, root, kind, about, sentence):
    answer = decide(pages, kind, about)
    assert answer.status_code == 400
    assert sentence in answer.json()["problem"]
    assert not (root / "journal.jsonl").exists()


@pytest.mark.parametrize("headers", [{}, TOKEN | {"origin": "http://example.org"}])
def test_strangers_decide_nothing(pages, root, headers):
    told = {"kind": "review", "about": REVIEW, "who": "x", "why": "x"}
    assert pages.post("/journal", json=told, headers=headers).status_code == 403
    assert not (root / "journal.jsonl").exists()


def test_a_decision_needs_who_and_why(pages):
    assert "needs who and why" in decide(pages, "review", REVIEW, who=" ").json()["problem"]


def test_a_form_writes_a_decision_from_the_keyboard(browser, served):
    context = browser.new_context(viewport={"width": 820, "height": 1180})
    page, troubles = context.new_page(), []
    page.on("pageerror", lambda problem: troubles.append(str(problem)))
    page.on("console", lambda said: troubles.append(said.text) if said.type == "error" else 0)
    page.goto(f"{served.address}/journal")
    form = page.locator("form[data-decision=issue]")
    form.locator("[name=day]").fill("2031-07-17")
    form.locator("[name=what]").fill("antenna bumped")
    form.locator("[name=who]").fill("I. Invented")
    form.locator("[name=why]").fill("field book, page 3")
    form.locator("[name=why]").press("Enter")
    page.wait_for_selector("form[data-done='1']")
    assert "stands in the journal" in form.locator("[role=status]").inner_text()
    (issue,) = open_campaign(served.root).settings.release.issue
    assert (issue.what, issue.who) == ("antenna bumped", "I. Invented")
    page.reload()
    assert "known issue of all stations: antenna bumped" in page.content()
    assert page.locator("form[data-decision=issue] [name=who]").input_value() == "I. Invented"
    assert troubles == []
    context.close()
