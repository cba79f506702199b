"""A release made again from raw files under other names: the same numbers, or it is said which."""

import json
import shutil
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

from stakeline.campaign.folders import create, open_campaign
from stakeline.cli import stakeline
from stakeline.errors import SettingsError
from stakeline.formats.series_netcdf import StationSeriesFile, write_series
from stakeline.time import from_iso
from stakeline.workflows import release, release_rebuild, run
from stakeline.workflows.release_inputs import field_books_csv, input_paths, is_carried
from stakeline.workflows.release_rebuild import SAME, differences, rebuild

DAY = date(2031, 11, 1)
SETTINGS = """
[campaign]
name = "Halvard Glacier, invented"

[[station]]
name = "HV01"
positions = ["0-raw/positions/HV01.csv"]
"""
BOOK = "fieldbooks/HV01/2031-10 page 3.pdf"
HEAD = "time_gps,x_m,y_m,z_m,sigma_east_m,sigma_north_m,sigma_up_m\n"


def rows(count=8):
    """Return positions of a marker at 79 N, fewer than motion needs."""
    lines = [f"2031-05-01T{hour:02d}:00:00,1163425.{hour}321,362915.1234,6239183.{hour}5,"
             "0.004,0.005,0.012\n" for hour in range(count)]  # fmt: skip
    return HEAD + "".join(lines)


def make(root, histories):
    create(root)
    (root / "plans/HV01.toml").unlink()
    (root / "campaign.toml").write_text(SETTINGS)
    place = "latitude_deg = 79.0\nlongitude_deg = 17.3\nheight_m = 500\n"
    visits = histories.visit("2031-10-02T12:00:00", measured_m=1.2)
    (root / "stations/HV01.toml").write_text(histories.set_up(place=place) + visits)
    for name, text in (("0-raw/positions/HV01.csv", rows()), ("maps/notes.txt", "none\n"),
                       (BOOK, "%PDF-")):  # fmt: skip
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return root


@pytest.fixture(scope="module")
def released(tmp_path_factory, histories):
    """A campaign, its release, and its raw file under another name in another place."""
    below = tmp_path_factory.mktemp("released")
    root = make(below / "campaign", histories)
    assert run.run(root).failed == ()
    release.release(root, folder=below / "release", day=DAY)
    (below / "disk").mkdir()
    shutil.copyfile(root / "0-raw/positions/HV01.csv", below / "disk/copied by hand")
    return root, below / "release", below / "disk"


def test_all_is_made_again_to_the_byte(released, tmp_path):
    _, folder, disk = released
    again = tmp_path / "again"
    result = CliRunner().invoke(stakeline, [
        "report", str(again), "--rebuild", str(folder), "--raw", str(disk), "--quiet",
    ])  # fmt: skip
    assert result.exit_code == 0, result.output
    made = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert "positions/HV01_imported.nc" in made
    for name in made:
        assert (again / release_rebuild.AGAIN / name).read_bytes() == (folder / name).read_bytes()


def test_what_differs_is_said(released, tmp_path, monkeypatch):
    _, folder, disk = released

    def other(root, **_):
        path = root / "stations/HV01.toml"
        path.write_text(path.read_text().replace("measured_m = 1.2", "measured_m = 1.3"))
        return run.RunReport("trial", (("motion", run.VerbReport(failed=("HV01: no",)), 0.0),))

    monkeypatch.setattr(release_rebuild.run, "run", other)
    monkeypatch.setattr(release_rebuild, "sources_sum", lambda: "others")
    said = rebuild(tmp_path / "again", from_release=folder, raw=[disk])
    assert said.problems[0] == "motion: HV01: no"
    assert said.problems[1].endswith("their sources are not the same")
    assert any(line.startswith("stations/HV01.toml: numbers differ by up to 7.7e-02")
               for line in said.problems)  # fmt: skip
    assert any(line.startswith("positions/HV01_imported.nc: is not in both")
               for line in said.problems)  # fmt: skip


@pytest.mark.parametrize(
    ("first", "other", "worst"),
    [
        ("a,1.2340\n", "a,1.2341\n", SAME),  # one of the last digit: rounding
        ("a,1.2340\n", "a,1.2342\n", 2e-4 / 1.2342),
        ("a,12\n", "a,13\n", 1 / 13),  # a count is not rounded
        ("a,1.20e-9\n", "a,1.21e-9\n", SAME),
        ("a,1.2\n", "a,1.3\n", 1 / 13),  # of two digits one is too much
        (f"sum {'a' * 64}", f"sum {'b' * 64}", 0.0),  # of a file on the way
        ("a,1.0\n", "b,1.0\n", np.inf),
    ],
)
def test_rounding_is_told_from_a_difference(tmp_path, first, other, worst):
    for name, text in (("one", first), ("two", other)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "table.csv").write_text(text)
    found = differences(tmp_path / "one", tmp_path / "two")["table.csv"]
    assert found == pytest.approx(worst)


def test_missing_raw_files_are_named_and_nothing_is_done(released, tmp_path):
    _, folder, _ = released
    with pytest.raises(SettingsError, match=r"not found by their checksums: 0-raw/positions/HV01"):
        rebuild(tmp_path / "again", from_release=folder, raw=[tmp_path])
    assert not (tmp_path / "again").exists()


def test_a_release_that_is_not_whole_and_a_folder_in_use_are_refused(released, tmp_path):
    _, folder, disk = released
    broken = tmp_path / "broken"
    shutil.copytree(folder, broken)
    (broken / "stations/HV01.toml").write_text("changed")
    with pytest.raises(SettingsError, match=r"stations/HV01.toml: changed; get the release again"):
        rebuild(tmp_path / "again", from_release=broken, raw=[disk])
    with pytest.raises(SettingsError, match="is not empty; give the name of a new folder"):
        rebuild(tmp_path, from_release=folder, raw=[disk])


def test_an_input_outside_of_the_campaign_is_refused(tmp_path):
    source = tmp_path / "x"
    source.write_text("x")
    inputs = {"../x": {"carried": False, "bytes": 1, "sha256": ""}}
    with pytest.raises(SettingsError, match="names an input outside of the campaign"):
        release_rebuild._laid_out(tmp_path / "again", tmp_path, inputs, {"../x": source})


def test_inputs_are_carried_where_small_and_ours_else_named(released):
    root, folder, _ = released
    told = json.loads((folder / release.PROVENANCE).read_text())["inputs"]
    assert set(told) == set(input_paths(open_campaign(root)))
    assert {path for path, one in told.items() if one["carried"]} == {
        "campaign.toml", "maps/notes.txt", "stations/HV01.toml",
    }  # fmt: skip
    assert (folder / "campaign/maps/notes.txt").read_text() == "none\n"
    (root / "maps/large.txt").write_bytes(bytes(1_000_001))
    assert not is_carried(open_campaign(root), "maps/large.txt")
    (root / "maps/large.txt").unlink()


def test_the_journal_of_decisions_is_carried(released):
    root = released[0]
    journal = root / "journal.jsonl"
    journal.write_text("", encoding="utf-8")
    assert "journal.jsonl" in input_paths(open_campaign(root))
    assert is_carried(open_campaign(root), "journal.jsonl")
    journal.unlink()


def test_field_books_are_linked_to_visits(released):
    root, folder, _ = released
    lines = (folder / release.FIELD_BOOKS).read_text().splitlines()
    assert lines[1:] == [
        "HV01,,2031-04-28T14:30:00Z,set-up,no field book",
        f"HV01,{BOOK},2031-10-02T12:00:00Z,visit,by the date in its name",
    ]
    odd = field_books_csv(open_campaign(root), ["fieldbooks/HV01/cover.pdf"]).decode()
    assert "HV01,fieldbooks/HV01/cover.pdf,,,no date in its name" in odd


def series(values):
    values = np.array([values], float)
    place = np.array([79.0])
    return write_series(StationSeriesFile(
        from_iso("2031-05-01") + np.arange(values.shape[1]) * 10**9, ("HV01",), place, place, place,
        {"x_m": values}, {"x_m": "m"}))  # fmt: skip


@pytest.mark.parametrize(
    ("name", "one", "other", "expected"),
    [
        ("a.csv", b"x,1.5\n", b"x,1.5\n", 0.0),
        ("a.csv", b"x,1.5\n", b"x,1.50\n", 0.0),
        ("a.csv", b"x,2.0\n", b"x,1.0\n", 0.5),
        ("a.csv", b"x,2.0\n", b"y,2.0\n", np.inf),
        ("a.json", b'{"p": 1e-3}', b'{"p": 1.1e-3}', 0.1 / 1.1),
        ("a.pdf", b"\xff1", b"\xff2", np.inf),
        ("a.nc", series([1.0, 2.0]), series([1.0, 2.5]), 0.2),
        ("a.nc", series([1.0, np.nan]), series([1.0, 2.0]), np.inf),
        ("a.nc", series([1.0, 2.0]), series([1.0]), np.inf),
    ],
)
def test_differences_are_shares_of_the_numbers(tmp_path, name, one, other, expected):
    for folder, data in (("one", one), ("other", other)):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / name).write_bytes(data)
        (tmp_path / folder / release.README).write_text(folder)
    found = differences(tmp_path / "one", tmp_path / "other")
    assert found == {name: pytest.approx(expected, rel=1e-9)}


def test_a_file_of_one_release_only_is_a_difference(tmp_path):
    (tmp_path / "one").mkdir()
    (tmp_path / "other").mkdir()
    (tmp_path / "one/a.csv").write_text("1")
    assert differences(tmp_path / "one", tmp_path / "other") == {"a.csv": np.inf}
