"""What stands around a station reaches the verb: surface grids, pressure, the log of the pole."""

import json

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.history import read_history
from stakeline.campaign.motion_settings import MotionPart, MotionStation
from stakeline.campaign.store import read_table
from stakeline.constants import NS_PER_DAY
from stakeline.earth.ellipsoid import xyz_from_enu, xyz_from_geodetic
from stakeline.earth.projection import ARCTIC
from stakeline.errors import SettingsError
from stakeline.formats.grids import Grids, write_grids
from stakeline.formats.plain_table import parse_plain_table, write_plain_table
from stakeline.time import from_iso, gps_from_utc, utc_from_gps
from stakeline.workflows import motion, position_campaign
from stakeline.workflows.motion import motion_settings
from stakeline.workflows.motion_around import (
    around_files,
    pole_visits,
    pressure_of,
    surface_grids,
    surroundings,
)

START = int(gps_from_utc(from_iso("2031-05-01")))
PLACE = np.radians(79.0), np.radians(17.0), 500.0
X_M, Y_M = ARCTIC.forward(*PLACE[:2])
TIME = START + np.arange(24 * 13) * (NS_PER_DAY // 24)
DAYS = (TIME - START) / NS_PER_DAY
SLOPE = -0.03  # by metre of map, towards its x
PRESSURE_HPA = 985.0 + 12.0 * np.sin(2.0 * np.pi * DAYS / 4.3) + 7.0 * np.sin(2.3 * DAYS)
VISIT_NS = START + 7 * NS_PER_DAY
WANDER_M, POLE_M = 0.5, 2.5


def plane_file(slope=SLOPE, step_m=100.0):
    """Return the bytes of a grid whose surface falls along the map's x."""
    side = np.arange(-3000.0, 3001.0, step_m)
    height = 500.0 + slope * np.tile(side, (side.size, 1))
    return write_grids(Grids(X_M + side, Y_M + side, 3413, {"surface": height}, {}, {}))


def pressure_file(unit="hPa", scale=1.0):
    columns = {"time_utc": utc_from_gps(TIME), f"pressure_{unit}": scale * PRESSURE_HPA}
    return write_plain_table(columns, {f"pressure_{unit}": 4})


def positions_file():
    """Return ice that moves 1.2 m/d along the map's x, floats, and has a pole that leant."""
    turn, scale = ARCTIC.convergence(PLACE[1]), ARCTIC.point_scale(PLACE[0])
    travel = 1.2 * DAYS + 0.3 * np.sin(DAYS / 3.0)
    east, north = travel * np.cos(turn), travel * np.sin(turn)
    up = SLOPE * scale * travel - 0.01 * (PRESSURE_HPA - PRESSURE_HPA.mean())
    after = TIME > VISIT_NS
    lost = POLE_M - np.sqrt(POLE_M**2 - WANDER_M**2)
    east = east - WANDER_M * after  # it had leant to the east
    enu = np.stack([east, north + 0.3 * after, up + (0.4 + lost) * after], axis=1)
    enu += np.random.default_rng(1).normal(0.0, 0.003, enu.shape)
    xyz = xyz_from_geodetic(*PLACE) + xyz_from_enu(enu, *PLACE[:2])
    columns = {"time_gps": TIME} | {f"{a}_m": xyz[:, k] for k, a in enumerate("xyz")}
    columns |= {f"sigma_{a}_m": np.full(len(TIME), 0.003) for a in ("east", "north", "up")}
    return write_plain_table(columns, dict.fromkeys(columns, 4))


def leaning(histories):
    """Return the history of a pole that was set upright and moved north on one visit."""
    visit = histories.visit("2031-05-08T00:00:00", measured_m=2.9, north=0.3, up=0.4)
    return histories.set_up("HV05", POLE_M) + visit


def make(root, histories, station="", part=""):
    """Make a campaign of one station with a grid, its pressure and its history."""
    create(root)
    (root / "stations" / "HV01.toml").unlink()
    (root / "stations" / "HV05.toml").write_text(leaning(histories), encoding="utf-8")
    for path, data in (
        ("maps/plane.nc", plane_file()),
        ("0-raw/weather/HB01.csv", pressure_file()),
        ("0-raw/positions/HV05.csv", positions_file()),
    ):
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_bytes(data)
    write_settings(root, station, part)
    return root


def write_settings(root, station="", part=""):
    (root / "campaign.toml").write_text(
        '[campaign]\nname = "Trial"\n[[station]]\nname = "HV05"\n'
        'positions = ["0-raw/positions/HV05.csv"]\n'
        f"[motion]\nlikelihood_rows = 300\nwindow_d = [1.0]\nfind_steps = false\n{part}"
        f'[[motion.station]]\nname = "HV05"\n{station}',
        encoding="utf-8",
    )


AFLOAT = "barometer_share = 1.0\n"


@pytest.fixture(scope="module")
def finished(tmp_path_factory, histories):
    root = make(tmp_path_factory.mktemp("around") / "trial", histories, AFLOAT)
    assert position_campaign.run(root).problems == ()
    assert motion.run(root).problems == ()
    return root


def told(root):
    path = root / "5-motion/HV05/HV05_summary.json"
    return json.loads(path.read_text(encoding="utf-8"))


@pytest.mark.compiled
def test_the_grid_is_the_slope_and_stands_beside_the_others(finished):
    slope = told(finished)["slope"]
    assert (slope["source"], slope["grid"]) == ("grid", "maps/plane.nc")
    by_source = {row["source"]: row for row in slope["residual_by_source"]}
    assert list(by_source) == ["none", "grid", "own path"]
    true = SLOPE * ARCTIC.point_scale(PLACE[0])  # by true metre of travel
    assert by_source["grid"]["slope"] == pytest.approx(true, rel=1e-3)
    budget, _ = read_table(finished / "5-motion/HV05/HV05_budget.parquet")
    names = ("antenna_m", "tide_m", "inverse_barometer_m", "slope_m", "residual_m")
    total = sum(budget[name] for name in names)
    np.testing.assert_allclose(total, budget["measured_m"], atol=1e-12)
    assert np.nanstd(budget["residual_m"]) < 0.006  # noise of 3 mm; a slope of 30 m was in it
    words = (finished / "5-motion/summary.txt").read_text(encoding="utf-8")
    assert "rise left by source of the slope (grid maps/plane.nc is used): none" in words


@pytest.mark.compiled
def test_the_pressure_is_a_term_and_heights_agree(finished):
    budget, _ = read_table(finished / "5-motion/HV05/HV05_budget.parquet")
    expected = -0.01 * (PRESSURE_HPA - PRESSURE_HPA.mean())
    at = np.interp(budget["time_gps"].astype("datetime64[ns]").view(np.int64), TIME, expected)
    np.testing.assert_allclose(budget["inverse_barometer_m"], at, atol=2e-4)  # 0.0001 hPa, mean
    (said,) = [w for w in told(finished)["warnings"] if "barometer" in w]
    assert "given is 1.00" in said
    assert "contradict" not in said


@pytest.mark.compiled
def test_the_pole_that_leant_is_said_once(finished):
    (lean,) = told(finished)["leans"]
    assert lean["wander_m"] == pytest.approx(WANDER_M, abs=0.02)
    assert lean["toward_deg"] == pytest.approx(90.0, abs=3.0)
    assert lean["seen_m"] == pytest.approx(lean["loss_m"], abs=0.02)
    words = (finished / "5-motion/summary.txt").read_text(encoding="utf-8")
    assert words.count("the pole leant when it was set anew on 2031-05-08T00:00:18") == 1


@pytest.mark.compiled
def test_another_grid_puts_results_out_of_date(finished):
    grid = finished / "maps/plane.nc"
    before = grid.read_bytes()
    assert motion.run(finished).done == ()
    grid.write_bytes(plane_file(2.0 * SLOPE))
    assert motion.run(finished).done[0] == "1 stations"
    by_source = {r["source"]: r for r in told(finished)["slope"]["residual_by_source"]}
    twice = 2.0 * SLOPE * ARCTIC.point_scale(PLACE[0])
    assert by_source["grid"]["slope"] == pytest.approx(twice, rel=1e-3)
    grid.write_bytes(before)


@pytest.mark.compiled
def test_a_grid_that_does_not_cover_is_said_and_the_own_path_taken(tmp_path, histories):
    root = make(tmp_path / "trial", histories)
    side = np.arange(-3000.0, 3001.0, 200.0)
    height = np.zeros((side.size, side.size))
    height[14:17, 14:17] = np.nan
    holed = Grids(X_M + side, Y_M + side, 3413, {"surface": height}, {}, {})
    (root / "maps/plane.nc").write_bytes(write_grids(holed))
    (root / "maps/bad.nc").write_bytes(b"CDF\x01 damaged")
    assert position_campaign.run(root).problems == ()
    motion.run(root)
    found = told(root)
    assert found["slope"]["source"] == "own path"
    assert found["slope"]["grid"] == ""
    (said,) = [w for w in found["warnings"] if "slope of a grid" in w]
    assert "maps/plane.nc: the surface has holes within reach of 100 %" in said
    assert said.endswith("the own path is taken")
    assert any("maps/bad.nc is left aside" in note for note in found["notes"])


def test_given_before_grid_before_own_path():
    part = MotionPart(slope_source="grid", station=(
        MotionStation(name="HV01", slope=-0.01, slope_source="given"),
        MotionStation(name="HV02", slope_source="none"),
    ))  # fmt: skip
    sources = [motion_settings(part, name).slope_source for name in ("HV01", "HV02", "HV03")]
    assert sources == ["given", "none", "grid"]
    assert motion_settings(MotionPart(), "HV03").slope_source == "automatic"


@pytest.mark.parametrize(
    ("station", "part", "said"),
    [
        ('slope_source = "given"\n', "", "give the slope, negative downhill"),
        ("", 'slope_source = "given"\n', r"write it, with the slope, into \[\[motion.station\]\]"),
        ('slope_source = "map"\n', "", "slope_source"),
        ("barometer_share = 1.5\n", "", "barometer_share"),
    ],
)
def test_impossible_settings_are_refused(tmp_path, histories, station, part, said):
    root = make(tmp_path / "trial", histories, station, part)
    with pytest.raises(SettingsError, match=said):
        open_campaign(root)


def test_the_table_of_pressure_is_named_or_the_only_one(tmp_path, histories):
    root = make(tmp_path / "trial", histories, AFLOAT)
    only, own = root / "0-raw/weather/HB01.csv", root / "0-raw/weather/HV05.csv"
    grid = root / "maps/plane.nc"
    assert around_files(open_campaign(root), "HV05") == [grid, only]
    own.write_bytes(pressure_file("kPa", 0.1))
    assert around_files(open_campaign(root), "HV05") == [grid, own]
    air = surroundings(open_campaign(root), "HV05").air
    np.testing.assert_allclose(air.pressure_hPa, PRESSURE_HPA, atol=1e-3)
    np.testing.assert_array_equal(air.time_ns, TIME)
    own.rename(own.with_name("HV06.csv"))
    around = surroundings(open_campaign(root), "HV05")
    assert around.air is None
    assert "2 tables in 0-raw/weather and none of HV05" in around.notes[0]
    write_settings(root, AFLOAT, 'pressure = "0-raw/weather/HB01.csv"\n')
    assert around_files(open_campaign(root), "HV05") == [grid, only]
    write_settings(root, AFLOAT + 'pressure = "0-raw/weather/HV99.csv"\n')
    with pytest.raises(SettingsError, match=r"HV99\.csv': there is no such file in the campaign"):
        around_files(open_campaign(root), "HV05")
    write_settings(root)
    assert around_files(open_campaign(root), "HV05") == [grid]
    assert surroundings(open_campaign(root), "HV05").air is None


@pytest.mark.parametrize(
    "text",
    [
        b"time_utc,wind_m_s\n2031-05-01T00:00:00Z,3.0\n",  # no pressure
        b"time,pressure_hPa\n2031-05-01T00:00:00,990.0\n",  # no scale of the time
        b"time_utc,battery_pressure_psi\n2031-05-01T00:00:00Z,14.0\n",
    ],
)
def test_a_table_without_pressure_is_a_sentence(text):
    with pytest.raises(SettingsError, match=r"w\.csv: found columns .* expected time_utc or"):
        pressure_of(parse_plain_table(text, "w.csv"), "w.csv")


def test_grids_without_surface_are_no_surface(tmp_path, histories):
    root = make(tmp_path / "trial", histories)
    side = np.arange(-300.0, 301.0, 100.0)
    bed = Grids(X_M + side, Y_M + side, 3413, {"bed": np.zeros((7, 7))}, {}, {})
    (root / "maps/bed.nc").write_bytes(write_grids(bed))
    grids, notes = surface_grids(open_campaign(root))
    assert [grid.name for grid in grids] == ["maps/plane.nc"]
    assert notes == ()


def test_visits_of_a_history(tmp_path, histories):
    path = tmp_path / "HV05.toml"
    path.write_text(leaning(histories), encoding="utf-8")
    first, second = pole_visits(read_history(path))
    assert (first.pole_m, first.moved_m) == (pytest.approx(POLE_M), None)
    assert (second.pole_m, second.moved_m) == (pytest.approx(2.9), (0.0, 0.3, 0.4))
    assert second.time_ns == VISIT_NS
    assert pole_visits(None) == ()
