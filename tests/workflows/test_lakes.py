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
from stakeline.errors import SettingsError
from stakeline.formats.outlines import Outline, write_outlines
from stakeline.formats.series_netcdf import read_columns
from stakeline.time import from_iso
from stakeline.workflows import lakes
from stakeline.workflows.decide_record import _sizes
from stakeline.workflows.lakes_ground import lake_outlines
from stakeline.workflows.lakes_results import lake_results
from stakeline.workflows.lakes_xarray import open_lakes

sys.path.append(str(Path(__file__).parent))
from lakes_campaign import (
    CENTRE_M,
    ICE,
    LENGTH_D,
    ONSET_D,
    RADIUS_M,
    START,
    course,
    make,
    reset,
    ring_deg,
)

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
def test_false_alarms_are_told_by_lake_and_by_station_with_what_was_allowed(solved):
    (event,) = rows(solved[0], "events.csv")
    told = {k: float(v) for k, v in event.items() if k.startswith("false_")}
    assert told["false_limit_per_year"] == 0.02  # the default
    # two stations stand over the lake: a lake-year is two station-years
    for name in ("false", "false_limit"):
        by_station = told[f"{name}_per_station_year"]
        assert 2.0 * by_station == pytest.approx(told[f"{name}_per_year"], rel=0.01)
    words = (solved[0] / "6-lakes" / "summary.txt").read_text(encoding="utf-8")
    assert "a station-year (the limit is 0.02, 0.01)" in words


@pytest.mark.compiled
def test_phases_tell_what_flowed_in_and_since_when(solved):
    found = rows(solved[0], "phases.csv")
    assert [(p["begin_by"], p["end_by"]) for p in found] == [
        ("the first row", "the onset of the event after"),
        ("the end of the event before", "the last row"),
    ]
    (event,) = rows(solved[0], "events.csv")
    for phase in found:
        low, middle, high = (float(phase[f"inflow_m3_s_{w}"]) for w in ("low", "median", "high"))
        assert low < middle < high
        assert phase["volume_m3_low"] in ("", "nan", "NaN")
    assert float(found[0]["inflow_m3_s_low"]) < 0.0 < float(found[0]["inflow_m3_s_high"])
    # a hollow that stays as it is tells of a roof that sinks as fast as the surface levels itself
    (result,) = lake_results(open_campaign(solved[0]))
    kept = result.told["levelling"][0]
    lost = float(event["volume_m3_median"]) * (1.0 - kept["median"]) / (86400.0 * kept["days"])
    assert float(found[1]["inflow_m3_s_median"]) == pytest.approx(-lost, rel=0.5)
    assert found[0]["end_low_gps"] == event["onset_low_gps"]
    assert found[1]["begin_high_gps"] == event["end_high_gps"]


@pytest.mark.compiled
def test_what_satellites_tell_joins_the_catalogue_and_the_curves(copy):
    (event,) = rows(copy, "events.csv")
    assert event["volume_together_m3_median"] == ""
    folder = copy / "6-lakes" / "Upper_Halvard"
    keys = ",".join(f"volume_m3_together_{w}" for w in ("low", "median", "high"))
    text = f"event,{keys}\n{event['event']},36e6,39e6,42e6\nanother,1,2,3\n"
    (folder / "volume_together.csv").write_text(text, encoding="utf-8")
    levels = "2031-05-06T00:00:18,0.0,0.03\n2031-06-10T00:00:18,-1.9,0.05\n"
    levels = f"time_gps,level_m,sigma_m\n{levels}"
    (folder / "altimetry_levels.csv").write_text(levels, encoding="utf-8")
    said = lakes.run(copy)
    assert "lakes together" in said.done
    assert "lakes together" not in lakes.run(copy).done
    (event,) = rows(copy, "events.csv")
    assert float(event["volume_together_m3_high"]) == 42e6
    pytest.importorskip("xarray")
    curves = open_lakes(copy)
    passes = curves.passes_level_m.sel(lake="Upper Halvard").dropna("time")
    assert passes.values == pytest.approx([0.0, -1.9])
    (at,) = curves.volume_together_m3_median.sel(lake="Upper Halvard").dropna("time").time.values
    assert str(at)[:16] == event["end_median_gps"][:16]
    assert "both_level_m" not in curves
    # its size where lags and responses are asked for is that of both
    (result,) = lake_results(open_campaign(copy))
    size, sigma, unit = _sizes(result.told["events"])
    assert (size[0], sigma[0], unit) == (39e6, pytest.approx(6e6 / 3.92), "m3")


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
    (root / "maps" / "lakes.gpkg").write_bytes(b"SQLite format 3")
    skipped = lakes.run(root).skipped
    assert "maps/lakes.gpkg: a GeoPackage is not read; save it as GeoJSON" in skipped[0]
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
        (
            "[lakes]\nshape = 'cone'\n",
            "lakes.shape: should be 'ice flow', 'plate bulge'",
        ),
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


def test_the_command_line_tells_a_wrong_lake(tmp_path, capsys):
    root = make(tmp_path / "trial", ICE, stations=("HV04",))
    assert cli.run(["lakes", "--campaign", str(root), "--lake", "Nowhere", "--quiet"]) == 2
    assert "there is no lake 'Nowhere'; outlines are of Upper Halvard" in capsys.readouterr().err
    assert cli.run(["lakes", "--help"]) == 0
    assert "6-lakes/" in capsys.readouterr().out
