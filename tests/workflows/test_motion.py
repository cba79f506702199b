"""The verb motion on small campaigns and on foreign tables: files, words, what is refused."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from pyproj import Transformer

from stakeline import cli
from stakeline.campaign.column_map import read_column_map
from stakeline.campaign.folders import create
from stakeline.campaign.history import read_history
from stakeline.campaign.motion_settings import MotionPart
from stakeline.campaign.store import parquet_bytes, read_table
from stakeline.constants import NS_PER_DAY
from stakeline.earth.ellipsoid import xyz_from_enu, xyz_from_geodetic
from stakeline.errors import FormatError, SettingsError
from stakeline.formats.plain_table import write_plain_table
from stakeline.formats.series_netcdf import StationSeriesFile, read_columns, write_series
from stakeline.motion.local import local_from_xyz
from stakeline.time import from_iso, gps_from_utc, iso, utc_from_gps
from stakeline.workflows import motion
from stakeline.workflows.motion_input import logged_steps
from stakeline.workflows.motion_table import table_series

START = from_iso("2031-05-01")
PLACE = np.radians(79.0), np.radians(17.0), 500.0


def rows(count=240, east_m_d=0.5, north_m_d=0.2, east_m=0.0, seed=1):
    """Return (GPS times, Earth-fixed positions) of even motion, hourly, 5 mm of white noise."""
    time_ns = START + np.arange(count) * (NS_PER_DAY // 24)
    days = np.arange(count) / 24.0
    noise = np.random.default_rng(seed).normal(0.0, 0.005, (count, 3))
    enu = np.stack([east_m + east_m_d * days, north_m_d * days, -0.005 * days], axis=1) + noise
    return time_ns, xyz_from_geodetic(*PLACE) + xyz_from_enu(enu, *PLACE[:2])


def position_table(path, time_ns, xyz):
    columns = {"time_gps": time_ns}
    columns |= {f"{axis}_m": xyz[:, k] for k, axis in enumerate("xyz")}
    columns |= {f"sigma_{axis}_m": np.full(len(xyz), 0.005) for axis in ("east", "north", "up")}
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(write_plain_table(columns, dict.fromkeys(columns, 4)))


def raised(histories):
    """Return the history of a station whose height is read once, and whose marker is raised."""
    read = histories.visit("2031-05-04T12:00:00", measured_m="1.200")
    return histories.set_up("HV05") + read + histories.visit("2031-05-06T12:00:00", up=0.4)


@pytest.fixture(scope="module")
def finished(tmp_path_factory, histories):
    """Folder of a campaign after its first run: a station on ice, and one of three rows."""
    root = tmp_path_factory.mktemp("moved") / "trial"
    create(root)
    (root / "stations" / "HV01.toml").unlink()
    (root / "stations" / "HV05.toml").write_text(raised(histories), encoding="utf-8")
    time_ns, xyz = rows()
    xyz[time_ns >= gps_from_utc(from_iso("2031-05-06T12:00:00"))] += xyz_from_enu(
        np.array([0.0, 0.0, 0.4]), *PLACE[:2]
    )
    position_table(root / "0-raw/positions/HV05.csv", time_ns, xyz)
    position_table(root / "0-raw/positions/HV06.csv", *(part[:3] for part in rows()))
    stations = "".join(
        f'[[station]]\nname = "{n}"\npositions = ["0-raw/positions/{n}.csv"]\n'
        for n in ("HV05", "HV06")
    )
    settings = "[motion]\nwindow_d = [1.0]\nlikelihood_rows = 240\n"
    (root / "campaign.toml").write_text(
        f'[campaign]\nname = "Trial"\n{settings}{stations}', encoding="utf-8"
    )
    assert cli.run(["position", "--campaign", str(root), "--quiet"]) == 0
    return root, motion.run(root)


@pytest.mark.compiled
def test_a_first_run_does_all_a_second_nothing(finished):
    root, first = finished
    assert first.problems == ()
    assert first.done[:2] == ("1 stations", "stations together")
    before = {p: p.read_bytes() for p in sorted((root / "5-motion").rglob("*.*"))}
    again = motion.run(root)
    assert again.done == ()
    assert again.up_to_date == ("1 stations",)
    assert {p: p.read_bytes() for p in sorted((root / "5-motion").rglob("*.*"))} == before


@pytest.mark.compiled
def test_a_station_of_three_rows_is_skipped_with_a_sentence(finished):
    root, first = finished
    assert first.skipped == ("HV06: 3 positions; motion needs at least 10",)
    assert not (root / "5-motion" / "HV06").exists()


@pytest.mark.compiled
def test_the_table_holds_the_motion(finished):
    columns, metadata = read_table(finished[0] / "5-motion/HV05/HV05_motion.parquet")
    assert metadata["mean_speed_m_d"] == pytest.approx(np.hypot(0.5, 0.2), abs=0.002)
    assert np.degrees(np.arctan2(0.5, 0.2)) == pytest.approx(columns["azimuth_deg"].mean(), abs=0.5)
    speed = columns["speed_m_d"]
    assert np.abs(speed - np.hypot(0.5, 0.2)).max() < 0.02  # noise of 5 mm over days
    assert (columns["speed_sigma_m_d"] > 0.0).all()
    assert metadata["inputs"][0]["file"].endswith("HV05_imported.parquet")


@pytest.mark.compiled
def test_the_moved_marker_is_a_step_and_the_new_height_none(finished):
    text = (finished[0] / "5-motion/HV05/HV05_steps.csv").read_text(encoding="utf-8")
    (row,) = text.splitlines()[1:]
    cells = dict(zip(text.splitlines()[0].split(","), row.split(","), strict=False))
    assert cells["after_gps"].startswith("2031-05-06T13")  # noon UTC is 18 s later GPS
    assert (cells["kind"], cells["logged"], cells["removed"]) == ("equipment", "yes", "yes")
    assert float(cells["up_m"]) == pytest.approx(0.4, abs=0.02)


@pytest.mark.compiled
def test_the_summary_says_it_in_words_and_in_numbers(finished):
    words = (finished[0] / "5-motion/summary.txt").read_text(encoding="utf-8")
    assert "mean speed 0.53" in words
    assert "M2 14.8 d" in words  # checks.md 5.7: alias of daily sampling
    assert "slope of the own path" in words
    numbers = json.loads((finished[0] / "5-motion/summary.json").read_text(encoding="utf-8"))
    told = numbers["stations"]["HV05"]
    assert told["mean_speed_m_a"] == pytest.approx(365.25 * told["mean_speed_m_d"])
    assert told["axes"]["along"]["resolution_d"] > 0.0


@pytest.mark.compiled
def test_a_record_too_short_for_power_law_noise_is_said(finished):
    text = (finished[0] / "5-motion/HV05/HV05_noise.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert [row["axis"] for row in rows] == ["along", "across", "up"]
    assert float(rows[0]["travel_m_d"]) == pytest.approx(np.hypot(0.5, 0.2), abs=0.002)
    assert {row["velocity_m_d"] for row in rows} == {""}
    why = "10 daily means are too few to tell power-law noise"
    assert why in rows[0]["why_not"]
    assert why in (finished[0] / "5-motion/summary.txt").read_text(encoding="utf-8")


@pytest.mark.compiled
def test_netcdf_holds_the_same(finished):
    root = finished[0]
    file = read_columns(root / "5-motion/motion.nc")
    table = read_table(root / "5-motion/HV05/HV05_motion.parquet")[0]
    assert file.station_names == ("HV05",)
    np.testing.assert_array_equal(file.column("speed_m_d"), table["speed_m_d"])
    assert file.units["speed_m_d"] == "m day-1"
    assert file.units["time"].startswith("days since 2031-05-01")


@pytest.mark.compiled
def test_xarray_holds_the_same(finished):
    pytest.importorskip("xarray")
    module = pytest.importorskip("stakeline.workflows.motion_xarray")
    data = module.open_motion(finished[0])
    table = read_table(finished[0] / "5-motion/HV05/HV05_motion.parquet")[0]
    np.testing.assert_array_equal(data.speed_m_d.sel(station="HV05"), table["speed_m_d"])
    assert data.speed_m_d.attrs["units"] == "m day-1"


@pytest.mark.compiled
def test_a_station_that_is_not_known_is_refused(finished):
    with pytest.raises(SettingsError, match="no station HV99; stations are HV05, HV06"):
        motion.run(finished[0], stations=("HV99",))


def test_only_moved_markers_raises_and_swaps_are_steps(tmp_path, histories):
    path = tmp_path / "HV05.toml"
    path.write_text(raised(histories), encoding="utf-8")
    ((begin, end),) = logged_steps(read_history(path))
    noon = gps_from_utc(from_iso("2031-05-06T12:00:00"))
    assert begin < noon < end
    assert logged_steps(None) == ()


MAP = """station = "HV05"
missing = [-9999.0]
[time]
column = "when"
scale = "{scale}"
written = "{written}"
{since}
[position]
kind = "{kind}"
columns = ["a", "b", "c"]
{more}
[sigma]
same_m = [0.005, 0.005, 0.012]
"""


def column_map(folder, kind="earth-fixed", written="ISO 8601", scale="GPS", since="", more=""):
    path = folder / "map.toml"
    text = MAP.format(kind=kind, written=written, scale=scale, since=since, more=more)
    path.write_text(text, encoding="utf-8")
    return path


def foreign(folder, times, values, name="table.csv"):
    path = folder / name
    lines = [",".join(map(str, row)) for row in zip(times, *values.T, strict=True)]
    path.write_text("\n".join(["when,a,b,c", *lines]) + "\n", encoding="utf-8")
    return path


def decimal_years(time_ns):
    return [f"{2031 + (t - from_iso('2031-01-01')) / NS_PER_DAY / 365.0:.12f}" for t in time_ns]


@pytest.mark.parametrize(
    ("written", "scale", "since", "texts"),
    [
        ("ISO 8601", "GPS", "", lambda t: [iso(x) for x in t]),
        ("ISO 8601", "UTC", "", lambda t: [iso(x) + "Z" for x in utc_from_gps(t)]),
        ("decimal years", "GPS", "", decimal_years),
        ("days", "GPS", "since = 2031-05-01", lambda t: [f"{(x - START) / 864e11:.9f}" for x in t]),
        ("seconds", "GPS", "since = 2031-05-01T00:00:00",
         lambda t: [(int(x) - START) // 10**9 for x in t]),
        ("modified Julian date", "GPS", "",  # 40587: MJD of 1970-01-01
         lambda t: [f"{40587 + x / 864e11:.9f}" for x in t]),
        ("Julian date", "GPS", "", lambda t: [f"{2440587.5 + x / 864e11:.8f}" for x in t]),
    ],
)  # fmt: skip
def test_times_however_they_are_written(tmp_path, written, scale, since, texts):
    time_ns, xyz = rows(30)
    path = foreign(tmp_path, texts(time_ns), xyz)
    mapped = read_column_map(column_map(tmp_path, written=written, scale=scale, since=since))
    series = table_series(path, mapped)
    assert np.abs(series.time_ns - time_ns).max() < 2_000_000  # 2 ms: digits of a Julian date


def test_a_map_gives_true_metres(tmp_path):
    # on a map true at 70 N lengths at 79 N are 2 % short: Snyder (1987), equation 21-32, on the
    # sphere: (1 + sin 70) / (1 + sin 79) = 0.979; coordinates by pyproj
    time_ns, _ = rows(48)
    to_map = Transformer.from_crs(4979, 3413, always_xy=True)
    metres = np.arange(48) * 0.5
    xyz = xyz_from_geodetic(*PLACE) + xyz_from_enu(
        np.stack([metres, 0 * metres, 0 * metres], axis=1), *PLACE[:2]
    )
    to_place = Transformer.from_crs(4978, 4979, always_xy=True)
    x, y, h = to_map.transform(*to_place.transform(*xyz.T))
    path = foreign(tmp_path, [iso(t) for t in time_ns], np.stack([x, y, h], axis=1))
    series = table_series(path, read_column_map(column_map(tmp_path, "map", more="epsg = 3413")))
    on_map = np.hypot(x[-1] - x[0], y[-1] - y[0])
    assert on_map / metres[-1] == pytest.approx(0.979, abs=0.003)
    assert np.hypot(*series.enu_m[-1, :2]) == pytest.approx(metres[-1], abs=1e-4)


def test_missing_codes_parquet_and_local_metres(tmp_path):
    time_ns, xyz = rows(30)
    enu = local_from_xyz(xyz).enu_m
    enu[4] = -9999.0
    columns = {"when": time_ns.view("datetime64[ns]")}
    columns |= {name: enu[:, k] for k, name in enumerate("abc")}
    path = tmp_path / "table.parquet"
    path.write_bytes(parquet_bytes(columns, {}, {}))
    series = table_series(path, read_column_map(column_map(tmp_path, "local")))
    assert np.isnan(series.enu_m[4]).all()
    np.testing.assert_array_equal(np.delete(series.enu_m, 4, 0), np.delete(enu, 4, 0))
    np.testing.assert_array_equal(series.time_ns, time_ns)


def test_netcdf_of_two_stations(tmp_path):
    time_ns, xyz = rows(30)
    enu = local_from_xyz(xyz).enu_m
    fields = {name: np.stack([enu[:, k], 0 * enu[:, k]]) for k, name in enumerate("abc")}
    place = (np.full(2, 79.0), np.full(2, 17.0), np.full(2, 500.0))
    path = tmp_path / "table.nc"
    path.write_bytes(write_series(StationSeriesFile(time_ns, ("HV05", "HV06"), *place, fields)))
    text = column_map(tmp_path, "local", "days", since="since = 2031-05-01")
    text.write_text(text.read_text("utf-8").replace('"when"', '"time"'), encoding="utf-8")
    series = table_series(path, read_column_map(text))
    np.testing.assert_array_equal(series.enu_m, enu)


@pytest.mark.compiled
def test_a_foreign_table_by_the_command(tmp_path, capsys):
    time_ns, xyz = rows(60)
    path = foreign(tmp_path, [iso(t) for t in time_ns], xyz)
    mapped = column_map(tmp_path)
    arguments = ["motion", str(path), "--columns", str(mapped), "--out", str(tmp_path / "out")]
    assert cli.run(arguments) == 0
    assert "1 worked out" in capsys.readouterr().out
    assert (tmp_path / "out/HV05/HV05_motion.parquet").is_file()
    drawn = {path.stem for path in (tmp_path / "out/figures").glob("*.svg")}
    own = ("displacement", "height", "responses", "speed")  # 60 h: no tide, no spectrum
    assert drawn == {f"HV05_{name}" for name in own}
    assert cli.run(arguments) == 0
    told = capsys.readouterr().out
    assert "1 up to date" in told
    assert "0 sheets drawn, 1 up to date" in told


def test_rows_that_hold_nothing_are_one_sentence(tmp_path, capsys):
    time_ns, xyz = rows(20)
    path = foreign(tmp_path, [iso(t) for t in time_ns], np.full_like(xyz, -9999.0))
    out = str(tmp_path / "out")
    assert cli.run(["motion", str(path), "--columns", str(column_map(tmp_path)), "--out", out]) == 1
    told = capsys.readouterr().err
    assert "none of 20 rows with a position" in told
    assert told.count("stakeline:") == 1


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('column = "when"', 'colum = "when"', r"map.toml:4: time.colum: unknown key; did you mean"),
        ('scale = "GPS"', 'scale = "TAI"', r"map.toml:5: time.scale"),
        ('written = "ISO 8601"', 'written = "days"', r"map.toml:3: time: .*say since when"),
        ('kind = "earth-fixed"', 'kind = "map"', r"map.toml:8: position: .*epsg"),
        ("same_m = [0.005, 0.005, 0.012]", "", r"map.toml:12: sigma: .*one of the two"),
    ],
)
def test_mistakes_of_a_map_have_a_line(tmp_path, old, new, said):
    path = column_map(tmp_path)
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(SettingsError, match=said):
        read_column_map(path)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("when,a,b\n2031-05-01,1,2\n", "no column c; expected one of when, a, b"),
        ("when,a,b,c\n2031-05-01,1,2,here\n", "text in column c"),
        ("when,a,b,c\nyesterday,1,2,3\n", "times such as 'yesterday'"),
        ("1,2,3,4\n", "no line of names"),
    ],
)
def test_mistakes_of_a_table_are_sentences(tmp_path, text, said):
    path = tmp_path / "table.csv"
    path.write_text(text, encoding="utf-8")
    mapped = read_column_map(column_map(tmp_path))
    with pytest.raises(FormatError) as problem:
        table_series(path, mapped)
    assert said in str(problem.value)


def test_settings_on_the_page_are_the_defaults():
    page = Path(__file__).parents[2] / "docs" / "reference" / "motion.md"
    text = page.read_text(encoding="utf-8")
    part = MotionPart()
    table = [line.split("|")[1:3] for line in text.splitlines() if line.startswith("| `")]
    told = {name.strip(" `"): value.strip(" `") for name, value in table}
    expected = {k: str(v) for k, v in vars(part).items() if k not in ("station", "satellite")}
    assert told == expected
