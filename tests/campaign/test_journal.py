"""The journal: what stands is laid over the settings, what was changed is noticed, undo is kept."""

import json

import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.journal import JOURNAL, append, read_journal, standing
from stakeline.errors import SettingsError

WHEN = "2031-08-02T10:00:00Z"
REVIEW = {"lake": "Upper Halvard", "onset": "2031-06-20", "status": "rejected"}
HELD = {"station": "HV02", "begin_utc": "2031-07-17T09:00:00", "end_utc": "2031-07-17T15:00:00"}
DATE = {"file": "0-raw/a.rnx", "sha256": "a" * 64, "shift_weeks": 1024}
ISSUE = {"station": "HV02", "day": "2031-07-17", "what": "antenna bumped"}


@pytest.fixture
def root(tmp_path):
    create(tmp_path)
    return tmp_path


def decide(root, kind, about, who="I. Invented", why="seen on a photograph"):
    return append(root / JOURNAL, root / "ledger" / "lock", WHEN, who, why, kind, about)


def test_a_campaign_without_a_journal_is_as_its_file_says(root):
    campaign = open_campaign(root)
    assert campaign.decisions == ()
    assert campaign.settings is campaign.typed


def test_decisions_are_laid_over_the_settings_each_time_a_campaign_is_opened(root):
    for kind, about in (("review", REVIEW), ("held", HELD), ("date", DATE), ("issue", ISSUE)):
        decide(root, kind, about)
    for _ in range(2):  # a re-run makes the same choices
        settings = open_campaign(root).settings
        (review,) = settings.lakes.review
        assert (review.lake, review.status) == ("Upper Halvard", "rejected")
        assert (review.who, review.reason) == ("I. Invented", "seen on a photograph")
        assert settings.motion.of("HV02").by_hand == ((HELD["begin_utc"], HELD["end_utc"]),)
        assert settings.repairs.date[0].shift_weeks == 1024
        assert settings.release.issue[0].what == "antenna bumped"
    assert open_campaign(root).typed.lakes.review == ()


def test_an_undoing_is_one_more_line_and_may_be_undone(root):
    decide(root, "review", REVIEW)
    decide(root, "undo", {"number": 1}, why="it is real after all")
    assert open_campaign(root).settings.lakes.review == ()
    decide(root, "undo", {"number": 2})
    assert len(open_campaign(root).settings.lakes.review) == 1
    entries = read_journal(root / JOURNAL)
    assert [one.number for one in entries] == [1, 2, 3]
    assert [one.number for one in standing(entries)] == [1, 3]


def test_decisions_in_words(root):
    for kind, about in (("review", REVIEW), ("held", HELD), ("date", DATE), ("issue", ISSUE)):
        decide(root, kind, about)
    decide(root, "issue", {"day": "2031-07-17", "what": "clock {0} off"})
    decide(root, "undo", {"number": 1})
    assert [one.words for one in read_journal(root / JOURNAL)] == [
        "Upper Halvard, event of 2031-06-20: rejected",
        "HV02: antenna held by hand from 2031-07-17T09:00:00 to 2031-07-17T15:00:00 UTC",
        "0-raw/a.rnx: date moved by 1024 weeks",
        "known issue of HV02: antenna bumped",
        "known issue of all stations: clock {0} off",
        "decision 1 no longer holds",
    ]


def test_what_is_written_stays_byte_by_byte(root):
    decide(root, "review", REVIEW)
    before = (root / JOURNAL).read_bytes()
    decide(root, "held", HELD, who="J. Invented\n")
    after = (root / JOURNAL).read_bytes()
    assert after.startswith(before)
    assert after.count(b"\n") == 2


@pytest.mark.parametrize("how", ["changed", "taken out", "cut off", "no entry"])
def test_a_changed_journal_is_noticed(root, how):
    for _ in range(3):
        decide(root, "review", REVIEW)
    lines = (root / JOURNAL).read_bytes().splitlines(keepends=True)
    lines = {
        "changed": [lines[0].replace(b"rejected", b"reviewed"), *lines[1:]],
        "taken out": [lines[0], lines[2]],
        "cut off": [*lines[:2], lines[2][:40]],
        "no entry": [*lines, b"{}\n"],
    }[how]
    (root / JOURNAL).write_bytes(b"".join(lines))
    with pytest.raises(SettingsError, match=rf"{JOURNAL}:\d: .*put back a copy"):
        open_campaign(root)


@pytest.mark.parametrize(
    ("kind", "about", "sentence"),
    [
        ("review", REVIEW | {"status": "liked"}, "status: input should be"),
        ("review", {}, "lake: field required"),
        ("date", DATE | {"sha256": "x"}, "sha256: string should match"),
        ("held", {}, "station: is missing|begin_utc: is missing"),
        ("undo", {"number": 1}, "there is no decision 1 that stands"),
        ("other", {}, "kind: input should be"),
    ],
)
def test_what_makes_no_sense_is_not_written(root, kind, about, sentence):
    with pytest.raises(SettingsError, match=sentence):
        decide(root, kind, about)
    assert not (root / JOURNAL).exists()


@pytest.mark.parametrize(("who", "why"), [("", "because"), ("I. Invented", " ")])
def test_a_decision_needs_who_and_why(root, who, why):
    with pytest.raises(SettingsError, match="at least 1 character"):
        decide(root, "review", REVIEW, who, why)


def test_a_line_names_the_checksum_of_the_line_before(root):
    decide(root, "review", REVIEW)
    decide(root, "review", REVIEW)
    first, second = map(json.loads, (root / JOURNAL).read_text("utf-8").splitlines())
    assert first["before"] == ""
    assert len(second["before"]) == 64
