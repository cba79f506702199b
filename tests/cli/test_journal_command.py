"""Decisions from a terminal: written with who and why, shown, undone, refused in a sentence."""

import pytest

from stakeline import cli
from stakeline.campaign.folders import open_campaign

ISSUE = ("--add", "issue", "--about", "what=cable A=B chewed, twice", "--about", "day=2031-07-01")
SIGNED = ("--who", "I. Invented", "--why", "seen at the visit")


@pytest.fixture
def campaign(tmp_path, capsys):
    assert cli.run(["new", str(tmp_path / "halvard")]) == 0
    capsys.readouterr()
    return str(tmp_path / "halvard")


def test_a_decision_is_written_shown_and_undone(campaign, capsys):
    assert cli.run(["journal", campaign]) == 0
    assert capsys.readouterr().out == "no decision was made by hand\n"
    assert cli.run(["journal", campaign, *ISSUE, *SIGNED]) == 0
    assert "decision 1 is written down" in capsys.readouterr().out
    assert [one.what for one in open_campaign(campaign).settings.release.issue] == [
        "cable A=B chewed, twice"
    ]
    assert cli.run(["journal", campaign, "--add", "undo", "--about", "number=1", *SIGNED]) == 0
    assert open_campaign(campaign).settings.release.issue == ()
    capsys.readouterr()
    assert cli.run(["journal", campaign]) == 0
    newest, signed, first, _ = capsys.readouterr().out.splitlines()
    assert newest.startswith("2  ")
    assert signed == "   I. Invented: seen at the visit"
    assert first.endswith("known issue of all stations: cable A=B chewed, twice  (undone by 2)")


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (ISSUE, "a decision needs who and why"),
        ((*ISSUE[:2], "--about", "what", *SIGNED), "'what' is no NAME=VALUE"),
        ((*ISSUE[:4], *SIGNED), "the journal cannot take this: day"),
        (("--add", "held", "--about", "station=HV99", *SIGNED), "no station 'HV99'"),
        (("--add", "undo", "--about", "number=7", *SIGNED), "no decision 7 that stands"),
        (SIGNED, "give --add"),
    ],
)
def test_what_cannot_be_written_is_refused(campaign, arguments, sentence, capsys):
    assert cli.run(["journal", campaign, *arguments]) == 2
    assert sentence in capsys.readouterr().err
    assert open_campaign(campaign).decisions == ()
