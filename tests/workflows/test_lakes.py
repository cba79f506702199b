"""The verb lakes on a small campaign with a known draining: files, words, resumption, refusals."""

import csv
import json
import re
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest

from stakeline import cli
from stakeline.campaign.folders import open_campaign
from stakeline.campaign.lakes_settings import Lake, LakesPart
from stakeline.campaign.store import read_table
from stakeline.constants import NS_PER_DAY
from stakeline.errors import FormatError, SettingsError
from stakeline.formats.outlines import Outline, write_outlines
from stakeline.formats.series_netcdf import read_columns
from stakeline.time import from_iso
from stakeline.workflows import lakes
from stakeline.workflows.lakes_ground import ice_thickness, lake_outlines
from stakeline.workflows.lakes_input import scatter, slope_course, station_up, step_notes
from stakeline.workflows.lakes_places import CONTROL, NEITHER, OVER, roles, tracks
from stakeline.workflows.lakes_results import lake_results
from stakeline.workflows.lakes_xarray import open_lakes
from stakeline.workflows.motion_ground import map_sheet
from stakeline.workflows.motion_results import station_results

sys.path.append(str(Path(__file__).parent))
from lakes_campaign import (
    CENTRE_M,
    LENGTH_D,
    ONSET_D,
    PLACES_M,
    RADIUS_M,
    START,
    course,
    make,
    ring_deg,
    station,
)

ICE = '[[lakes.lake]]\nname = "Upper Halvard"\nthickness_m = 700\nthickness_sigma_m = 35\n'
ROOF_M = 2.0


def rows(root, name):
    with (root / "6-lakes" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def solved(tmp_path_factory):
    root = make(tmp_path_factory.mktemp("lakes") / "trial", ICE, ROOF_M)
    return root, lakes.run(root)


@pytest.fixture
def copy(solved, tmp_path):
    """The solved campaign, to be changed."""
    return shutil.copytree(solved[0], tmp_path / "copy")


def reset(root, settings):
    """Write the settings of a campaign anew."""
    names = "".join(f'[[station]]\nname = "{name}"\n' for name in PLACES_M)
    text = f'[campaign]\nname = "Trial"\n{names}{settings}'
    (root / "campaign.toml").write_text(text, encoding="utf-8")


@pytest.mark.compiled
def test_the_catalogue_holds_the_truth_within_its_intervals(solved):
    (event,) = rows(solved[0], "events.csv")
    assert (event["lake"], event["kind"], event["status"]) == (
        "Upper Halvard",
        "drain",
        "automatic",
    )
    onset = START + round(ONSET_D * NS_PER_DAY)
    low, high = (from_iso(event[f"onset_{word}_gps"]) for word in ("low", "high"))
    assert low < onset < high
    assert high - low < NS_PER_DAY
    assert float(event["probability_real"]) > 0.99
    # the ice carries the roof's change over at these places to some per cent: area times 2 m
    area_m2 = (
        np.pi
        * RADIUS_M**2
        / lake_outlines(open_campaign(solved[0])).lakes["Upper Halvard"][0].scale ** 2
    )
    low, high = (float(event[f"volume_m3_{word}"]) for word in ("low", "high"))
    assert low < ROOF_M * area_m2 < high
    mean = float(event["volume_m3_median"]) / (LENGTH_D * 86400.0)
    assert float(event["mean_m3_s_median"]) == pytest.approx(mean, rel=0.15)


@pytest.mark.compiled
def test_definitions_and_samples_carry_through(solved):
    found = rows(solved[0], "definitions.csv")
    assert {(r["what"], r["definition"]) for r in found} >= {("onset", "10 %"), ("end", "95 %")}
    assert all(r["low_gps"] <= r["median_gps"] <= r["high_gps"] and r["words"] for r in found)
    (result,) = lake_results(open_campaign(solved[0]))
    (event,) = result.events()
    own = rows(solved[0], "events.csv")[0]
    middle = event.time_ns(np.median(event.onset_days()))
    assert abs(int(middle) - from_iso(own["onset_median_gps"])) <= 30e9  # a minute, rounded
    assert set(event.station_m) == {"HV02", "HV03"}
    assert np.median(event.station_m["HV03"]) == pytest.approx(-ROOF_M, rel=0.03)
    onset = result.samples["onset_gps"].astype("datetime64[ns]").astype(np.int64)
    assert np.array_equal(onset, event.time_ns(event.onset_days()))


@pytest.mark.compiled
def test_level_and_water_follow_the_course_put_in(solved):
    (result,) = lake_results(open_campaign(solved[0]))
    day = (result.time_ns - START) / NS_PER_DAY
    low, middle, high = result.curve("level_m")
    truth = -ROOF_M * course(day)  # what all ice does is taken off by the control
    truth = truth - truth[0]
    assert np.abs(middle - truth).max() < 0.06
    assert ((low <= truth) & (truth <= high)).mean() > 0.9
    stored, flow = result.curve("stored_m3"), result.curve("outflow_m3_s")
    lost = float(rows(solved[0], "events.csv")[0]["volume_m3_median"])
    assert stored[1, -1] == pytest.approx(-lost, rel=0.05)
    step_s = np.median(np.diff(result.time_ns)) / 1e9
    assert flow[1].sum() * step_s == pytest.approx(lost, rel=0.1)
    assert abs(day[np.argmax(flow[1])] - (ONSET_D + LENGTH_D * 1.5 / 3.5)) < 0.3


@pytest.mark.compiled
def test_files_open_and_agree(solved):
    root = solved[0] / "6-lakes"
    content = json.loads((root / "events.geojson").read_text(encoding="utf-8"))
    (feature,) = content["features"]
    assert feature["geometry"]["type"] == "Polygon"
    assert (
        feature["properties"]["onset_median_gps"]
        == rows(solved[0], "events.csv")[0]["onset_median_gps"]
    )
    file = read_columns(root / "lakes.nc")
    table, about = read_table(root / "Upper_Halvard" / "Upper_Halvard_levels.parquet")
    assert file.station_names == ("Upper Halvard",)
    np.testing.assert_array_equal(file.column("level_m_median"), table["level_m_median"])
    assert about["lake"] == "Upper Halvard"
    causes = {row["what"] for row in rows(solved[0], "volumes.csv")}
    assert causes >= {"shape: uniform", "shape: plate bulge", "shape: ice flow", "outline"}
    assert causes >= {"thickness", "viscosity", "stations"}
    text = (root / "summary.txt").read_text(encoding="utf-8")
    assert "over it: HV02" in text
    assert "control: HV04, 4.6 km outside the margin" in text
    assert "Controls are the 3 nearest" in text
    names = {path.name for path in (root / "figures").glob("Upper_Halvard_*.svg")}
    assert names == {f"Upper_Halvard_{n}.svg" for n in ("level", "events", "water", "map")}


@pytest.mark.compiled
def test_curves_open_in_python(solved, tmp_path):
    pytest.importorskip("xarray")
    found = open_lakes(solved[0]).sel(lake="Upper Halvard")
    (result,) = lake_results(open_campaign(solved[0]))
    assert np.array_equal(found.level_m_high.values, result.curve("level_m")[2])
    assert found.stored_m3_median.attrs["units"] == "m3"
    with pytest.raises(SettingsError, match="no lakes yet; run 'stakeline lakes'"):
        open_lakes(make(tmp_path / "new", stations=()))


@pytest.mark.compiled
def test_a_second_run_does_nothing_and_a_lost_file_is_made_again(copy):
    again = lakes.run(copy)
    assert not any("lakes" in done for done in again.done)
    assert "1 up to date" in again.text
    table = copy / "6-lakes" / "events.csv"
    was = table.read_bytes()
    table.unlink()
    assert "lakes together" in lakes.run(copy).done
    assert table.read_bytes() == was


@pytest.mark.compiled
def test_a_review_is_laid_over_the_catalogue_on_each_run(copy):
    review = '[[lakes.review]]\nlake = "Upper Halvard"\nonset = 2031-05-31\nstatus = "rejected"\n'
    review += 'reason = "snow slid off the mast"\nwho = "A person"\nday = 2032-01-10\n'
    reset(copy, ICE + review)
    said = lakes.run(copy)
    assert "1 lakes" not in said.done  # nothing is looked for anew
    (event,) = rows(copy, "events.csv")
    assert event["status"] == "rejected"
    assert "rejected: snow slid off the mast" in event["reasons"]
    assert (event["reviewed_by"], event["reviewed_on"]) == ("A person", "2032-01-10")
    assert "[rejected]" in (copy / "6-lakes" / "summary.txt").read_text(encoding="utf-8")
    reset(copy, ICE + review.replace("2031-05-31", "2031-05-10"))
    (problem,) = [p for p in lakes.run(copy).problems if "review" in p]
    assert "on 2031-05-10 fits no event within 3 d; its events begin on 2031-05-3" in problem
    assert rows(copy, "events.csv")[0]["status"] == "automatic"


@pytest.mark.compiled
def test_a_lake_too_small_under_too_much_ice_is_told_so(copy):
    reset(copy, ICE.replace("= 700", "= 5000").replace("35", "200"))
    small = write_outlines([Outline("Upper Halvard", ring_deg(radius_m=1300.0))])
    (copy / "maps" / "lakes.geojson").write_bytes(small)
    said = lakes.run(copy)
    assert "1 lakes" in said.done
    (event,) = rows(copy, "events.csv")  # the surface still fell
    assert event["volume_m3_median"] == ""
    assert "too small under too much ice" in event["volume_note"]
    text = (copy / "6-lakes" / "summary.txt").read_text(encoding="utf-8")
    assert "no volumes: the surface at the best station does" in text
    assert not (copy / "6-lakes" / "figures" / "Upper_Halvard_water.svg").exists()


@pytest.mark.compiled
def test_without_a_thickness_events_are_found_and_volumes_are_not(copy):
    reset(copy, "")
    lakes.run(copy)
    (event,) = rows(copy, "events.csv")
    assert "set thickness_m in [[lakes.lake]]" in event["volume_note"]


@pytest.mark.compiled
def test_a_quiet_lake_has_a_catalogue_without_lines(tmp_path):
    root = make(tmp_path / "quiet", ICE, drop_m=0.0)
    said = lakes.run(root)
    assert "1 lakes" in said.done
    assert rows(root, "events.csv") == []
    assert json.loads((root / "6-lakes" / "events.geojson").read_text())["features"] == []
    text = (root / "6-lakes" / "summary.txt").read_text(encoding="utf-8")
    assert "no event: nothing in 0.16 a that noise would make less often than 0.02 times" in text
    (result,) = lake_results(open_campaign(root))
    assert result.events() == ()
    assert np.isnan(result.curve("stored_m3")).all()
    assert np.abs(result.curve("level_m")[1]).max() < 0.02
    assert not (root / "6-lakes" / "figures" / "Upper_Halvard_events.svg").exists()


def test_what_is_missing_is_said(tmp_path):
    root = make(tmp_path / "bare", stations=())
    (root / "maps" / "lakes.geojson").unlink()
    (root / "maps" / "lakes.shp").write_bytes(b"\x00\x00\x27\x0a")
    skipped = lakes.run(root).skipped
    assert "maps/lakes.shp: a shapefile is not read; save it as GeoJSON" in skipped[0]
    assert skipped[1].startswith("no outline of a lake in maps/*.geojson")
    root = make(tmp_path / "still", stations=())
    assert "no motion; run 'stakeline motion' first" in lakes.run(root).skipped
    root = make(tmp_path / "beside", ICE, stations=("HV04",))
    assert (
        "no station stands over it; nearest are HV04 (4.6 km outside the margin)"
        in (lakes.run(root).skipped[0])
    )


def test_names_that_no_outline_has_are_refused(tmp_path):
    root = make(tmp_path / "trial", ICE, stations=("HV04",))
    with pytest.raises(SettingsError, match="--lake: there is no lake 'Lowest'; outlines are of"):
        lakes.run(root, lakes=("Lowest",))
    reset(root, ICE + 'below = "Summit"\n')
    with pytest.raises(SettingsError, match="below: there is no lake 'Summit'"):
        lakes.run(root)


def test_lakes_in_a_ring_are_refused(tmp_path):
    ring = ring_deg(CENTRE_M + 20e3)
    both = [Outline("Upper Halvard", ring_deg()), Outline("Lower Halvard", ring)]
    settings = ICE + 'below = "Lower Halvard"\n'
    settings += '[[lakes.lake]]\nname = "Lower Halvard"\nbelow = "Upper Halvard"\n'
    root = make(tmp_path / "trial", settings, stations=("HV04",), outlines=both)
    with pytest.raises(SettingsError, match="lie below each other in a ring"):
        lakes.run(root)


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        ("[lakes]\nshap = 'uniform'\n", "did you mean 'shape'?"),
        ("[lakes]\nshape = 'cone'\n", "lakes.shape: should be 'ice flow', 'plate bulge' or"),
        (ICE + ICE, "lake Upper Halvard stands there more than once"),
        (ICE + "bed = 'slippery'\n", "should be 'stuck', 'sliding' or 'either'"),
        (ICE + 'below = "Upper Halvard"\n', "lies below itself"),
        (ICE + 'stations = ["HV02"]\ncontrols = ["HV02"]\n', "over the lake and a control as well"),
        ("[[lakes.lake]]\nname = 'A'\nthickness_sigma_m = 3\n", "but no thickness_m"),
        ("[[lakes.review]]\nlake = 'A'\nonset = 2031-05-01\n", "lakes.review.1.status: is missing"),
    ],
)
def test_settings_are_checked_to_the_last_key(tmp_path, lines, sentence):
    make(tmp_path, stations=())
    (tmp_path / "campaign.toml").write_text(f'[campaign]\nname = "T"\n{lines}', encoding="utf-8")
    with pytest.raises(SettingsError) as told:
        open_campaign(tmp_path)
    assert sentence in str(told.value)
    assert "campaign.toml:" in str(told.value)


def test_the_page_tells_every_setting_with_its_default():
    page = Path(__file__).parents[2] / "docs" / "reference" / "lakes.md"
    text = page.read_text(encoding="utf-8")
    told = dict(re.findall(r"^\| `(\w+)`\*? \| `?([^`|]+?)`? \|", text, re.MULTILINE))
    inner = ("lake", "review", "routes", "placement", "altimetry")
    wanted = {n: str(v) for n, v in LakesPart() if n not in inner}
    assert told == wanted
    own = set(re.findall(r"^\| `(\w+)`\* ", text, re.MULTILINE))
    assert own == set(Lake.model_fields) & set(LakesPart.model_fields) - set(inner)


def ground(root):
    campaign = open_campaign(root)
    results = {r.station: r for r in station_results(campaign)}
    outlines = lake_outlines(campaign)
    located = tracks(campaign, list(results), outlines.epsg)
    (outline,) = outlines.lakes["Upper Halvard"]
    found = roles(campaign, "Upper Halvard", outline, [outline], located, results)
    return {one.station: one for one in found}


def test_stations_get_their_roles_by_where_they_were(tmp_path):
    root = make(tmp_path / "trial", ICE)
    station(root, "HV05", 0.0, 5, speed_m_d=20.0, place_m=(RADIUS_M - 700.0, 0.0))  # in, then out
    station(root, "HV06", 0.0, 6, place_m=(RADIUS_M + 500.0, 0.0))  # nearer than two thicknesses
    station(root, "HV07", 0.0, 7, speed_m_d=0.0, place_m=(0.0, 8000.0))  # rock
    station(root, "HV08", 0.0, 8, tide_m=0.4, place_m=(0.0, -8000.0))  # afloat
    station(root, "HV09", 0.0, 9, place_m=(25e3, 0.0))
    found = ground(root)
    assert {n: one.role for n, one in found.items() if one.role != NEITHER} == {
        "HV02": OVER, "HV03": OVER, "HV05": OVER, "HV04": CONTROL,
    }  # fmt: skip
    assert found["HV02"].inside_m == pytest.approx(RADIUS_M, rel=0.03)
    assert "of its days only, out over the margin on 2031-06-0" in found["HV05"].words
    assert "nearer than 1.4 km (2 ice thicknesses)" in found["HV06"].words
    assert "on rock" in found["HV07"].words
    assert "afloat" in found["HV08"].words
    assert "further than controls may stand" in found["HV09"].words


def test_stations_by_hand_stand_for_those_found(tmp_path):
    root = make(tmp_path / "trial", ICE + 'stations = ["HV03"]\ncontrols = []\n')
    found = ground(root)
    assert [n for n, one in found.items() if one.role == OVER] == ["HV03"]
    assert all(one.role == NEITHER for n, one in found.items() if n != "HV03")
    assert "by hand" in found["HV02"].words
    reset(root, ICE + 'stations = ["HV77"]\n')
    with pytest.raises(SettingsError, match="names station HV77; with motion and positions"):
        ground(root)


def test_outlines_in_degrees_and_metres_are_the_same_lake(tmp_path):
    root = make(tmp_path / "trial", ICE)
    in_degrees = lake_outlines(open_campaign(root))
    drawn = map_sheet(open_campaign(root), np.radians(79.0)).ground.lakes[0]
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    ring = np.round(CENTRE_M + RADIUS_M * np.stack([np.cos(turn), np.sin(turn)], axis=1), 1)
    ring[-1] = ring[0]
    feature = {"type": "Feature", "properties": {"name": "Upper Halvard"},
               "geometry": {"type": "Polygon", "coordinates": [ring.tolist()]}}  # fmt: skip
    content = {"type": "FeatureCollection", "features": [feature]}
    path = root / "maps" / "lakes.geojson"
    path.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(SettingsError, match="nothing names their map; set map_epsg"):
        lake_outlines(open_campaign(root))
    reset(root, "[lakes]\nmap_epsg = 3413\n" + ICE)
    in_metres = lake_outlines(open_campaign(root))
    areas = [one.lakes["Upper Halvard"][0].area_m2 for one in (in_degrees, in_metres)]
    assert areas[0] == pytest.approx(areas[1], rel=1e-3)
    assert "was taken as metres of EPSG:3413" in in_metres.notes[0]
    again = map_sheet(open_campaign(root), np.radians(79.0)).ground.lakes[0]
    np.testing.assert_allclose(np.mean(drawn[1][:-1]), np.mean(again[1][:-1]), atol=1e-3)


def test_outlines_that_are_wrong_name_file_and_feature(tmp_path):
    crossed = ring_deg()[[0, 12, 6, 18]]
    root = make(tmp_path / "trial", ICE, outlines=[Outline("Upper Halvard", crossed)])
    with pytest.raises(SettingsError, match=r"maps/lakes.geojson, feature 1: .* crosses itself"):
        lake_outlines(open_campaign(root))
    (root / "maps" / "lakes.geojson").write_text("{}", encoding="utf-8")
    with pytest.raises(FormatError, match="a GeoJSON FeatureCollection"):
        lake_outlines(open_campaign(root))


def test_variants_of_one_outline_stay_together(tmp_path):
    variants = [Outline("Upper Halvard", ring_deg(radius_m=r)) for r in (RADIUS_M, 2700.0)]
    root = make(tmp_path / "trial", ICE, outlines=variants)
    found = lake_outlines(open_campaign(root)).lakes["Upper Halvard"]
    assert found[1].area_m2 / found[0].area_m2 == pytest.approx((2700.0 / RADIUS_M) ** 2, rel=1e-3)
    twins = [Outline(name, ring_deg()) for name in ("Upper Halvard", "Upper_Halvard")]
    other = make(tmp_path / "other", outlines=twins, stations=())
    with pytest.raises(SettingsError, match="two would share one folder"):
        lake_outlines(open_campaign(other))


def test_the_thickness_by_hand_goes_before_the_map(tmp_path):
    campaign = open_campaign(make(tmp_path / "trial", ICE))
    (outline,) = lake_outlines(campaign).lakes["Upper Halvard"]
    found = ice_thickness(campaign, outline)
    assert (found.value_m, found.sigma_m, found.source) == (700.0, 35.0, "campaign.toml")


def test_heights_take_steps_and_slope_along(tmp_path):
    step = "2031-05-11T00:00:00,2031-05-11T03:00:00,equipment,no,yes,0,0,0,0,0.50,0.03,found\n"
    step += "2031-05-12T00:00:00,2031-05-12T03:00:00,equipment,yes,yes,0,0,0,0,0.50,0.005,log\n"
    step += "2031-05-20T00:00:00,2031-05-26T03:00:00,undecided,no,no,0,0,0,0,-1.0,0.1,in a gap\n"
    root = make(tmp_path / "trial", ICE, stations=())
    station(root, "HV02", 0.0, 1, step=step)
    (result,) = station_results(open_campaign(root))
    up = station_up(result)
    assert up.step_ns == (from_iso("2031-05-11T03:00:00"),)
    assert station_up(result, control=True).step_ns == ()
    assert up.design is None
    assert up.sigma_m[0] == pytest.approx(0.008, rel=0.1)
    notes = step_notes([result])
    assert "took out a jump of +0.50 m up by 2031-05-11T03:00 that no log names" in notes[0]
    assert "-1.00 m up across the gap before 2031-05-26T03:00 stay in" in notes[1]


def test_scatter_is_blind_to_steps_and_drift():
    rng = np.random.default_rng(3)
    quiet = 0.01 * rng.standard_normal(4000)
    loud = quiet + 3.0 * (np.arange(4000) > 2000) + 1e-4 * np.arange(4000)
    assert scatter(loud) == pytest.approx(0.01, rel=0.06)
    assert scatter(loud) == pytest.approx(scatter(quiet), rel=0.01)


def test_a_slope_of_the_own_path_is_a_regressor_where_travel_bends(tmp_path):
    root = make(tmp_path / "trial", ICE, stations=("HV02",))
    (result,) = station_results(open_campaign(root))
    time_ns = result.time_ns
    day = (time_ns - time_ns[0]) / NS_PER_DAY
    travel = 0.5 * day + 2.0 * np.sin(2.0 * np.pi * day / 120.0)
    result.budget.update({"time_gps": result.columns["time_gps"], "slope_m": -0.02 * travel})
    result.told["slope"] = {"source": "own path", "own_path": -0.02}
    column = slope_course(result, time_ns)
    assert column.shape == (len(time_ns), 1)
    assert np.ptp(column) == pytest.approx(1.0)
    result.budget["slope_m"] = -0.02 * 0.5 * day  # even and straight: the line has it already
    assert slope_course(result, time_ns) is None
    result.told["slope"] = {"source": "given"}
    result.budget["slope_m"] = -0.02 * travel
    assert slope_course(result, time_ns) is None


def test_the_command_line_tells_a_wrong_lake(tmp_path, capsys):
    root = make(tmp_path / "trial", ICE, stations=("HV04",))
    assert cli.run(["lakes", "--campaign", str(root), "--lake", "Nowhere", "--quiet"]) == 2
    assert "there is no lake 'Nowhere'; outlines are of Upper Halvard" in capsys.readouterr().err
    assert cli.run(["lakes", "--help"]) == 0
    assert "6-lakes/" in capsys.readouterr().out
