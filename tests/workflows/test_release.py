"""A release: open formats that read back to the same numbers, checksums, licence, issues."""

import hashlib
import json
import warnings
from datetime import date

import numpy as np
import pytest

from stakeline.campaign.folders import create
from stakeline.campaign.store import json_text, parquet_bytes, read_table
from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError
from stakeline.formats.series_netcdf import StationSeriesFile, read_columns, write_series
from stakeline.time import from_iso
from stakeline.workflows import release
from stakeline.workflows.motion_tables import MOTION_UNITS
from stakeline.workflows.series import UNITS

DAY = date(2031, 11, 1)
START = from_iso("2031-05-01")
RELEASE = """
[release]
title = "Motion of Halvard Glacier, invented"
summary = "Positions, motion and lakes of an invented glacier."
licence = "CC-BY-4.0"
doi = "10.0000/invented"
project = "Halvard, invented"
acknowledgement = "To chance."

[[release.creator]]
name = "Halvard Group (invented)"
email = "halvard@example.org"
institution = "Institute of Invented Ice"
url = "https://example.org/halvard"

[[release.issue]]
what = "antenna height known to 5 cm"
why = "tape read in wind"
who = "Halvard Group (invented)"
day = 2031-10-02
station = "HV01"
"""
EVENT_TIMES = "onset_low_gps,onset_median_gps,onset_high_gps"
EVENTS = f"""\
event,lake,kind,status,{EVENT_TIMES},volume_m3_median,probability_real,reasons,reviewed_by
Upper late drain,Upper,drain,automatic,2031-07-01T00:00:00,2031-07-02T00:00:00,\
2031-07-03T00:00:00,3.5e7,0.9,"large, and clear",
Upper early fill,Upper,fill,automatic,2031-05-01T00:00:00,2031-05-02T00:00:00,\
2031-05-03T00:00:00,2.5e7,,,A. Person (invented)
"""
RING = [[16.0, 79.0], [16.2, 79.0], [16.2, 79.04], [16.0, 79.04], [16.0, 79.0]]
CURVES = ("level_m", "stored_m3", "outflow_m3_s")


def times(count, step=NS_PER_DAY):
    return (START + np.arange(count) * step).view("datetime64[ns]")


def position_columns(rng, count, begin=0):
    columns = {name: rng.normal(0.0, 1.0, count) for name in UNITS}
    columns |= {
        "time_gps": times(count, 30 * 10**9) + np.timedelta64(begin, "D"),
        "station": np.full(count, "HV01", object), "state": np.full(count, "float", object),
        "satellites": np.full(count, 20, np.int16), "height_m": rng.normal(500.0, 1.0, count),
        "latitude_deg": rng.normal(79.1, 1e-5, count),
        "longitude_deg": rng.normal(17.3, 1e-5, count),
    }  # fmt: skip
    return columns


@pytest.fixture
def campaign(tmp_path):
    root, rng = tmp_path / "campaign", np.random.default_rng(3)
    create(root)
    settings = root / "campaign.toml"
    settings.write_text(settings.read_text() + RELEASE)
    about = {"frames": {"HV01": "IGS20"}}
    for k, name in enumerate(("2031-05-01", "2031-05-02")):
        path = root / f"4-position/HV01/HV01_{name}.parquet"
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(parquet_bytes(position_columns(rng, 5, k), UNITS, about))
    for station, count in (("HV01", 6), ("HV02", 4)):
        columns = {name: rng.normal(0.0, 1.0, count) for name in MOTION_UNITS}
        columns |= {"time_gps": times(count), "in_gap": np.zeros(count, bool)}
        path = root / f"5-motion/{station}/{station}_motion.parquet"
        path.parent.mkdir()
        place = {"latitude_deg": 79.1, "longitude_deg": 17.3, "height_m": 500.0}
        path.write_bytes(parquet_bytes(columns, MOTION_UNITS, place))
    lake(root, rng)
    return root


def lake(root, rng):
    (root / "maps").mkdir()
    feature = {"type": "Feature", "properties": {"name": "Upper"},
               "geometry": {"type": "Polygon", "coordinates": [RING]}}  # fmt: skip
    (root / "maps/lakes.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": [feature]})
    )
    (root / "6-lakes/events.csv").write_text(EVENTS)
    folder = root / "6-lakes/Upper"
    folder.mkdir()
    levels = {f"{c}_{w}": rng.normal(size=3) for c in CURVES for w in ("low", "median", "high")}
    parts = {"levels": {"time_gps": times(3), **levels}, "samples": {"x": np.zeros(1)},
             "stations": {"x": np.zeros(1)}}  # fmt: skip
    for end, columns in parts.items():
        data = parquet_bytes(columns, {}, {"origin_ns": {}})
        (folder / f"Upper_{end}.parquet").write_bytes(data)
    (folder / "Upper_summary.json").write_text(json_text({"lake": "Upper", "events": []}))


@pytest.fixture
def released(campaign, tmp_path):
    folder = tmp_path / "out"
    release.release(campaign, folder=folder, day=DAY)
    return campaign, folder


def test_positions_read_back_to_the_same_numbers(released):
    campaign, folder = released
    file = read_columns(folder / "positions/HV01.nc")
    tables = [read_table(path)[0] for path in sorted(campaign.glob("4-position/HV01/*.parquet"))]
    for name in UNITS:
        if name in file.values:
            expected = np.concatenate([t[name] for t in tables])
            np.testing.assert_array_equal(file.column(name), expected)
    assert {"x_m", "sigma_up_m", "corr_nu", "satellites"} < set(file.values)
    assert file.units["latitude_deg"] == "degrees_north"


def test_motion_reads_back_to_the_same_numbers(released):
    campaign, folder = released
    seen = set()
    for name in ("velocities", "vertical"):
        file = read_columns(folder / f"motion/{name}.nc")
        for station in ("HV01", "HV02"):
            table = read_table(campaign / f"5-motion/{station}/{station}_motion.parquet")[0]
            for column in set(table) & set(file.values):
                found = file.column(column, station)
                np.testing.assert_array_equal(found[: len(table[column])], table[column])
                assert np.isnan(found[len(table[column]) :]).all()
                seen.add(column)
    assert seen == set(MOTION_UNITS) - {"time_gps", "in_gap"}


def test_events_stand_in_order_with_their_words_and_gaps(released):
    _, folder = released
    file = read_columns(folder / "lakes/events.nc")
    np.testing.assert_array_equal(file.values["volume_m3_median"], [2.5e7, 3.5e7])
    np.testing.assert_array_equal(file.values["probability_real"], [np.nan, 0.9])
    np.testing.assert_allclose(file.values["time"], [0.0, 61.0], atol=1e-12)
    np.testing.assert_allclose(file.values["onset_high_gps"], [1.0, 62.0], atol=1e-12)
    assert file.units["time"] == "days since 2031-05-02 00:00:00"
    assert file.units["volume_m3_median"] == "m3"
    assert 79.0 < file.values["lat"][0] < 79.04
    assert b"A. Person (invented)" in (folder / "lakes/events.nc").read_bytes()


def test_levels_read_back(released):
    campaign, folder = released
    table = read_table(campaign / "6-lakes/Upper/Upper_levels.parquet")[0]
    file = read_columns(folder / "lakes/levels.nc")
    np.testing.assert_array_equal(file.column("level_m_low"), table["level_m_low"])


def test_checksums_hold_for_every_file(released):
    _, folder = released
    lines = (folder / release.SUMS).read_text().splitlines()
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert {line.split("  ", 1)[1] for line in lines} == there - {release.SUMS}
    for line in lines:
        digest, name = line.split("  ", 1)
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
    assert release.check(folder) == ()
    (folder / "README.md").write_text("other")
    (folder / "lakes/events.nc").unlink()
    (folder / "more.txt").write_text("")
    assert release.check(folder) == (
        "lakes/events.nc: missing", f"more.txt: not in {release.SUMS}", "README.md: changed",
    )  # fmt: skip


def test_what_each_file_was_made_of(released):
    campaign, folder = released
    told = json.loads((folder / release.PROVENANCE).read_text())
    for about in told["files"].values():
        assert about["made_of"]
        assert set(about["made_of"]) <= set(told["campaign_files"])
    for path, digest in told["campaign_files"].items():
        assert hashlib.sha256((campaign / path).read_bytes()).hexdigest() == digest
    assert told["settings"]["release"]["licence"] == "CC-BY-4.0"


def test_citation_licence_and_issues(released):
    _, folder = released
    text = (folder / release.README).read_text()
    assert ("Halvard Group (invented) (2031): Motion of Halvard Glacier, invented, version 1. "
            "https://doi.org/10.0000/invented") in text  # fmt: skip
    assert "Licence: CC-BY-4.0 (https://creativecommons.org/licenses/by/4.0/)" in text
    assert "2031-10-02 HV01: antenna height known to 5 cm. tape read in wind" in text
    rows = (folder / release.ISSUES).read_text().splitlines()
    assert rows[1] == ("2031-10-02,HV01,antenna height known to 5 cm,tape read in wind,"
                       "Halvard Group (invented)")  # fmt: skip


def test_stations_have_logs_and_places(released):
    _, folder = released
    places = json.loads((folder / "maps/stations.geojson").read_text())
    assert places["type"] == "FeatureCollection"
    (one,) = places["features"]
    assert one["geometry"]["type"] == "Point"
    assert (folder / one["properties"]["log"]).is_file()
    west_east, south_north = one["geometry"]["coordinates"][:2]
    assert abs(south_north) <= 90.0
    assert abs(west_east) <= 180.0


def test_again_gives_the_same_bytes_and_field_books_come_along(released):
    campaign, folder = released
    first = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    release.release(campaign, folder=folder, day=DAY)
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == first
    book = campaign / "fieldbooks/HV01/2031.pdf"
    book.parent.mkdir(parents=True)
    book.write_bytes(b"%PDF-")
    release.release(campaign, folder=folder, day=DAY)
    assert (folder / "fieldbooks/HV01/2031.pdf").read_bytes() == b"%PDF-"


def test_other_folders_are_left_alone(campaign, tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "thesis.txt").write_text("dear")
    with pytest.raises(SettingsError, match="holds no release; give a new or empty folder"):
        release.release(campaign, folder=folder, day=DAY)
    assert (folder / "thesis.txt").read_text() == "dear"
    release.release(campaign, folder=tmp_path / "out", day=DAY)
    (tmp_path / "out/README.md").write_text("edited by hand")
    with pytest.raises(SettingsError, match="no longer the release it was"):
        release.release(campaign, folder=tmp_path / "out", day=DAY)


def test_what_is_not_given_is_told(tmp_path):
    create(tmp_path / "bare")
    path = tmp_path / "bare/campaign.toml"
    said = release.release(tmp_path / "bare", folder=tmp_path / "out", day=DAY)
    assert "not given in [release] of campaign.toml: title, summary, licence" in said.text
    assert "Licence: not given" in (tmp_path / "out/README.md").read_text()
    assert path.is_file()


def test_a_checker_of_the_standards_finds_nothing(released):
    """CF 1.11 whole; of ACDD 1.3 all but names that the CF table has not, and heights of lakes."""
    checks = pytest.importorskip("compliance_checker.suite")
    checks.CheckSuite.load_all_available_checkers()
    _, folder = released
    bare = folder / "bare.nc"  # units that do not exist, and no words: must be found
    place = np.array([79.0])
    bare.write_bytes(write_series(StationSeriesFile(
        START + np.arange(2), ("HV01",), place, place, place, {"x": np.zeros((1, 2))},
        {"x": "ells"})))  # fmt: skip
    for path in sorted(folder.rglob("*.nc")):
        suite = checks.CheckSuite()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            data = suite.load_dataset(str(path))
            found = suite.run_all(data, ["cf:1.11", "acdd:1.3"])
            data.close()
        for name, (groups, broken) in found.items():
            if path.name == "events.nc":
                # the checker looks for a cf_role that CF asks of no point, and falls over
                broken = {k: v for k, v in broken.items() if k != "check_domain_variables"}
            assert not broken, (path.name, broken)
            wrong = [w for g in groups for w in complaints(g, name.startswith("acdd"))]
            if path.parent.name == "lakes":
                wrong = [w for w in wrong if "vertical" not in w]
            assert (wrong != []) == (path == bare), (path.name, name, wrong)


def complaints(result, acdd):
    """Return what a checker says of needed and recommended points (weights 3 and 2)."""
    if result.children:
        return [w for child in result.children for w in complaints(child, acdd)]
    scored = result.value
    good = scored[0] >= scored[1] if isinstance(scored, tuple) else scored in (True, None)
    if good or result.weight < 2:
        return []
    return [m for m in result.msgs or [result.name] if not (acdd and m == "standard_name")]
