"""Raise, swap and retrieval: own sheets, own lines, what they leave in the history."""

import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

import stakeline
from stakeline.campaign.history import heights_found, read_history
from stakeline.errors import SettingsError
from stakeline.formats.station_log import read_station_log
from stakeline.time import from_iso
from stakeline.workflows import commission
from stakeline.workflows.commission_sheet import Moment, build_sheet
from stakeline.workflows.sheet_parts import KINDS

sys.path.insert(0, str(Path(__file__).parent))
import commission_campaign as made

NOW = datetime(2026, 8, 28, 16, 0, tzinfo=UTC)
LATER = "2026-08-02T10:00"
HOME = {
    "last_epoch": '"2026-08-02T08:59:30"',
    "left_what": '"2 m of pole, 4 anchors"',
    "left_where": '"at the marker, in the ice"',
}


@pytest.fixture(scope="module")
def standing(tmp_path_factory):
    root = tmp_path_factory.mktemp("standing") / "campaign"
    made.make(root)
    path = made.fill(root, "good.toml", by='"IS"')
    commission.take_readings(root, made.STATION, path, now=NOW)
    return root


def write(root, kind):
    """Write the sheet of a kind; return its readings file's name and what was said."""
    said = commission.write_sheet(root, made.STATION, from_iso(LATER), kind=kind, **made.WEATHER)
    return commission.readings_name(kind), said


def fill(root, kind, **changes):
    """Fill a sheet of a kind as at a sound station; return the path."""
    name, _ = write(root, kind)
    plain = made.folder(root) / "readings.toml"
    kept = plain.read_text("utf-8")
    plain.write_text((made.folder(root) / name).read_text("utf-8"), "utf-8")
    try:
        return made.fill(root, f"filled_{kind}.toml", **changes)
    finally:
        plain.write_text(kept, "utf-8")


def judged(root, kind, **changes):
    path = fill(root, kind, **changes)
    return commission.judge_readings(root, made.STATION, path, now=NOW)[3]


def sheet_of(root, kind):
    campaign = commission.open_campaign(root)
    described = commission.plan_of(campaign, made.STATION)
    history = commission.history_of(campaign, made.STATION)
    return build_sheet(described, Moment(from_iso(LATER)), history, kind=kind)


def keys(sheet):
    return [item.key for item in sheet.items()]


def test_each_kind_has_keys_once_and_its_name_in_the_file(standing):
    for kind in KINDS[1:]:
        sheet = sheet_of(standing, kind)
        assert sheet.kind == kind
        assert len(set(keys(sheet))) == len(keys(sheet))
    for kind in KINDS[2:]:  # a visit shares the set-up's file, which is left alone
        name, _ = write(standing, kind)
        assert f'kind = "{kind}"' in (made.folder(standing) / name).read_text("utf-8")


def test_a_retrieval_measures_and_copies_before_it_parts_and_lowers(standing):
    sheet = sheet_of(standing, "retrieval")
    order = keys(sheet)
    work = ["seen_before_touched", "height_tape_m", "data_verified", "rotor_braked",
            "panels_parted", "battery_parted", "terminals_capped", "dug_free", "guys_slackened",
            "mast_down", "batteries_packed", "waste_home", "left_what", "left_where"]  # fmt: skip
    assert [key for key in order if key in work] == work
    for foreign in ("guy_1_N", "restarted_alone", "recording_set", "fuses_right"):
        assert foreign not in order
    (note,) = [part.note for part in sheet.parts if part.title == "Lowering"]
    (tight,) = [part.note for part in sheet_of(standing, "visit").parts if part.title == "Guys"]
    order = tight.partition(":")[0].removeprefix("Order ").split(" - ")
    assert len(order) >= 3
    assert f"Slacken in order {' - '.join(reversed(order))}:" in note
    told = " ".join(sheet.cautions)
    assert "Taking down:" in told
    assert "Digging:" in told
    assert "Rotors:" in told
    assert not any(item.must for item in sheet.items() if item.band)


@pytest.mark.parametrize("lacking", ["data_verified", "left_what", "terminals_capped"])
def test_a_retrieval_is_not_over_without(standing, lacking):
    change = {lacking: "false" if lacking != "left_what" else '""'}
    first = judged(standing, "retrieval", **(HOME | change)).first
    assert len(first) == 1


def test_a_raise_adds_up_and_a_swap_names_what_went(standing):
    good = {"found_tape_m": 0.532, "raised_by_m": 1.0, "place_off_m": 700}
    assert judged(standing, "raise", **good).first == ()
    wrong = judged(standing, "raise", **(good | {"raised_by_m": 1.5})).first
    assert len(wrong) == 1
    assert "0.532 m found and 1.500 m added are not the 1.5" in wrong[0]
    swap = {"found_tape_m": 1.532, "old_antenna_serial": '"A-0093"', "last_epoch": '"x"'}
    same = judged(standing, "swap", old_receiver_serial='"30117"', place_off_m=700, **swap)
    assert same.first == ()
    assert "a swap of nothing" in " ".join(same.notes)
    other = judged(standing, "swap", old_receiver_serial='"30711"', place_off_m=700, **swap)
    assert "receiver taken out is 30711, the history keeps 30117" in " ".join(other.notes)
    assert "a swap of nothing" not in " ".join(other.notes)


def test_a_set_up_station_is_not_set_up_again(standing):
    with pytest.raises(SettingsError, match='HV03: sheet: kind "set-up": HV03 was set up on'):
        write(standing, "set-up")


def test_a_retrieval_ends_the_history_with_the_height_found(standing):
    path = fill(standing, "retrieval", by='"IS"', height_tape_m=1.432, height_slope_1_m=1.476,
                height_slope_2_m=1.482, height_slope_3_m=1.482, height_second_in='"1432 mm"',
                **HOME)  # fmt: skip
    said = commission.take_readings(standing, made.STATION, path, now=NOW)
    assert not said.problems
    assert "antenna found at 1.43" in said.text
    history = read_history(standing / "stations" / "HV03.toml")
    last = history.content.visit[-1]
    assert history.ends_ns == last.time_ns
    assert last.height is None
    assert "Left behind: 2 m of pole, 4 anchors, at the marker, in the ice" in last.note
    ((_, kept, found),) = heights_found(history)
    assert kept == pytest.approx(1.532, abs=0.001)
    assert found == pytest.approx(1.432, abs=0.002)
    log = read_station_log(made.folder(standing) / "hv03_20260802.log")
    assert [a.until_utc_ns for a in log.antennas] == [from_iso(LATER)]


def test_the_package_writes_a_sheet_of_a_kind_too(tmp_path):
    root = tmp_path / "campaign"
    made.make(root)
    path = made.fill(root, "good.toml", by='"IS"')
    commission.take_readings(root, made.STATION, path, now=NOW)
    said = stakeline.commission(root, made.STATION, time=np.datetime64(LATER), kind="swap")
    assert said.attrs["said"].startswith("HV03, swap: Time 2026-08-02 10:00 UTC")
    assert (made.folder(root) / "readings_swap.toml").is_file()
