"""Visits written into a history: read back the same, nothing lost, amendments visible."""

from datetime import UTC, datetime

import pytest

from stakeline.campaign.history import heights_found, read_history
from stakeline.campaign.history_text import amend_visit, append_visit, visit_text
from stakeline.errors import SettingsError

SET_UP = {
    "time": datetime(2031, 4, 28, 14, 30, tzinfo=UTC),
    "kind": "set-up",
    "by": 'I. "S." \\ T',
    "note": "two\nlines",
    "mark_above_snow_m": -0.02,
    "receiver": {"type": "POLAR RX 4", "serial": "30117", "firmware": ""},
    "antenna": {"type": "HALVARD ICE1    NONE", "serial": "A-1"},
    "height": {"measured_m": 1.532, "how": "vertical", "from": "marker",
               "to": "antenna reference point"},
    "tilt_left": {"angle_deg": 0.5, "toward_deg": 210.0},
}  # fmt: skip
FOUND = SET_UP["height"] | {"measured_m": 1.516}
LATER = {
    "time": datetime(2032, 4, 20, 9, 5, 17, tzinfo=UTC),
    "kind": "raise",
    "height": SET_UP["height"] | {"measured_m": 2.534},
    "height_found": FOUND,
}


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "HV03.toml"
    append_visit(path, SET_UP, "HV03", {"description": "near the margin", "latitude_deg": 79.0})
    return path


def test_what_is_written_is_read(path):
    history = read_history(path)
    visit = history.content.visit[0]
    assert (visit.by, visit.note) == (SET_UP["by"], SET_UP["note"])
    assert visit.time == SET_UP["time"]
    assert visit.height.vertical_m == 1.532
    assert visit.tilt_left.toward_deg == 210.0
    assert visit.mark_above_snow_m == -0.02
    assert history.content.latitude_deg == 79.0


def test_what_stood_there_stays(path):
    path.write_text(path.read_text("utf-8") + "# a word by hand\n", "utf-8")
    before = path.read_text("utf-8")
    append_visit(path, LATER, "HV03", {})
    assert path.read_text("utf-8").startswith(before.rstrip())
    history = read_history(path)
    at_visit = history.content.visit[1].time_ns
    assert history.height_at(at_visit - 1)[0] == pytest.approx(1.532, abs=1e-4)
    assert history.height_at(at_visit)[0] == pytest.approx(2.534, abs=1e-3)
    assert history.steps()[0].time_ns == at_visit


def test_heights_found_between_visits(path):
    append_visit(path, LATER, "HV03", {})
    ((time_ns, kept, found),) = heights_found(read_history(path))
    assert time_ns == read_history(path).content.visit[1].time_ns
    assert (kept, found) == pytest.approx((1.532, 1.516), abs=1e-9)


def test_a_history_that_would_be_wrong_is_not_written(path):
    before = path.read_bytes()
    with pytest.raises(SettingsError, match="is not after the visit above it"):
        append_visit(path, LATER | {"time": SET_UP["time"]}, "HV03", {})
    assert path.read_bytes() == before
    fresh = path.with_name("HV04.toml")
    with pytest.raises(SettingsError, match="must state its height"):
        append_visit(fresh, {k: v for k, v in SET_UP.items() if k != "height"}, "HV04", {})
    assert not fresh.exists()


def test_an_amendment_shows_what_stood_there(path):
    append_visit(path, LATER, "HV03", {})
    right = LATER | {"height": LATER["height"] | {"measured_m": 2.434}}
    amend_visit(path, LATER, right, "tape misread (amendment 1)")
    text = path.read_text("utf-8")
    assert "# amended: tape misread (amendment 1); before:\n# measured_m = 2.534\n" in text
    history = read_history(path)
    assert history.content.visit[1].height.vertical_m == 2.434
    assert history.content.visit[0].height.vertical_m == 1.532
    amend_visit(path, right, LATER, "it was right")
    assert read_history(path).content.visit[1].height.vertical_m == 2.534


def test_a_visit_changed_by_hand_is_left_to_people(path):
    text = path.read_text("utf-8").replace("1.532", "1.533")
    path.write_text(text, "utf-8")
    with pytest.raises(SettingsError, match=r"HV03.toml:\d+: this visit was changed by hand"):
        amend_visit(path, SET_UP, SET_UP | {"by": "X"}, "why")
    assert path.read_text("utf-8") == text
    with pytest.raises(SettingsError, match="holds no visit of 2032"):
        amend_visit(path, LATER, LATER, "why")


def test_a_reason_of_two_lines_stays_a_comment(path):
    amend_visit(path, SET_UP, SET_UP | {"by": "X"}, 'one\nkind = "retrieval"')
    assert '# amended: one kind = "retrieval"; before:' in path.read_text("utf-8")
    assert read_history(path).content.visit[0].kind == "set-up"


def test_parts_of_a_second_stay(path):
    late = LATER | {"time": LATER["time"].replace(microsecond=250000)}
    append_visit(path, late, "HV03", {})
    assert read_history(path).content.visit[1].time == late["time"]
    amend_visit(path, late, late | {"by": "X"}, "why")
    assert read_history(path).content.visit[1].by == "X"


def test_what_is_not_given_is_not_written():
    text = visit_text(LATER | {"by": "", "tilt_found": None})
    assert "by =" not in text
    assert "tilt_found" not in text
