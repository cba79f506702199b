"""The verb commission: sheet, verdict, frozen record, history, site log, amendments."""

import hashlib
import json
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from stakeline.campaign.history import read_history
from stakeline.errors import SettingsError
from stakeline.formats.station_log import read_station_log
from stakeline.time import from_iso
from stakeline.workflows import commission
from stakeline.workflows.commission_record import visit_of

sys.path.insert(0, str(Path(__file__).parent))
import commission_campaign as made

NOW = datetime(2025, 4, 28, 16, 0, tzinfo=UTC)
MORE = "0.5\nfound_tape_m = 1.500\nseen_before_touched = true"  # lines of a later visit
MORE += "\nold_height_read = true\nraised_by_m = 1.034\nsame_marker = true\nguys_slackened = true"


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    root = tmp_path_factory.mktemp("planned") / "campaign"
    return root, made.make(root)


@pytest.fixture(scope="module")
def frozen(tmp_path_factory):
    root = tmp_path_factory.mktemp("frozen") / "campaign"
    made.make(root)
    good = made.fill(root, "good.toml", by='"IS"')
    return root, take(root, good)


def take(root, path, **more):
    return commission.take_readings(root, made.STATION, path, now=NOW, **more)


def judged(root, **changes):
    path = made.fill(root, "changed.toml", **changes)
    return commission.judge_readings(root, made.STATION, path, now=NOW)[3]


def first(root, **changes):
    return " | ".join(judged(root, **changes).first)


def test_the_sheet_is_written_for_both_papers(planned):
    root, said = planned
    for paper in ("a4", "letter"):
        assert (made.folder(root) / f"HV03_sheet_{paper}.pdf").read_bytes().startswith(b"%PDF")
    assert "HV03, set-up: Time 2025-04-28 14:30 UTC, Sun 20.4° high" in said.text
    assert not said.problems


def test_readings_already_begun_are_not_overwritten(planned):
    root, _ = planned
    path = made.folder(root) / "readings.toml"
    before = path.read_bytes()
    later = commission.write_sheet(root, made.STATION, from_iso("2025-04-29T10:00"))
    assert path.read_bytes() == before
    assert "Sky unknown (assumed)" in later.text
    made.folder(root).joinpath("expected.csv").write_text(_expected_again(root), "utf-8")


def _expected_again(root):
    commission.write_sheet(root, made.STATION, from_iso(made.SET_UP_UTC), **made.WEATHER)
    return (made.folder(root) / "expected.csv").read_text("utf-8")


def test_nothing_filled_in_is_no_leave(planned):
    root, _ = planned
    said = take(root, made.folder(root) / "readings.toml")
    assert said.problems
    assert "do not leave yet" in said.text
    assert "antenna height: no reading; take three" in said.text
    assert not (made.folder(root) / "visits").exists()
    assert not (root / "stations" / "HV03.toml").exists()


def test_a_good_station_may_be_left(planned):
    verdict = judged(planned[0])
    assert verdict.first == ()
    assert verdict.sentence == "HV03: you may leave"
    assert verdict.notes == ()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"battery_rest_V": -12.7}, "polarity is swapped"),
        ({"panel_south_open_V": 24100}, "it fits if it was read in mV: give 24.10 V"),
        ({"panel_south_open_V": '"24100 mV"'}, ""),
        ({"antenna_A": 45}, "read in mA"),
        ({"guy_1_N": 204}, "read in kg"),
        ({"box_vents": "false"}, "Vents open: batteries give hydrogen: not done"),
        ({"file_grows_kB": 0}, "it does not log"),
        ({"receiver_A": '""'}, "receiver, while it is on: no reading; take it before you leave"),
        ({"photo_north": None}, "from the north, all of it: take the photograph"),
        ({"heater_ohm": '"open"'}, "'open' is no number; expected one in ohm"),
        ({"battery_lowest_block_V": 12.4}, "blocks 0.23 V apart"),
        ({"height_tape_m": 1.578}, "tape is the slope reading, not reduced"),
        ({"height_second_in": '""', "height_slope_1_m": '""', "height_slope_2_m": '""',
          "height_slope_3_m": '""'}, "one way only"),
        ({"time": "2025-04-29T14:30:00Z"}, "lies 0.9 d in the future: look at the date"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told(planned, changes, sentence):
    found = first(planned[0], **changes)
    assert sentence in found
    assert bool(found) == bool(sentence)


def test_the_other_seasons_date_is_seen(planned):
    root, _ = planned
    verdict = judged(root, time="2024-11-28T14:30:00Z")
    (only,) = [line for line in verdict.first if "panel" in line]
    assert only == verdict.first[0]
    assert "in light while the Sun is reckoned" in only
    assert "fit half a year later or earlier: look at the date" in only
    explained = [f for f in verdict.findings if f.state == "explained"]
    assert f"it explains {len(explained)} readings of panels" in only
    assert all(f.sentence.endswith((" V", " A")) for f in explained)  # the band, no suspect
    assert "more cells in series" not in verdict.text()
    accepted = judged(root, time="2024-11-28T14:30:00Z", accepted={"season": "clock tried"})
    assert not any("panel" in line for line in accepted.first)


def test_the_other_hemisphere_is_seen(planned):
    root, _ = planned
    path = root / "plans" / "HV03.toml"
    before = path.read_text("utf-8")
    path.write_text(before.replace("latitude_deg = 79.0412", "latitude_deg = -79.0412"), "utf-8")
    try:
        told = judged(root, time="2025-04-25T14:30:00Z").first[0]
    finally:
        path.write_text(before, "utf-8")
    assert "at the mirrored latitude: look at its sign in the plan" in told


def test_a_reason_lets_one_leave_and_stays_visible(planned):
    root, _ = planned
    verdict = judged(root, antenna_A=45, accepted={"antenna_A": "receiver shows mA"})
    assert verdict.may_leave
    assert verdict.sentence == "HV03: you may leave, 1 accepted with a reason"
    assert "accepted: receiver shows mA" in verdict.text()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"battery_rest_V": "12.7\nbatery_rest_V = 12.7"}, "did you mean 'battery_rest_V'?"),
        ({"kind": '"visit"'}, 'the first visit is the "set-up"'),
        ({"station": '"HV01"'}, "readings of HV01, not of HV03"),
        ({"sky": '"sunny"'}, "sky: should be 'clear', 'cloudy' or 'unknown'"),
        ({"temperature_degC": None}, "temperature_degC: is missing"),
    ],
)
def test_a_file_that_cannot_be_meant_is_refused(planned, changes, sentence):
    root, _ = planned
    with pytest.raises(SettingsError) as problem:
        judged(root, **changes)
    assert sentence in str(problem.value)


def test_what_is_frozen(frozen):
    root, said = frozen
    assert not said.problems
    path = made.folder(root) / "visits" / "2025-04-28T143000Z" / "record.json"
    record = json.loads(path.read_text("utf-8"))
    photo = record["taken"]["photos"]["photo_north"]
    assert photo["sha256"] == hashlib.sha256(b"photo_north").hexdigest()
    assert photo["file"] == "2-commission/HV03/photos/photo_north.jpg"
    assert record["antenna_height_m"] == pytest.approx(1.532, abs=0.001)
    history = read_history(root / "stations" / "HV03.toml")
    visit = history.content.visit[0]
    assert visit.height.vertical_m == record["antenna_height_m"]
    assert visit.record == "2-commission/HV03/visits/2025-04-28T143000Z/record.json"
    log = read_station_log(made.folder(root) / "hv03_20250428.log")
    assert log.antennas[0].offset_m[0] == record["antenna_height_m"]
    assert log.antennas[0].from_utc_ns == from_iso(made.SET_UP_UTC)


def test_a_lean_left_behind_turns_the_height(frozen):
    root, _ = frozen
    path = made.fill(root, "lean.toml", mast_lean_deg=0.8, mast_lean_toward_deg=90)
    taken, verdict = commission.judge_readings(root, made.STATION, path, now=NOW)[1::2][:2]
    visit = visit_of(taken, verdict, "record.json")
    assert visit["tilt_left"] == {"angle_deg": 0.8, "toward_deg": 90.0}
    assert visit["tilt_found"] is None


def test_the_same_readings_again_are_up_to_date(frozen):
    root, _ = frozen
    before = _bytes(root)
    assert not take(root, made.folder(root) / "good.toml").problems
    assert _bytes(root) == before


def _bytes(root):
    files = [*root.glob("2-commission/HV03/visits/*/*"), *root.glob("stations/*"),
             *root.glob("2-commission/HV03/*.log")]  # fmt: skip
    return {path: path.read_bytes() for path in files}


def test_a_second_visit_and_an_amendment(frozen):
    root, _ = frozen
    visit = made.fill(
        root, "visit.toml", kind='"raise"', sky='"unknown"', by='"TM"', time="2025-04-28T15:40:10Z",
        height_tape_m=2.534, height_slope_1_m=2.570, height_slope_2_m=2.573,
        height_slope_3_m=2.574, height_second_in='"2534 mm"',
        place_off_m=740, mark_above_snow_m=MORE,
    )  # fmt: skip
    said = take(root, visit)
    assert not said.problems
    assert "antenna found at 1.5000 m above the marker, the history keeps 1.53" in said.text
    before = _bytes(root)
    wrong = made.fill(root, "visit2.toml", kind='"raise"', sky='"unknown"', by='"TM"',
                      time="2025-04-28T15:40:10Z", height_tape_m=2.434, height_slope_1_m=2.471,
                      height_slope_2_m=2.474, height_slope_3_m=2.475, height_second_in='"2434 mm"',
                      mark_above_snow_m=MORE.replace("1.034", "0.934"))  # fmt: skip
    with pytest.raises(SettingsError, match="this visit is frozen"):
        take(root, wrong)
    assert _bytes(root) == before
    take(root, wrong, amend="zero of the tape", by="IS")
    history = read_history(root / "stations" / "HV03.toml")
    raised = history.content.visit[1]
    assert history.height_at(raised.time_ns)[0] == pytest.approx(2.434, abs=0.002)
    assert history.height_at(raised.time_ns - 1)[0] == pytest.approx(1.532, abs=0.001)
    log = read_station_log(made.folder(root) / "hv03_20250428.log")
    assert [a.from_utc_ns for a in log.antennas][1] == from_iso("2025-04-28T15:40:10")
    shown = commission.show_records(root, "HV03").text
    assert "by IS: zero of the tape" in shown
    assert "height_tape_m: 2.534 becomes 2.434" in shown


def test_a_photograph_changed_afterwards_is_told(frozen):
    root, _ = frozen
    path = made.folder(root) / "photos" / "photo_box.jpg"
    before = path.read_bytes()
    path.write_bytes(b"another")
    told = commission.show_records(root, "HV03").problems
    path.write_bytes(before)
    assert any("photo_box.jpg is not what it was" in line for line in told)


def test_no_plan_says_what_to_do(planned):
    root, _ = planned
    with pytest.raises(SettingsError, match="no plan of HV09; plans there are: HV01, HV03"):
        commission.write_sheet(root, "HV09", from_iso(made.SET_UP_UTC))
