"""Frozen records: never overwritten, amended visibly, and a change afterwards is seen."""

import pytest

from stakeline.campaign.visit_record import amend, changes_between, freeze, read_record, standing
from stakeline.errors import SettingsError


def content(**entries):
    taken = {"by": "IS", "weather": {"sky": "clear"}, "accepted": {}, "photos": {},
             "entries": entries}  # fmt: skip
    return {"taken": taken, "verdict": "may leave"}


@pytest.fixture
def folder(tmp_path):
    freeze(tmp_path, content(tape="1.532", tick=True))
    return tmp_path


def test_the_same_again_changes_nothing(folder):
    before = (folder / "record.json").read_bytes()
    later = freeze(folder, content(tape="1.532", tick=True) | {"verdict": "said otherwise today"})
    assert later["verdict"] == "may leave"
    assert (folder / "record.json").read_bytes() == before


def test_anything_else_is_refused(folder):
    with pytest.raises(SettingsError, match="this visit is frozen; to put something right, amend"):
        freeze(folder, content(tape="1.632", tick=True))


def test_amendments_stand_beside_and_hold(folder):
    before = (folder / "record.json").read_bytes()
    changes = changes_between({"tape": "1.532", "tick": True}, {"tape": "1.632", "snow": 0.1})
    assert changes == {"snow": [None, 0.1], "tape": ["1.532", "1.632"], "tick": [True, None]}
    amend(folder, {"why": "tape misread", "changes": changes})
    amend(folder, {"why": "snow too", "changes": {"snow": [0.1, 0.2]}})
    chain = read_record(folder)
    assert [link.get("amendment") for link in chain] == [None, 1, 2]
    assert chain[2]["previous"] == chain[1]["sha256"]
    held = standing(chain)
    assert (held["tape"], held["snow"], held["weather sky"]) == ("1.632", 0.2, "clear")
    assert "tick" not in held
    assert (folder / "record.json").read_bytes() == before


@pytest.mark.parametrize("name", ["record.json", "amendment-01.json"])
def test_a_change_afterwards_is_seen(folder, name):
    amend(folder, {"why": "tape misread", "changes": {"tape": ["1.532", "1.632"]}})
    path = folder / name
    path.write_text(path.read_text("utf-8").replace("1.532", "1.530"), "utf-8")
    with pytest.raises(SettingsError, match="was changed after it was frozen"):
        read_record(folder)


def test_a_missing_link_is_seen(folder):
    for number in (1, 2):
        amend(folder, {"why": "again", "changes": {"tape": [str(number), str(number + 1)]}})
    (folder / "amendment-01.json").unlink()
    with pytest.raises(SettingsError, match="does not follow"):
        read_record(folder)


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"why": " ", "changes": {"a": [1, 2]}}, "needs its reason"),
        ({"why": "x", "changes": {}}, "nothing to amend"),
    ],
)
def test_empty_amendments_are_refused(folder, said, sentence):
    with pytest.raises(SettingsError, match=sentence):
        amend(folder, said)


def test_no_record(tmp_path):
    with pytest.raises(SettingsError, match="no frozen record stands there"):
        read_record(tmp_path)
