"""The part ``altimetry`` of the verb lakes: passes over a small campaign with a known draining."""

import csv
import re
import sys
from pathlib import Path

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.earth.projection import ARCTIC
from stakeline.formats.plain_table import write_plain_table
from stakeline.workflows import lakes
from stakeline.workflows.altimetry_input import FOLDER
from stakeline.workflows.invented_ground import DATUM

sys.path.append(str(Path(__file__).parent))
from lakes_campaign import CENTRE_M, ICE, RADIUS_M, START, course, make

DROP_M = 2.0
PASS_D = (5.0, 15.0, 25.0, 40.0, 50.0, 58.0)


def passes():
    """Return a table of passes: the disc sinks as a block, ground and snow around rise alike."""
    rng = np.random.default_rng(7)
    parts = []
    for k, day in enumerate(PASS_D):
        turn = (0.4, -0.5)[k % 2]
        ahead, across = np.meshgrid(np.arange(-7e3, 7e3, 100.0), (np.arange(4) - 1.5) * 1100.0)
        x = np.cos(turn) * ahead - np.sin(turn) * across
        y = np.sin(turn) * ahead + np.cos(turn) * across
        inside = np.hypot(x, y) < RADIUS_M
        height = 900.0 + 0.01 * x - DROP_M * course(day) * inside
        height += rng.normal(0.0, 0.06, x.shape)
        beam = np.broadcast_to(np.arange(4)[:, None], x.shape) + 4 * (k % 2)
        time_ns = np.full(x.size, START + int(day * NS_PER_DAY))
        place = ARCTIC.inverse(CENTRE_M[0] + x.ravel(), CENTRE_M[1] + y.ravel())
        latitude, longitude = (np.degrees(one) for one in place)
        cycle = np.full(x.size, k // 2 + 1)
        parts.append((time_ns, latitude, longitude, height.ravel(), beam.ravel(), cycle))
    names = ("time_gps", "latitude_deg", "longitude_deg", "height_m", "track", "cycle")
    columns = dict(zip(names, map(np.concatenate, zip(*parts, strict=True)), strict=True))
    columns["sigma_m"] = np.full(len(columns["time_gps"]), 0.06)
    return write_plain_table(columns, {"latitude_deg": 7, "longitude_deg": 7, "height_m": 3})


@pytest.fixture(scope="module")
def beside(tmp_path_factory):
    """A campaign with passes, its lakes worked out."""
    root = make(tmp_path_factory.mktemp("altimetry") / "trial", ICE, DROP_M)
    (root / FOLDER).mkdir(parents=True)
    (root / FOLDER / "passes.csv").write_bytes(passes())
    (root / FOLDER / "passes.toml").write_text(DATUM, encoding="utf-8")
    return root, lakes.run(root)


def table(root, name):
    with (root / "6-lakes" / "Upper_Halvard" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.compiled
def test_passes_and_stations_agree_though_all_stations_rise(beside):
    # all stations rise by 4 mm/d against the map, passes are told from the ground around them:
    # only with the controls taken off do both tell the same; law, no source
    root, said = beside
    assert not said.problems
    assert "altimetry of 1 lakes" in said.done
    rows = table(root, "altimetry_summary.csv")
    assert {row["station"] for row in rows} <= {"HV02", "HV03"}
    for row in rows:
        assert abs(float(row["slope"]) - 1.0) < 3.0 * float(row["slope_sigma"]) + 0.1
    level = np.array([float(row["level_m"]) for row in table(root, "altimetry_levels.csv")])
    # a block with a sharp margin is not the smooth pattern of bent ice: a fifth less at most
    assert -1.05 * DROP_M < level[-1] - level[0] < -0.8 * DROP_M
    words = (root / "6-lakes" / "Upper_Halvard" / "altimetry.txt").read_text(encoding="utf-8")
    assert "by the satellite alone, drain of 2031-05-3" in words
    assert "stations: taken off: mean of HV04" in words
    assert "datum of the passes: heights above the ellipsoid; tide-free; frame IGS20" in words
    assert "not said" not in words


@pytest.mark.compiled
def test_stations_and_passes_give_one_volume(beside):
    root, said = beside
    (row,) = table(root, "volume_together.csv")
    assert (row["verdict"], row["passes"], row["why"]) == ("agree", "6", "")
    area_m2 = np.pi * RADIUS_M**2 / ARCTIC.point_scale(np.radians(79.2)) ** 2
    low, high = (float(row[f"volume_m3_together_{word}"]) for word in ("low", "high"))
    assert low < DROP_M * area_m2 < high
    alone = [float(row[f"volume_m3_stations_{word}"]) for word in ("low", "high")]
    assert high - low < alone[1] - alone[0]
    assert float(row["p_value"]) > 0.01
    sentence = "Upper Halvard, drain of 2031-05-3"
    assert sentence in said.text
    assert "by stations and passes: mean of the surface -" in said.text
    assert " together" in (root / "6-lakes" / "Upper_Halvard" / "altimetry.txt").read_text()


@pytest.mark.compiled
def test_tracks_by_a_station_are_told_and_drawn(beside):
    root, _ = beside
    rows = table(root, "altimetry_overflights.csv")
    # beams lie 550 and 1650 m to either side of the lake's middle, where HV02 stands
    middle = [float(row["distance_m"]) for row in rows if row["station"] == "HV02"]
    assert len(middle) == 2 * len(PASS_D)
    assert middle == pytest.approx([550.0] * len(middle), rel=0.1)
    words = (root / "6-lakes" / "Upper_Halvard" / "altimetry.txt").read_text(encoding="utf-8")
    assert re.search(r"HV02: track 1 passes at 5\d\d m, 3 times, usually every \d+ d, last", words)
    assert (root / "6-lakes" / "figures" / "Upper_Halvard_altimetry_map.svg").is_file()


@pytest.mark.compiled
def test_a_second_run_leaves_altimetry_and_a_new_pass_does_not(beside):
    root, _ = beside
    assert "altimetry of 1 lakes" in lakes.run(root).up_to_date
    path = root / FOLDER / "passes.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(lines[:-20]), encoding="utf-8")
    again = lakes.run(root)
    assert "altimetry of 1 lakes" in again.done
    assert "1 lakes" in again.up_to_date
