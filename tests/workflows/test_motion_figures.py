"""Figures from tables of motion: all of them, only once, gone with their station."""

import csv

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.store import json_text, parquet_bytes, write_bytes, write_text
from stakeline.constants import NS_PER_DAY
from stakeline.formats.grids.netcdf import Grids, write_grids
from stakeline.formats.outlines import Outline, write_outlines
from stakeline.formats.plain_table import write_plain_table
from stakeline.workflows.motion_admittance import admittance_csv
from stakeline.workflows.motion_coherence import coherence_csv, coherence_rows
from stakeline.workflows.motion_figures import FIGURES, draw_motion
from stakeline.workflows.motion_ground import map_sheet
from stakeline.workflows.motion_network_figures import coherence_bands, flow_map, tides_along
from stakeline.workflows.motion_results import csv_rows, station_results
from stakeline.workflows.motion_station_figures import height_budget, marks_of, windows_of

HOURS = 24 * 70
BEGIN = 1_920_000_000 * 10**9 // (NS_PER_DAY // 24) * (NS_PER_DAY // 24)
TIME = BEGIN + np.arange(HOURS) * (NS_PER_DAY // 24)
PLACES = {"HV01": (79.17, -23.4), "HV02": (79.13, -23.0), "HV03": (79.18, -22.7)}
SPEEDS = {"HV01": 0.4, "HV02": 0.5, "HV03": 0.7}


def stamp(time_ns):
    return np.asarray(time_ns, np.int64).view("datetime64[ns]")


def motion_columns(speed):
    rng = np.random.default_rng(5)
    days = (TIME - BEGIN) / NS_PER_DAY
    small = np.full(HOURS, 1e-3)
    columns = {"time_gps": stamp(TIME)}
    for axis, rate in (("along", speed), ("across", 0.0), ("up", -0.01)):
        columns[f"{axis}_m"] = rate * days
        columns[f"{axis}_sigma_m"] = small
    causal_sigma = np.where(days < 1.0, 1.0, 2e-3)
    columns |= {"speed_m_d": np.full(HOURS, speed), "speed_sigma_m_d": small}
    columns |= {"causal_speed_m_d": np.where(days < 1.0, 9.0, speed)}
    columns |= {"causal_speed_sigma_m_d": causal_sigma, "azimuth_deg": np.full(HOURS, 90.0)}
    columns |= {"residual_up_m": 0.0 * days, "residual_up_sigma_m": small}
    columns["residual_up_unsmoothed_m"] = rng.normal(0.0, 0.01, HOURS)
    for name in columns:
        if name != "time_gps":
            columns[name][300:400] = np.nan
    return columns


def window_columns(speed):
    start = BEGIN + np.arange(70) * NS_PER_DAY
    return {
        "window_d": np.repeat([1.0, 7.0], 70), "axis": np.full(140, "along", object),
        "start_gps": stamp(np.tile(start, 2)), "end_gps": stamp(np.tile(start + NS_PER_DAY, 2)),
        "velocity_m_d": np.full(140, speed), "velocity_sigma_m_d": np.full(140, 0.01),
    }  # fmt: skip


def budget_columns():
    days = (TIME - BEGIN) / NS_PER_DAY
    slope, residual = -0.01 * days, 0.002 * np.sin(days)
    sigma = np.full(HOURS, 1e-3)
    return {
        "time_gps": stamp(TIME), "measured_m": slope + residual, "slope_m": slope,
        "slope_sigma_m": sigma, "residual_m": residual, "residual_own_sigma_m": sigma,
        "residual_sigma_m": sigma,
    }  # fmt: skip


def tides_csv(up_mm, along_mm):
    rows = [("along", "M2", along_mm), ("along", "K1", 0.3 * along_mm)]
    rows += [("up", "M2", up_mm), ("up", "K1", 0.3 * up_mm)]
    return write_plain_table(
        {
            "axis": [axis for axis, *_ in rows], "constituent": [name for _, name, _ in rows],
            "amplitude_m": np.array([1e-3 * a for *_, a in rows]),
            "amplitude_sigma_m": np.full(4, 2e-4), "greenwich_lag_deg": np.array([40.0] * 4),
            "greenwich_lag_sigma_deg": np.full(4, 5.0), "inferred_from": [""] * 4,
            "by_geometry": ["yes" if name == "K1" else "" for _, name, _ in rows],
        },
        {"amplitude_m": 5, "amplitude_sigma_m": 5},
    )  # fmt: skip


def steps_csv():
    at = np.array([BEGIN + 10 * NS_PER_DAY, BEGIN + 20 * NS_PER_DAY, BEGIN + 25 * NS_PER_DAY])
    return write_plain_table(
        {
            "before_gps": at, "after_gps": at + NS_PER_DAY // 24,
            "kind": ["equipment", "slip", "undecided"], "logged": ["yes", "no", "no"],
            "removed": ["yes", "no", "no"],
        }
    )  # fmt: skip


def summary():
    axis = {
        "resolution_d": 2.0, "causal_lag_d": 1.0,
        "noise": {"white_scale": 1.0, "coloured_sigma_m": [0.005], "coloured_memory_d": [0.2],
                  "acceleration_m2_d3": 1e-4},
    }  # fmt: skip
    return {
        "interval_h": 1.0,
        "formal_sigma_m": [0.005] * 3,
        "axes": {"along": axis, "across": axis, "up": axis},
    }


def position_columns(name):
    count = 50
    columns = {"time_gps": stamp(TIME[:count]), "station": np.full(count, name, object)}
    columns |= {f"{axis}_m": np.full(count, 1e6) for axis in "xyz"}
    columns |= {f"sigma_{axis}_m": np.full(count, 0.005) for axis in ("east", "north", "up")}
    columns |= {f"corr_{pair}": np.zeros(count) for pair in ("en", "eu", "nu")}
    columns |= {"latitude_deg": np.full(count, 79.0), "longitude_deg": np.full(count, -23.0)}
    columns |= {"height_m": np.zeros(count), "satellites": np.full(count, 10, np.int16)}
    return columns | {"state": np.full(count, "imported", object)}


def put_station(root, name):
    speed = SPEEDS[name]
    latitude, longitude = PLACES[name]
    told = {"latitude_deg": latitude, "longitude_deg": longitude, "mean_speed_m_d": speed,
            "mean_speed_sigma_m_d": 1e-3}  # fmt: skip
    folder = root / "5-motion" / name
    tables = {"motion": motion_columns(speed), "windows": window_columns(speed),
              "budget": budget_columns()}  # fmt: skip
    for end, columns in tables.items():
        write_bytes(folder / f"{name}_{end}.parquet", parquet_bytes(columns, {}, told))
    up_mm = 400.0 if name == "HV03" else 3.0
    write_bytes(folder / f"{name}_tides.csv", tides_csv(up_mm, 1e2 * speed))
    write_bytes(folder / f"{name}_steps.csv", steps_csv())
    write_text(folder / f"{name}_summary.json", json_text(summary()))
    imported = root / "4-position" / name / f"{name}_imported.parquet"
    write_bytes(imported, parquet_bytes(position_columns(name), {}, {}))


def put_together(root, names):
    days = BEGIN + np.arange(70) * NS_PER_DAY
    count = len(names)
    network = {
        "time_gps": stamp(np.tile(days, count)), "station": np.repeat(np.array(names, object), 70),
        "anomaly_percent": np.tile(np.sin(np.arange(70.0)), count),
        "anomaly_sigma_percent": np.full(70 * count, 0.5),
    }  # fmt: skip
    write_bytes(root / "5-motion" / "network.parquet", parquet_bytes(network, {}, {}))
    drawn = np.random.default_rng(3).normal(0.0, 0.01, HOURS)
    speeds = {name: (TIME, np.roll(drawn, 5 * k)) for k, name in enumerate(names)}
    pairs = coherence_rows(speeds, dict.fromkeys(names, (4.0, 1.5)))
    write_bytes(root / "5-motion" / "coherence.csv", coherence_csv(pairs))
    if count == 3:
        values = {"exx": 2e-3, "eyy": -1e-3, "exy": 0.0, "larger": 2e-3, "smaller": -1e-3}
        strain = {"time_gps": stamp(days), "stations": np.full(70, "-".join(names), object)}
        strain |= {f"{key}_per_a": np.full(70, value) for key, value in values.items()}
        strain |= {f"{key}_sigma_per_a": np.full(70, 1e-4) for key in values}
        write_bytes(root / "5-motion" / "strain.parquet", parquet_bytes(strain, {}, {}))


def put_maps(root):
    x, y = np.arange(4.1e5, 4.7e5, 2e3), np.arange(-1.12e6, -1.07e6, 2e3)
    surface = 1000.0 - 0.01 * (x - x[0]) + 0.0 * y[:, None]
    grids = Grids(x, y, 3413, {"surface": surface}, {"surface": "m"})
    write_bytes(root / "maps" / "halvard.nc", write_grids(grids))
    ring = np.array([[-23.1, 79.16], [-22.9, 79.16], [-22.9, 79.19], [-23.1, 79.16]])
    write_bytes(root / "maps" / "lakes.geojson", write_outlines([Outline("Upper", ring)]))


@pytest.fixture
def invented(tmp_path):
    """Give a function that makes a campaign of some stations with results of motion."""

    def make(names):
        create(tmp_path)
        stations = "".join(f'\n[[station]]\nname = "{name}"\n' for name in names)
        write_text(tmp_path / "campaign.toml", '[campaign]\nname = "Halvard"\n' + stations)
        for path in (tmp_path / "stations").glob("*.toml"):
            path.unlink()
        for name in names:
            put_station(tmp_path, name)
        put_together(tmp_path, names)
        put_maps(tmp_path)
        return open_campaign(tmp_path)

    return make


def drawn(campaign):
    return {path.stem: path.read_bytes() for path in campaign.folder(FIGURES).glob("*.svg")}


def test_every_figure_is_drawn_once_and_again_the_same(invented):
    campaign = invented(list(PLACES))
    first = draw_motion(campaign)
    own = ("displacement", "height", "responses", "spectrum", "speed", "tides")
    wanted = {f"{name}_{figure}" for name in PLACES for figure in own}
    wanted |= {"map", "strain", "anomaly", "admittance", "coherence"}
    before = drawn(campaign)
    assert (first.problems, set(before)) == ((), wanted)
    assert draw_motion(campaign).current == (*PLACES, "all")
    (campaign.folder(FIGURES) / "map.svg").unlink()
    (campaign.folder(FIGURES) / "HV01_speed.svg").unlink()
    again = draw_motion(campaign)
    assert set(again.done) == {"HV01", "all"}
    assert drawn(campaign) == before


def test_one_station_is_enough(invented):
    campaign = invented(["HV02"])
    assert draw_motion(campaign).problems == ()
    assert {"map", "anomaly", "HV02_speed"} <= set(drawn(campaign))
    assert "strain" not in drawn(campaign)


def test_no_results_no_figures(invented):
    campaign = invented([])
    assert draw_motion(campaign) == type(draw_motion(campaign))()
    assert drawn(campaign) == {}


def test_figures_go_with_their_station(invented):
    campaign = invented(["HV01"])
    draw_motion(campaign)
    (campaign.root / "5-motion" / "HV01" / "HV01_motion.parquet").unlink()
    draw_motion(campaign)
    assert drawn(campaign) == {}


def test_steps_slips_and_their_times(invented):
    (result,) = station_results(invented(["HV01"]))
    marks = marks_of(result, None)
    assert marks.kind == ("step", "slip")  # what is undecided is not marked
    assert marks.time_ns[0] == BEGIN + 10 * NS_PER_DAY + NS_PER_DAY // 48


def test_the_height_budget_closes_and_holds_every_term(invented):
    (result,) = station_results(invented(["HV01"]))
    budget = height_budget(result, marks_of(result, None), 1.0)
    assert [term.name for term in budget.terms] == ["measured", "slope"]
    assert budget.note.endswith("to rounding.")
    assert budget.terms[1].total == "first to last \N{MINUS SIGN}70.0 cm"  # 1 cm a day, 69.96 d


def test_windows_are_the_shortest_that_are_few_enough(invented):
    (result,) = station_results(invented(["HV01"]))
    (start, *_), name = windows_of(result)
    assert (len(start), name) == (70, "windows of 1 d, 95 %")


def test_arrows_point_east_of_true_north_on_the_map(invented):
    """At 23 W on a map whose upright meridian is 45 W, east points up by 22 deg (IOGP 373-7-2)."""
    campaign = invented(["HV02"])
    results = station_results(campaign)
    sheet = map_sheet(campaign, results[0].latitude_rad)
    record = flow_map(results, sheet, "")
    assert np.degrees(np.arctan2(*record.flow_m_d[0][::-1])) == pytest.approx(45.0 - 23.0)
    assert np.degrees(record.north_rad) == pytest.approx(-22.0)
    assert np.hypot(*record.flow_m_d[0]) == pytest.approx(0.5)  # a true speed, not one of the map


def test_admittance_is_the_quotient_with_the_sea(invented):
    results = station_results(invented(list(PLACES)))
    record = tides_along(results, np.array([0.0, 5.0, 10.0]))
    assert record.names == ("M2", "K1")
    np.testing.assert_allclose(record.gain[0], [100.0, 125.0, 175.0], rtol=1e-6)  # mm/m
    np.testing.assert_allclose(record.lag_deg[0], 0.0, atol=1e-9)
    np.testing.assert_allclose(record.distance_km, [10.0, 5.0, 0.0])


def test_coherence_is_drawn_by_the_flow_and_only_where_it_is_resolved(invented):
    campaign = invented(list(PLACES))
    results = station_results(campaign)
    rows = csv_rows(campaign.folder("5-motion") / "coherence.csv")
    assert {row["resolved"] for row in rows if row["band"] in ("half a day", "a day")} == {"no"}
    assert {row["resolved"] for row in rows if row["band"] == "days"} == {"in restless parts"}
    assert {row["resolved"] for row in rows if row["band"] == "weeks"} == {"yes"}
    bands = coherence_bands(results, np.array([10.0, 5.0, 0.0]), rows)
    assert [band.title[:4] for band in bands] == ["days", "week"]
    np.testing.assert_allclose(bands[0].apart_km, [5.0, 10.0, 5.0])
    # HV02 is 5 h later than HV01, HV03 another 5; the flow runs from HV03 to HV01 here
    np.testing.assert_allclose(bands[0].lag_h, [-5.0, -10.0, -5.0], atol=0.5)


def test_admittance_is_a_table_with_sigmas_and_reasons(invented):
    results = station_results(invented(list(PLACES)))
    text = admittance_csv({r.station: r.tides for r in results}).decode("utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    of = {(r["station"], r["axis"], r["constituent"]): r for r in rows}
    assert len(of) == len(rows) == 10  # two constituents, five axes: not the sea's own up
    assert {row["cause"] for row in rows} == {"up tide of HV03"}
    m2 = of["HV02", "along", "M2"]
    assert float(m2["gain"]) == pytest.approx(0.125, rel=1e-4)
    # 50 +- 0.2 mm over 400 +- 0.2 mm, and 5 deg twice: sums of squares of relative errors
    assert float(m2["gain_sigma"]) == pytest.approx(0.125 * np.hypot(0.2 / 50, 0.2 / 400), abs=1e-6)
    assert float(m2["lag_sigma_deg"]) == pytest.approx(5.0 * np.sqrt(2.0), abs=0.01)
    assert float(of["HV01", "up", "M2"]["gain"]) == pytest.approx(3.0 / 400.0, rel=1e-4)
    low = {r.station: r.tides for r in results if r.station != "HV03"}
    assert len(admittance_csv(low).decode("utf-8").splitlines()) == 1  # no sea: names alone
