"""Height of the surface at a station by passes of another datum: the bias that was put in."""

import csv
import io
import sys
from pathlib import Path

import numpy as np
import pytest

from stakeline.campaign.folders import open_campaign
from stakeline.campaign.store import parquet_bytes
from stakeline.constants import NS_PER_DAY
from stakeline.earth.projection import ARCTIC
from stakeline.formats.plain_table import write_plain_table
from stakeline.lakes.datum import crust_mean_minus_free_m
from stakeline.workflows.altimetry_input import FOLDER, altimetry_points
from stakeline.workflows.lakes_altimetry_heights import (
    heights_files,
    heights_words,
    station_heights,
)
from stakeline.workflows.lakes_ground import lake_outlines

sys.path.append(str(Path(__file__).parent))
from lakes_campaign import CENTRE_M, START, make

BIAS_M, SNOW_M, GEOID_M, RISE = 0.12, 0.30, 30.0, 0.01
DATUM = '[datum]\nheight_above = "geoid"\ntide_system = "mean-tide"\nframe = "ITRF2014"\n'
DAYS = (4.0, 12.0, 24.0, 35.0, 50.0)


def passes(bias_m=BIAS_M):
    """Return a table of passes above the geoid; the surface lies SNOW_M above HV02's marker."""
    rng, parts = np.random.default_rng(8), []
    for k, day in enumerate(DAYS):
        along, across = np.meshgrid(np.arange(-900.0, 900.0, 50.0), (-300.0, 0.0, 300.0))
        x = along.ravel() + CENTRE_M[0] + 40.0 * k
        y = across.ravel() + CENTRE_M[1]
        latitude, longitude = ARCTIC.inverse(x, y)
        at_station = CENTRE_M[0] + 0.5 * day  # it moves by 0.5 m of the map a day
        height = 900.0 + SNOW_M + RISE * (x - at_station) / 0.98 + bias_m - GEOID_M
        height += crust_mean_minus_free_m(latitude) + rng.normal(0.0, 0.03, x.size)
        time_ns = np.full(x.size, START + int(day * NS_PER_DAY))
        parts.append((time_ns, np.degrees(latitude), np.degrees(longitude), height))
    names = ("time_gps", "latitude_deg", "longitude_deg", "height_m")
    table = dict(zip(names, map(np.concatenate, zip(*parts, strict=True)), strict=True))
    count = len(table["time_gps"])
    table |= {"sigma_m": np.full(count, 0.03), "geoid_m": np.full(count, GEOID_M)}
    table["cycle"] = np.repeat(np.arange(len(DAYS)), count // len(DAYS))
    return write_plain_table(table, {"latitude_deg": 8, "longitude_deg": 8, "height_m": 4})


@pytest.fixture
def campaign(tmp_path):
    root = make(tmp_path / "trial", stations=("HV02",))
    (root / FOLDER).mkdir(parents=True)
    (root / FOLDER / "passes.csv").write_bytes(passes())
    (root / FOLDER / "passes.toml").write_text(DATUM, encoding="utf-8")
    return open_campaign(root)


def lay_snow(campaign):
    day = np.arange(0.0, 60.0, 5.0)
    time = (START + (day * NS_PER_DAY).astype(np.int64)).view("datetime64[ns]")
    table = {"time_gps": time, "snow_above_marker_m": np.full(12, SNOW_M)}
    table["sigma_m"] = np.full(12, 0.02)
    path = campaign.folder("4-position") / "HV02" / "HV02_snow.parquet"
    path.write_bytes(parquet_bytes(table, {}, {}))


def heights(campaign):
    ground = lake_outlines(campaign)
    altimetry = altimetry_points(campaign, ground.epsg)
    (outline, *_) = ground.lakes["Upper Halvard"]
    return station_heights(campaign, outline, altimetry)


def test_datum_slope_and_snow_leave_the_bias(campaign):
    lay_snow(campaign)
    (found,), notes = heights(campaign)
    assert notes == ()
    low, high = found.bias.interval_m
    assert low < BIAS_M < high
    assert high - low < 0.1
    sizes = {term: size for term, _, size, *_ in found.budget}
    assert sizes["geoid to ellipsoid"] == pytest.approx(GEOID_M, abs=1e-6)
    # tide-free is higher at 79 N by as much: IERS Conventions (2010), equation 7.14a
    assert sizes["permanent tide"] == pytest.approx(-crust_mean_minus_free_m(np.radians(79.2)),
                                                    abs=2e-3)  # fmt: skip
    assert sizes["snow above the marker"] == pytest.approx(SNOW_M)
    assert sizes["height of the marker"] == pytest.approx(900.0, abs=1e-3)
    assert sizes["slope and bend"] > 0.05  # no small one beside the bias
    words = "\n".join(heights_words((found,)))
    assert "passes minus station +0.1" in words
    assert "ITRF2014" in words


def test_without_snow_heights_the_interval_with_what_is_common_is_wide(campaign):
    (found,), _ = heights(campaign)
    assert found.bias.bias_m == pytest.approx(BIAS_M + SNOW_M, abs=0.03)
    assert np.ptp(found.bias.whole_m) > 1.9  # 2 x 1.96 x 0.5 m of snow that nobody saw
    tables = heights_files((found,))
    (row,) = csv.DictReader(io.StringIO(tables["altimetry_bias.csv"].decode()))
    assert float(row["bias_m"]) == pytest.approx(found.bias.bias_m, abs=1e-4)
    rows = list(csv.DictReader(io.StringIO(tables["altimetry_heights.csv"].decode())))
    assert len(rows) == len(DAYS)


def test_a_datum_that_is_not_said_gives_no_heights(campaign):
    (campaign.folder(FOLDER) / "passes.toml").unlink()
    found, notes = heights(campaign)
    assert found == ()
    assert "does not say its height_above and tide_system" in notes[0]
