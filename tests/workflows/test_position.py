"""Positions of single files: grouping, joining, failures, table and summary."""

import csv
import json
from dataclasses import replace

import numpy as np
import pytest

from stakeline.campaign.store import read_table
from stakeline.earth.ellipsoid import enu_from_xyz, geodetic_from_xyz
from stakeline.errors import SettingsError
from stakeline.tables import Positions
from stakeline.workflows import position
from stakeline.workflows.reading import (
    by_station,
    date_in_file_name,
    name_in_file_name,
    read_pieces,
)
from stakeline.workflows.snow_passes import SnowDay


@pytest.fixture
def folder(tmp_path, sky, monkeypatch):
    """Two stations: one in two overlapping pieces, one whole; orbits of two days."""
    monkeypatch.chdir(tmp_path)
    times = sky.times(0, 86400)
    sky.write_receiver_file(tmp_path / "a1.rnx", times[:150], seed=1, marker_name="HV01")
    sky.write_receiver_file(tmp_path / "a2.rnx", times[140:], seed=1, marker_name="hv01")
    sky.write_receiver_file(tmp_path / "HV02121a.31o", times, seed=2, marker_name="")
    (tmp_path / "broken.rnx").write_text("no header at all\n", encoding="ascii")
    sky.write_orbits(tmp_path / "day0.sp3", 0, 1)
    sky.write_orbits(tmp_path / "day1.sp3", 1, 1)
    return tmp_path


@pytest.fixture
def quick(monkeypatch, sky):
    """Replace the solver by one that notes what it was given and puts the station on its site."""
    calls = []

    def solve(observations, products, settings, progress):
        progress("model")
        calls.append((observations, products, settings))
        n = len(observations)
        return Positions(
            station="",
            frame="",
            time_ns=observations.time_ns,
            position_m=np.tile(sky.site, (n, 1)),
            covariance_m2=np.tile(np.eye(3) * 1e-4, (n, 1, 1)),
            satellites=np.diff(observations.row_start),
            state=np.full(n, "float"),
            summary={"mode": settings.mode, "warnings": ["a note"]},
        )

    monkeypatch.setattr(position, "solve", solve)
    return calls


def test_files_are_grouped_by_marker_else_by_name(folder):
    groups = by_station(["a1.rnx", "HV02121a.31o", "a2.rnx"])
    assert groups == {"HV01": ["a1.rnx", "a2.rnx"], "HV02": ["HV02121a.31o"]}


def test_a_marker_called_unknown_is_no_name(folder, sky):
    sky.write_receiver_file(folder / "hv03121a.31o", sky.times(0, 900), marker_name="-Unknown-")
    assert by_station(["hv03121a.31o"]) == {"HV03": ["hv03121a.31o"]}


@pytest.mark.parametrize(
    ("name", "station", "date"),
    [
        # forms of RINEX 3.05, section 4, and RINEX 2.11, section 4; dates by the calendar
        ("HV0100ATA_R_20311210000_01D_30S_MO.crx.gz", "HV01", "2031-05-01"),
        ("hv01121a.31d.gz", "HV01", "2031-05-01"),
        ("24h_hv020440.16d.Z", "HV02", "2016-02-13"),
        ("hv01001m15.99o", "HV01", "1999-01-01"),
        ("card7.dat", "CARD7", ""),
        ("HV0100ATA_R_20319990000_01D_30S_MO.crx", "HV01", ""),
    ],
)
def test_what_file_names_stand_for(name, station, date):
    assert name_in_file_name(name) == station
    assert date_in_file_name(name) == date


def test_pieces_are_joined_by_epoch(folder, sky):
    joined, problems = read_pieces(["a2.rnx", "a1.rnx"])
    np.testing.assert_array_equal(joined.time_ns, sky.times(0, 86400))
    assert problems == []


def test_table_and_summary_of_two_stations(folder, quick, sky):
    outcome = position.run(
        ["a1.rnx", "a2.rnx", "HV02121a.31o"],
        out="t.csv",
        summary="s.json",
        orbits=["day0.sp3", "day1.sp3"],
        interval=300.0,
        systems="GPS,GAL",
    )
    assert outcome.problems == ()
    with (folder / "t.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["station"] for row in rows] == ["HV01"] * 288 + ["HV02"] * 288
    assert float(rows[0]["x_m"]) == pytest.approx(sky.site[0], abs=1e-5)
    summary = json.loads((folder / "s.json").read_text(encoding="utf-8"))
    assert [item["file"] for item in summary["inputs"]][-2:] == ["day0.sp3", "day1.sp3"]
    assert all(len(item["sha256"]) == 64 for item in summary["inputs"])
    first = summary["stations"][0]
    assert (first["station"], first["frame"], first["orbits"]) == ("HV01", "IGS20", "precise")
    assert set(first["seconds"]) == {"reading", "products", "model", "height above the snow"}
    assert [day["said"] for day in first["height_above_snow"]] == [
        ["the files hold no signal strengths"]
    ]
    assert all(value >= 0.0 for value in first["seconds"].values())
    assert first["antenna_height_m"] == {"east": 0.0, "north": 0.0, "up": 1.532}
    assert summary["settings"]["systems"] == "GE"
    assert "HV01: 288 rows, 2031-05-01T00:00:00 to 2031-05-01T23:55:00 GPS, IGS20" in outcome.text
    assert "note: a note" in outcome.text


def test_a_header_far_from_what_reflections_find_is_a_warning(folder, quick, monkeypatch):
    seen = SnowDay(1_935_403_200 * 10**9, 2.86, 0.01, 40, 38, 70, ("GS1C",), ())
    monkeypatch.setattr(position, "snow_days", lambda *given: [seen, seen])
    outcome = position.run(["a1.rnx"], out="t.csv", summary="s.json", orbits=["day0.sp3"])
    told = json.loads((folder / "s.json").read_text(encoding="utf-8"))["stations"][0]
    assert told["height_above_snow"][0]["height_m"] == 2.86
    assert told["warnings"] == [
        "a note",
        "on 2031-05-01 reflections put the antenna 2.86 m above the snow, the header 1.53 m above "
        "the marker: more than 1 m of snow or melt since the set-up, or a wrong antenna height",
    ]
    assert outcome.text.count("reflections") == 1
    monkeypatch.setattr(position, "snow_days", lambda *given: [replace(seen, height_m=1.6)])
    assert "reflections" not in position.run(["a1.rnx"], out="t.csv", orbits=["day0.sp3"]).text


def test_parquet_holds_the_same_rows(folder, quick):
    position.run(["a1.rnx"], out="t.parquet", orbits=["day0.sp3"])
    columns, metadata = read_table(folder / "t.parquet")
    assert len(columns["x_m"]) == 150
    assert metadata["point"] == "marker"
    assert metadata["frames"] == {"HV01": "IGS20"}


def test_a_broken_file_stops_nothing(folder, quick):
    outcome = position.run(["broken.rnx", "a1.rnx"], out="t.csv", orbits=["day0.sp3"])
    (sentence,) = outcome.problems
    assert sentence.startswith("BROKEN: broken.rnx")
    assert (folder / "t.csv").read_text(encoding="utf-8").count("\n") == 151


def test_a_broken_piece_of_a_station_is_told(folder, quick):
    lines = (folder / "a2.rnx").read_text(encoding="ascii").splitlines(keepends=True)
    (folder / "a3.rnx").write_text("".join(lines[:9]), encoding="ascii")  # inside the header
    outcome = position.run(["a1.rnx", "a3.rnx"], out="t.csv", orbits=["day0.sp3"])
    assert len(outcome.problems) == 1
    assert "a3.rnx" in outcome.problems[0]
    assert len(quick) == 1


def test_nothing_positioned_writes_no_table(folder, quick):
    outcome = position.run(["broken.rnx"], out="t.csv", summary="s.json", orbits=["day0.sp3"])
    assert len(outcome.problems) == 1
    assert not (folder / "t.csv").exists()
    assert json.loads((folder / "s.json").read_text(encoding="utf-8"))["problems"]


def test_no_products_at_all_is_told(folder, quick):
    outcome = position.run(["a1.rnx"], out="t.csv")
    assert "neither orbits nor broadcast navigation" in outcome.problems[0]


def test_a_broken_product_is_told_once_for_each_station(folder, quick):
    outcome = position.run(["a1.rnx", "HV02121a.31o"], out="t.csv", orbits=["broken.rnx"])
    assert len(outcome.problems) == 2
    assert all("broken.rnx" in sentence for sentence in outcome.problems)


def test_a_bad_ending_is_refused_before_any_work(folder, quick):
    with pytest.raises(SettingsError, match=r"ends in \.csv or \.parquet"):
        position.run(["a1.rnx"], out="t.txt", orbits=["day0.sp3"])
    assert quick == []


@pytest.mark.compiled
def test_the_real_solver_finds_the_invented_site(folder, sky):
    sky.write_orbits(folder / "around.sp3", -1, 3, step_s=300)  # its clocks must be as dense
    outcome = position.run(
        ["HV02121a.31o"],
        out="t.csv",
        orbits=["around.sp3"],
        systems="GPS",
        interval=300.0,
        mode="static",
    )
    assert outcome.problems == ()
    with (folder / "t.csv").open(encoding="utf-8") as file:
        (row,) = list(csv.DictReader(file))
    antenna = np.array([float(row[name]) for name in ("x_m", "y_m", "z_m")])
    latitude, longitude, _ = geodetic_from_xyz(sky.site)
    apart = enu_from_xyz(antenna - sky.site, latitude, longitude)
    # the sky has no atmosphere, tides or wind-up: what the solver corrects for moves the marker by
    # decimetres; the antenna stands 1.532 m above it
    assert np.abs(apart[:2]).max() < 0.5
    assert apart[2] == pytest.approx(-1.532, abs=1.0)


@pytest.mark.real
@pytest.mark.compiled
def test_two_real_stations_in_pieces_by_two_processes(reference_data, tmp_path):
    data = reference_data / "gnss"
    pieces = sorted((data / "rosalia_2025_001").glob("*_15M_05S_MO.crx.gz"))
    pieces += [data / "moflux_2025_001" / f"mozr001{hour}.25d.gz" for hour in "ab"]
    options = {
        "orbits": [str(next((data / "rosalia_2025_001").glob("*ORB*")))],
        "clocks": [str(next((data / "rosalia_2025_001").glob("*CLK*")))],
        "systems": "GPS",
    }
    texts = []
    for workers in (1, 2):
        out = tmp_path / f"{workers}.csv"
        outcome = position.run(pieces, out=out, workers=workers, **options)
        assert outcome.problems == ()
        texts.append(out.read_text(encoding="utf-8"))
    assert texts[0] == texts[1]
    rows = list(csv.DictReader(texts[0].splitlines()))
    assert {row["station"] for row in rows} == {"MOZR", "RREF"}
    for station, place in {
        # rough checks of the data set's notes, metres
        "MOZR": (-191230.341, -4977667.421, 3970349.898),
        "RREF": (4127831.869, 1207193.230, 4695247.578),
    }.items():
        own = [row for row in rows if row["station"] == station]
        found = np.array([[float(row[name]) for name in ("x_m", "y_m", "z_m")] for row in own])
        # an hour or two of data: half a metre
        assert np.abs(np.median(found, axis=0) - place).max() < 0.5
