"""Altimetry of a campaign: files of several kinds and datums, and one lake worked out."""

import csv
import io

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.earth.projection import ARCTIC
from stakeline.errors import FormatError, SettingsError
from stakeline.formats.plain_table import write_plain_table
from stakeline.lakes.combined import StationUp
from stakeline.lakes.curve import ramp
from stakeline.lakes.datum import crust_mean_minus_free_m
from stakeline.lakes.event_record import LakeEvent
from stakeline.lakes.motion_pattern import pattern_of
from stakeline.lakes.outline import ellipse_outline
from stakeline.time import from_calendar, utc_from_gps
from stakeline.workflows.altimetry_input import FOLDER, altimetry_points
from stakeline.workflows.lakes_altimetry import lake_altimetry
from stakeline.workflows.lakes_altimetry_tables import altimetry_files
from stakeline.workflows.lakes_altimetry_words import altimetry_figures

START_NS = from_calendar(2030, 5, 1)
DAY_NS = 86400 * 10**9
CENTRE_M = (-250_000.0, -1_150_000.0)
LAKE = ellipse_outline("Lower Halvard", CENTRE_M, (2000.0, 1500.0), epsg=3413)
ONSET_D, LENGTH_D, DROP_M = 130.0, 8.0, -2.0
OWN = "time_gps,x_m,y_m,height_m,sigma_m,track,cycle\n"
ROW = "2030-06-01T00:00:00,-250000,-1150000,900.0,0.1,7,1\n"


def level_m(day):
    """Return the level of the lake: slowly up, down once."""
    day = np.asarray(day, float)
    shape = np.full(day.shape, 2.0)
    return 0.004 * day + DROP_M * ramp((day - ONSET_D) / LENGTH_D, shape, shape)


def passes(rng):
    """Return the columns of a table of six passes over the lake."""
    pattern = pattern_of(LAKE, 2000.0)
    ahead = np.arange(-6000.0, 6000.0, 120.0)
    columns = {name: [] for name in ("time_utc", "x", "y", "height_m", "track", "cycle")}
    for k, day in enumerate((10.0, 55.0, 101.0, 146.0, 192.0, 237.0)):
        turn, off = (0.4, -0.5)[k % 2], rng.normal(0.0, 40.0)
        for beam in range(3):
            across = (beam - 1) * 1100.0 + off
            x = np.cos(turn) * ahead - np.sin(turn) * across
            y = np.sin(turn) * ahead + np.cos(turn) * across
            point = LAKE.map_m(np.stack([x, y], axis=1))
            height = 900.0 + 0.01 * x + 2.0 * np.cos(y / 900.0)
            height += level_m(day) * pattern.base(point) + rng.normal(0.0, 0.06, len(x))
            time_ns = np.full(len(x), START_NS + int(day * DAY_NS))
            row = (utc_from_gps(time_ns), *point.T, height, k % 2 * 3 + beam, k // 2)
            for name, value in zip(columns, row, strict=True):
                columns[name].append(np.broadcast_to(value, len(x)))
    return {name: np.concatenate(parts) for name, parts in columns.items()}


@pytest.fixture
def campaign(tmp_path):
    create(tmp_path)
    (tmp_path / FOLDER).mkdir(parents=True)
    return open_campaign(tmp_path)


def lay(campaign, name, text):
    path = campaign.folder(FOLDER) / name
    path.write_text(text, encoding="utf-8")
    return path


def test_no_file_is_no_altimetry(campaign):
    found = altimetry_points(campaign, 3413)
    assert (found.points, found.maps, found.files) == (None, (), ())


def test_degrees_are_brought_to_the_map_of_the_lakes(campaign):
    latitude, longitude = np.degrees(ARCTIC.inverse(*CENTRE_M))
    text = OWN.replace("x_m,y_m", "latitude_deg,longitude_deg")
    lay(campaign, "a.csv", text + ROW.replace("-250000,-1150000", f"{latitude},{longitude}"))
    lay(campaign, "notes.pdf", "no altimetry")
    found = altimetry_points(campaign, 3413)
    np.testing.assert_allclose(found.points.point_m, [CENTRE_M], atol=1e-3)
    assert [path for path, _ in found.files] == [f"{FOLDER}/a.csv"]
    assert f"{FOLDER}/a.csv: the datum is not said: height_above, tide_system" in found.notes
    assert f"{FOLDER}/notes.pdf: no file of altimetry that is known; not read" in found.notes


def test_files_of_two_datums_are_brought_to_one(campaign):
    said = '[datum]\nheight_above = "{}"\ntide_system = "{}"\n'
    lay(campaign, "a.csv", "# epsg: 3413\n" + OWN + ROW)
    lay(campaign, "a.toml", said.format("ellipsoid", "tide-free"))
    lay(campaign, "b.csv", OWN.replace("sigma_m", "sigma_m,geoid_m")
        + ROW.replace("900.0,0.1", "870.0,0.1,30.0"))  # fmt: skip
    lay(campaign, "b.toml", "epsg = 3413\n" + said.format("geoid", "mean-tide"))
    found = altimetry_points(campaign, 3413)
    latitude = ARCTIC.inverse(*CENTRE_M)[0]
    np.testing.assert_allclose(
        sorted(found.points.height_m), sorted([900.0, 900.0 - crust_mean_minus_free_m(latitude)])
    )
    assert sum("brought to heights above the ellipsoid" in note for note in found.notes) == 2
    lay(campaign, "b.toml", 'epsg = 3413\n[datum]\nheight_above = "geoid"\n')
    with pytest.raises(SettingsError, match="does not say its tide_system"):
        altimetry_points(campaign, 3413)


FOREIGN = """
track = "orbit"
missing = [-9999.0]
[time]
column = "t"
scale = "UTC"
written = "days"
since = 2030-05-01
[place]
columns = ["easting", "northing"]
epsg = 3413
[height]
column = "h"
unit = "cm"
[quality]
column = "flag"
good = [0, 2]
"""


def test_foreign_names_are_told_beside_the_table(campaign):
    text = "t,easting,northing,h,orbit,flag\n31,-250000,-1150000,90000,5,2\n"
    text += "32,-250000,-1150000,-9999,5,0\n33,-250000,-1150000,1,5,1\n"
    lay(campaign, "a.csv", text)
    lay(campaign, "a.toml", FOREIGN)
    found = altimetry_points(campaign, 3413)
    assert found.points.height_m.tolist() == [900.0]
    assert utc_from_gps(found.points.time_ns).tolist() == [START_NS + 31 * DAY_NS]
    assert any("flagged by their maker: 1 of 3" in note for note in found.notes)
    lay(campaign, "a.toml", FOREIGN.replace('"h"', '"heights"'))
    with pytest.raises(FormatError, match="no column heights"):
        altimetry_points(campaign, 3413)
    lay(campaign, "a.toml", FOREIGN.replace("[height]", "[sigma]"))
    with pytest.raises(SettingsError, match=r"together, or none"):
        altimetry_points(campaign, 3413)


def event(rng):
    """Return the draining as stations would have found it."""
    count = 50
    form = np.full(count, 2.0)
    onset_d, length_d = ONSET_D + rng.normal(0.0, 0.1, count), np.full(count, LENGTH_D)
    change_m = np.full(count, DROP_M)
    samples = (onset_d, length_d, form, form, change_m)
    return LakeEvent("Lower Halvard", "drain", START_NS, *samples, {}, 1.0, 0.0)


@pytest.fixture(scope="module")
def worked_out(tmp_path_factory):
    root = tmp_path_factory.mktemp("altimetry")
    create(root)
    rng = np.random.default_rng(1)
    columns = passes(rng)
    latitude, longitude = np.degrees(ARCTIC.inverse(columns.pop("x"), columns.pop("y")))
    columns |= {"latitude_deg": latitude, "longitude_deg": longitude}
    (root / FOLDER).mkdir(parents=True)
    decimals = {"latitude_deg": 7, "longitude_deg": 7}
    path = root / FOLDER / "passes.csv"
    path.write_bytes(
        write_plain_table(columns | {"sigma_m": np.full(len(latitude), 0.06)}, decimals)
    )
    altimetry = altimetry_points(open_campaign(root), 3413)
    day = np.arange(0.0, 250.0)
    share = pattern_of(LAKE, 2000.0).base(np.array([CENTRE_M]))[0]
    up = share * level_m(day) + rng.normal(0.0, 0.01, len(day))
    station = StationUp("HV07", START_NS + (day * DAY_NS).astype(np.int64), up, np.full(250, 0.01))
    beside = StationUp("HV09", station.time_ns, 0.0 * up, station.sigma_m, control=True)
    places = {"HV07": np.array(CENTRE_M), "HV09": np.array(CENTRE_M) + 9000.0}
    return lake_altimetry(altimetry, LAKE, (station, beside), places, (event(rng),))


def rows(data):
    return list(csv.DictReader(io.StringIO(data.decode())))


def test_levels_agree_with_the_station_over_the_lake(worked_out):
    assert list(worked_out.first.agreements) == ["HV07"]
    found = worked_out.first.agreements["HV07"]
    assert found.p_value > 0.01
    assert abs(found.slope - 1.0) < 3.0 * found.slope_sigma
    assert found.slope_sigma < 0.1


def test_the_combined_curve_follows_the_level(worked_out):
    curve = worked_out.first.curve
    inside = (curve.time_ns >= START_NS) & (curve.time_ns < START_NS + 249 * DAY_NS)
    truth = level_m((curve.time_ns[inside] - START_NS) / DAY_NS)
    error = curve.level_m[inside] - truth
    assert np.std(error) < 0.08
    assert np.mean(np.abs(error - error.mean()) < 2.5 * curve.sigma_m[inside]) > 0.9


def test_tables_of_a_lake(worked_out):
    files = altimetry_files(worked_out)
    assert sorted(files) == [
        "altimetry_agreement.csv", "altimetry_levels.csv", "altimetry_summary.csv",
        "level_curve.csv", "satellite_alone.csv",
    ]  # fmt: skip
    (seen,) = rows(files["satellite_alone.csv"])
    assert seen["verdict"] == "seen"
    assert float(seen["delay_d"]) == pytest.approx(16.0, abs=0.5)
    assert seen["onset_after_gps"][:10] == "2030-08-10"
    levels = rows(files["altimetry_levels.csv"])
    assert [float(levels[0][n]) for n in ("level_m", "sigma_m")] == [0.0, 0.0]
    assert float(levels[3]["level_m"]) == pytest.approx(level_m(146.0) - level_m(10.0), abs=0.2)
    assert levels[0]["tracks"] == "0, 1, 2"
    assert len(rows(files["altimetry_agreement.csv"])) == 6


def test_figures_of_a_lake(worked_out):
    figures = altimetry_figures(worked_out)
    assert sorted(figures) == ["altimetry_levels.svg", "satellite_alone.svg"]
    assert "drains 2030-09-08" in figures["satellite_alone.svg"].decode()
    assert figures == altimetry_figures(worked_out)  # the same bytes


def test_without_points_there_is_a_note_and_no_table(campaign):
    lay(campaign, "a.csv", "# epsg: 3413\n" + OWN + ROW)
    found = lake_altimetry(altimetry_points(campaign, 3413), LAKE)
    assert found.levels is None
    assert "a change of level needs two" in found.notes[0]
    assert altimetry_files(found) == {}
    assert altimetry_figures(found) == {}
