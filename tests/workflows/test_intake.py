"""Intake of an invented season: every case a field campaign brings home."""

import csv
import gzip
import hashlib
import io
import shutil
import tomllib

import pytest

from stakeline.campaign.folders import create
from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError
from stakeline.workflows import intake

SETTINGS = '[campaign]\nname = "Trial"\n[[station]]\nname = "HV01"\nraw = ["0-raw/HV01"]\n'


@pytest.fixture(scope="module")
def season(tmp_path_factory, sky, histories):
    """A campaign folder with good and bad files, and products of three days."""
    root = tmp_path_factory.mktemp("season")
    create(root)
    (root / "campaign.toml").write_text(SETTINGS, encoding="utf-8")
    place = "latitude_deg = 79.0412\nlongitude_deg = 17.3580\nheight_m = 212.0\n"
    history = histories.set_up(place=place, serial="30117")
    (root / "stations" / "HV01.toml").write_text(history, encoding="utf-8")
    raw = root / "0-raw" / "HV01"
    day = sky.times(0, 86400)
    known = {"receiver_number": "30117", "antenna_type": "HALVARD ICE1    NONE"}
    sky.write_receiver_file(raw / "HV01_may1.rnx", day, **known)
    (raw / "again").mkdir()
    (raw / "again" / "HV01_may1.rnx.gz").write_bytes(
        gzip.compress((raw / "HV01_may1.rnx").read_bytes())
    )
    second = day + NS_PER_DAY
    sky.write_receiver_file(raw / "may2_morning.rnx", second[:150], seed=2, **known)
    sky.write_receiver_file(raw / "may2_rest.rnx", second[140:260], seed=2, **known)
    sky.write_receiver_file(raw / "rollover.rnx", day + 2 * NS_PER_DAY, seed=3, **known)
    _move_dates(raw / "rollover.rnx", "2031 05 03", "2011 09 17")  # 1024 weeks earlier
    cut = (raw / "may2_rest.rnx").read_text(encoding="ascii")
    (raw / "cut.rnx").write_text(cut[: len(cut) * 2 // 3], encoding="ascii")
    (raw / "noise.rnx").write_text(cut[:900], encoding="ascii")
    (raw / "empty.rnx").write_bytes(b"")
    (raw / "photo.jpg").write_bytes(bytes(range(256)))
    sky.write_receiver_file(root / "0-raw" / "stray.rnx", day + 188_000_000, marker_name="TEST")
    sky.write_orbits(root / "products" / "three_days.sp3", -1, 5)
    return root


def _move_dates(path, old, new):
    lines = path.read_text(encoding="ascii").replace(f"> {old}", f"> {new}")
    path.write_text(lines, encoding="ascii")


@pytest.fixture(scope="module")
def report(season):
    return intake.run(season)


def by_name(report):
    return {file.raw.path.removeprefix("0-raw/"): file for file in report.files}


def test_the_week_shift_of_the_test_is_1024_weeks(sky):
    # 2031-05-03 minus 2011-09-17 by the calendar
    import datetime

    assert datetime.date(2031, 5, 3) - datetime.date(2011, 9, 17) == datetime.timedelta(weeks=1024)


def test_every_byte_is_accounted_for(season, report):
    text = (season / "3-intake" / "manifest.csv").read_text(encoding="utf-8")
    listed = {row["file"]: row for row in csv.DictReader(io.StringIO(text))}
    on_disk = {
        p.relative_to(season).as_posix(): p for p in (season / "0-raw").rglob("*") if p.is_file()
    }
    assert set(listed) == set(on_disk)
    for name, path in on_disk.items():
        assert int(listed[name]["bytes"]) == path.stat().st_size
        assert listed[name]["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()


def test_kinds_are_told_by_content(report):
    files = by_name(report)
    assert files["HV01/HV01_may1.rnx"].raw.kind == "observations"
    assert files["HV01/photo.jpg"].raw.kind == "unknown"


def test_good_files_are_used(report):
    files = by_name(report)
    assert files["HV01/HV01_may1.rnx"].usable
    assert files["HV01/HV01_may1.rnx"].raw.epochs == 288
    assert files["HV01/may2_morning.rnx"].usable


def test_the_same_content_counts_once(report):
    files = by_name(report)
    copy = files["HV01/again/HV01_may1.rnx.gz"]
    assert copy.same_as == "0-raw/HV01/HV01_may1.rnx"
    assert not copy.usable


def test_what_cannot_be_read_is_set_aside_with_its_reason(report):
    reasons = {
        file.raw.path.removeprefix("0-raw/HV01/"): file.raw.reason for file in report.set_aside
    }
    assert reasons["empty.rnx"] == "the file is empty"
    assert "noise.rnx" in reasons
    assert set(reasons) == {"empty.rnx", "noise.rnx"}
    assert "noise.rnx" in report.text


def test_a_cut_file_keeps_its_whole_epochs(report):
    file = by_name(report)["HV01/cut.rnx"]
    assert 50 < file.raw.epochs < 120
    assert file.raw.warnings  # says where it was cut
    assert file.usable


def test_overlaps_are_told(report):
    assert "0-raw/HV01/may2_morning.rnx and 0-raw/HV01/cut.rnx: 10 epochs in both" in report.text


def test_a_date_off_by_1024_weeks_is_proposed_with_proof_and_not_used(season, report):
    file = by_name(report)["HV01/rollover.rnx"]
    assert (file.proposal_weeks, file.shift_weeks, file.usable) == (1024, 0, False)
    text = (season / "3-intake" / "proposals.toml").read_text(encoding="utf-8")
    (repair,) = tomllib.loads(text)["repairs"]["date"]
    assert repair["file"] == "0-raw/HV01/rollover.rnx"
    assert repair["shift_weeks"] == 1024
    assert "it fits" in text
    assert "2011-09-17" in text


def test_no_other_date_is_touched(report):
    proposed = [f.raw.path for f in report.files if f.proposal_weeks or f.shift_weeks]
    assert proposed == ["0-raw/HV01/rollover.rnx"]


def test_headers_that_contradict_the_history(report):
    files = by_name(report)
    assert files["HV01/HV01_may1.rnx"].mismatches == ()
    assert "marker name 'TEST'" in report.text  # the stray file belongs to nobody


def test_unsteered_epochs_are_kept(sky, report):
    stray = by_name(report)["stray.rnx"]
    assert stray.raw.first_ns == sky.day + 188_000_000
    assert any("+0.188 s off the whole second" in warning for warning in stray.raw.warnings)
    assert any("header lacks interval" in warning for warning in stray.raw.warnings)


def test_days_and_their_completeness(report):
    days = {day.day: day for day in report.days}
    assert (days["2031-05-01"].epochs, days["2031-05-01"].percent) == (288, 100.0)
    # epochs 0 to 259 of 288 in two files
    assert days["2031-05-02"].epochs == 260
    assert days["2031-05-02"].gaps == 1


def test_raw_files_are_untouched_and_a_second_intake_says_the_same(season, report):
    before = {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in (season / "0-raw").rglob("*.rnx")}
    seen = []
    again = intake.run(season, progress=lambda done, total, text: seen.append(text))
    assert again.text == report.text
    assert seen == []  # nothing had to be examined anew
    assert before == {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in before}


def test_two_workers_find_the_same(season, report, tmp_path):
    other = tmp_path / "other"
    shutil.copytree(season, other, ignore=shutil.ignore_patterns("ledger", "3-intake"))
    assert intake.run(other, workers=2).text == report.text


@pytest.fixture
def accepted(season, report, tmp_path):
    """The season with the proposal copied into campaign.toml."""
    root = tmp_path / "accepted"
    shutil.copytree(season, root)
    proposal = (root / "3-intake" / "proposals.toml").read_text(encoding="utf-8")
    (root / "campaign.toml").write_text(SETTINGS + proposal, encoding="utf-8")
    return root


def test_an_accepted_repair_is_applied(accepted, sky):
    report = intake.run(accepted)
    file = by_name(report)["HV01/rollover.rnx"]
    assert file.usable
    assert file.span_ns[0] == sky.day + 2 * NS_PER_DAY
    assert {day.day for day in report.days} >= {"2031-05-03"}
    assert "0-raw/HV01/rollover.rnx: +1024 weeks" in report.text


def test_a_repair_holds_for_the_agreed_bytes_only(accepted):
    raw = accepted / "0-raw" / "HV01" / "rollover.rnx"
    raw.write_bytes(raw.read_bytes() + b"\n")
    with pytest.raises(
        SettingsError, match=r"campaign.toml:\d+: repairs.date.1: .* is not the file"
    ):
        intake.run(accepted)


def test_a_repair_of_a_file_that_is_gone(accepted):
    (accepted / "0-raw" / "HV01" / "rollover.rnx").unlink()
    with pytest.raises(SettingsError, match=r"repairs.date.1: there is no file 0-raw/HV01/roll"):
        intake.run(accepted)


def test_an_accepted_shift_that_is_wrong_is_doubted(accepted):
    path = accepted / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("= 1024", "= 1023"), encoding="utf-8")
    file = by_name(intake.run(accepted))["HV01/rollover.rnx"]
    assert not file.usable
    assert file.suspicion == "shift of 1023 weeks is accepted, but its ranges fit at 1024"


def test_a_file_before_the_set_up_is_not_used_in_silence(season, tmp_path):
    root = tmp_path / "early"
    shutil.copytree(season, root)
    path = root / "stations" / "HV01.toml"
    text = path.read_text(encoding="utf-8").replace("2031-04-28", "2031-05-02")
    path.write_text(text, encoding="utf-8")
    file = by_name(intake.run(root))["HV01/HV01_may1.rnx"]
    assert not file.usable
    assert file.suspicion == "it is dated before HV01 was set up; its ranges prove the date"
