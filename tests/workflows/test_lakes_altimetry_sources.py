"""Levels of maps and of ready series take the same part as those of passes."""

import io

import numpy as np
import pytest
from scipy.io import netcdf_file

from stakeline.campaign.altimetry_map import read_altimetry_map
from stakeline.campaign.folders import create, open_campaign
from stakeline.constants import NS_PER_DAY
from stakeline.errors import FormatError, SettingsError
from stakeline.lakes.combined import StationUp
from stakeline.lakes.curve import ramp
from stakeline.lakes.event_record import LakeEvent
from stakeline.lakes.motion_pattern import pattern_of
from stakeline.lakes.outline import ellipse_outline
from stakeline.time import from_calendar, gps_from_utc
from stakeline.workflows.altimetry_input import FOLDER, altimetry_points
from stakeline.workflows.altimetry_series import level_series
from stakeline.workflows.lakes_altimetry import lake_altimetry
from stakeline.workflows.lakes_altimetry_tables import altimetry_files
from stakeline.workflows.lakes_altimetry_words import altimetry_figures, altimetry_words

START_NS = gps_from_utc(from_calendar(2030, 5, 1))
CENTRE_M = np.array([-250_000.0, -1_150_000.0])
LAKE = ellipse_outline("Lower Halvard", tuple(CENTRE_M), (2000.0, 1500.0), epsg=3413)
PATTERN = pattern_of(LAKE, 2000.0)
ONSET_D, LENGTH_D, DROP_M = 130.0, 8.0, -2.0
DAYS = (0.0, 45.0, 91.0, 152.0, 200.0, 240.0)


def level_m(day):
    shape = np.full(np.shape(day), 2.0)
    return DROP_M * ramp((np.asarray(day) - ONSET_D) / LENGTH_D, shape, shape)


def lay_maps(folder, rng, noise_m=0.03):
    """Write maps of the change since the first day, on cells of 500 m."""
    x, y = (c + np.arange(-9000.0, 9001.0, 500.0) for c in CENTRE_M)
    place = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    share = PATTERN.base(place).reshape(len(y), len(x))
    sink = io.BytesIO()
    file = netcdf_file(sink, "w")
    for name, values in (("time", DAYS), ("y", y), ("x", x)):
        file.createDimension(name, len(values))
        variable = file.createVariable(name, "f8", (name,))
        variable[:] = values
        variable.units = "m" if name != "time" else "days since 2030-05-01"
    file.createVariable("polar", "i4", ()).spatial_epsg = np.int32(3413)
    change = level_m(DAYS)[:, None, None] * share + 0.001 * np.array(DAYS)[:, None, None]
    for name, values in (
        ("dh", change + rng.normal(0.0, noise_m, change.shape)),
        ("dh_sigma", 0.0 * change + noise_m),
    ):
        variable = file.createVariable(name, "f8", ("time", "y", "x"))
        variable[:] = values
        variable.units, variable.grid_mapping = "m", "polar"
    file.flush()
    (folder / "change.nc").write_bytes(sink.getvalue())


def series_text():
    rows = [
        f"{np.datetime64(int(START_NS + d * NS_PER_DAY), 'ns')},Lower Halvard,{v:.4f},0.05"
        for d, v in zip(DAYS, level_m(DAYS), strict=True)
    ]
    return "\n".join(["time_gps,lake,level_m,sigma_m", *rows]) + "\n"


@pytest.fixture
def campaign(tmp_path):
    create(tmp_path)
    (tmp_path / FOLDER).mkdir(parents=True)
    return open_campaign(tmp_path)


def worked_out(campaign):
    rng = np.random.default_rng(4)
    day = np.arange(0.0, 250.0)
    share = PATTERN.base(CENTRE_M)[0]
    up = share * level_m(day) + rng.normal(0.0, 0.01, len(day))
    time_ns = int(START_NS) + (day * NS_PER_DAY).astype(np.int64)
    station = StationUp("HV07", time_ns, up, np.full(250, 0.01))
    count, form = 50, np.full(50, 2.0)
    samples = (
        np.full(count, ONSET_D), np.full(count, LENGTH_D), form, form, np.full(count, DROP_M),
    )  # fmt: skip
    event = LakeEvent("Lower Halvard", "drain", int(START_NS), *samples, {}, 1.0, 0.0)
    altimetry = altimetry_points(campaign, 3413)
    return lake_altimetry(altimetry, LAKE, (station,), {"HV07": CENTRE_M}, (event,))


@pytest.mark.compiled
@pytest.mark.parametrize("kind", ["maps", "series"])
def test_one_source_alone_gives_agreement_curve_sighting_and_figures(campaign, kind):
    if kind == "maps":
        lay_maps(campaign.folder(FOLDER), np.random.default_rng(3))
    else:
        (campaign.folder(FOLDER) / "levels.csv").write_text(series_text(), encoding="utf-8")
    found = worked_out(campaign)
    assert found.first.source == kind
    assert abs(found.levels.change(2, 3)[0] - DROP_M) < 0.2
    agreement = found.first.agreements["HV07"]
    assert abs(agreement.slope - 1.0) < 3.0 * agreement.slope_sigma
    assert agreement.p_value > 0.01
    (seen,) = found.first.seen
    assert seen.verdict == "seen"
    assert seen.holds_onset
    curve = found.first.curve
    truth = level_m((curve.time_ns - int(START_NS)) / NS_PER_DAY)
    error = (curve.level_m - truth)[:249]
    assert np.std(error) < 0.1
    files = altimetry_files(found)
    assert {f"altimetry_{kind}.csv", "altimetry_summary.csv", "level_curve.csv",
            "satellite_alone.csv"} <= set(files)  # fmt: skip
    assert f"{kind}_alone_m" in files["level_curve.csv"].decode().splitlines()[0]
    assert sorted(altimetry_figures(found)) == ["altimetry_levels.svg", "satellite_alone.svg"]
    assert any(f"levels from {kind}" in line for line in altimetry_words(found))


@pytest.mark.compiled
def test_two_sources_stand_beside_each_other(campaign):
    lay_maps(campaign.folder(FOLDER), np.random.default_rng(3))
    (campaign.folder(FOLDER) / "levels.csv").write_text(series_text(), encoding="utf-8")
    found = worked_out(campaign)
    assert [side.source for side in found.sides] == ["maps", "series"]
    assert found.first.curve.sigma_m.min() > 0.0
    assert "level_curve_series.csv" in altimetry_files(found)
    assert any("stand by themselves" in note for note in found.notes)


def test_a_change_within_its_noise_is_told_as_not_seen(campaign):
    text = series_text().replace(",0.05\n", ",3.0\n")
    (campaign.folder(FOLDER) / "levels.csv").write_text(text, encoding="utf-8")
    words = "\n".join(altimetry_words(worked_out(campaign)))
    assert "by series alone, drain of 2030-09-08: not seen: -2.00 m to the next value" in words


SAID = """
lake_column = "name"
[time]
column = "year"
scale = "UTC"
written = "decimal years"
[level]
column = "inside"
less = "around"
unit = "cm"
kind = "{}"
"""


def told(tmp_path, kind, text):
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    (tmp_path / "a.toml").write_text(SAID.format(kind), encoding="utf-8")
    return level_series(path, read_altimetry_map(tmp_path / "a.toml"))


def test_foreign_series_are_levels_or_sums_of_changes(tmp_path):
    text = "name,year,inside,around\nA,2010.0,,1\nA,2010.5,30,10\nA,2011.0,50,10\nB,2010.0,7,0\n"
    one, other = told(tmp_path, "level", text)
    np.testing.assert_allclose(one.level_m, [np.nan, 0.2, 0.4])
    assert (one.lake, other.lake, other.level_m.tolist()) == ("A", "B", [0.07])
    assert "takes no part" in one.notes[0]
    one, _ = told(tmp_path, "change", text)
    np.testing.assert_allclose(one.level_m, [0.2, 0.6])
    with pytest.raises(FormatError, match="changes missing between"):
        told(tmp_path, "change", text.replace("A,2011.0", "A,2010.6,,10\nA,2011.0"))
    with pytest.raises(FormatError, match="times that do not rise"):
        told(tmp_path, "level", text.replace("2010.5", "2009.0"))


def test_a_series_says_its_lake_and_nothing_of_points(tmp_path):
    path = tmp_path / "a.toml"
    for odd in ("", 'lake = "A"\nlake_column = "b"\n'):
        path.write_text(odd + SAID.split("\n", 2)[2].format("level"), encoding="utf-8")
        with pytest.raises(SettingsError, match="one of the two"):
            read_altimetry_map(path)
