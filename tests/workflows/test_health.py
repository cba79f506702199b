"""Health as a part of intake: loggers with and without a plan, told, ranked, and kept."""

import csv
import shutil

import numpy as np
import pytest

from stakeline.campaign.folders import create
from stakeline.campaign.store import read_table
from stakeline.formats.plain_table import write_plain_table
from stakeline.station.health_parts import Finding
from stakeline.workflows import intake
from stakeline.workflows.health import FORM, StationHealth, days_to_tell, kept_forecasts
from stakeline.workflows.health_tables import daily_units
from stakeline.workflows.intake_results import health_lines

SETTINGS = '[campaign]\nname = "Halvard"\n[[station]]\nname = "HV01"\n[[station]]\nname = "HV02"\n'
SETTINGS += '[[station]]\nname = "HV03"\n'
DAYS = 50
HOURS = 24 * DAYS
DAY = np.arange(HOURS) // 24


def logger(load_W):
    """Return a logger's table of an autumn; its bank is drawn evenly."""
    rng = np.random.default_rng(1)
    start = np.datetime64("2030-10-20T00:00:00", "s")
    times = start + np.arange(HOURS) * np.timedelta64(3600, "s")
    volts = 12.7 - 0.3 * np.arange(HOURS) / HOURS + 0.005 * rng.standard_normal(HOURS)
    return write_plain_table(
        {
            "time_utc": np.char.add(np.datetime_as_string(times), "Z"),
            "battery_V": np.round(volts, 2),
            "panel_A": np.zeros(HOURS),
            "load_A": np.round(load_W / volts, 3),
            "box_degC": np.round(-5.0 + rng.standard_normal(HOURS), 1),
            "air_degC": np.round(-12.0 + 2.0 * rng.standard_normal(HOURS), 1),
            "wind_m_s": np.round(3.0 + rng.random(HOURS), 1),
            "humidity_percent": np.round(70.0 + rng.random(HOURS), 1),
        }
    )


@pytest.fixture(scope="module")
def taken(tmp_path_factory):
    root = tmp_path_factory.mktemp("halvard")
    create(root)
    (root / "campaign.toml").write_text(SETTINGS, encoding="utf-8")
    folder = root / "0-raw" / "logger"
    folder.mkdir()
    (folder / "HV01.csv").write_bytes(logger(np.full(HOURS, 3.0)))
    (folder / "HV02.csv").write_bytes(logger(np.where(DAY < 30, 3.0, 6.0)))
    return root, intake.run(root)


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_load_that_doubles_is_told_without_a_plan(taken):
    root, report = taken
    (found,) = [
        row for row in rows_of(root / "3-intake" / "health.csv") if row["station"] == "HV02"
    ]
    assert (found["finding"], found["since"], found["holds"]) == (
        "load has grown",
        "2030-11-19",
        "yes",
    )
    assert "no plans/HV02.toml" in report.text
    assert "HV02 (0-raw/logger/HV02.csv)" in report.text


def test_a_plan_gives_the_bank_and_the_forecast(taken):
    _, report = taken
    planned, bare, _ = report.health
    assert planned.station == "HV01"
    assert 0.0 < planned.now["charge"] <= 1.0
    assert planned.now["capacity_Ah"] > 100.0
    assert [told["day"] for told in planned.forecasts] == [30, DAYS]
    assert all(0.0 <= told["chance"] <= 1.0 for told in planned.forecasts)
    assert not bare.forecasts
    assert "chance of going dark" in report.text


def test_energy_is_told_with_its_doubt_or_why_it_cannot_be(taken):
    root, report = taken
    bare = report.health[1]
    rows = {row["what"]: row for row in rows_of(root / "3-intake" / "energy.csv")}
    assert {row["station"] for row in rows.values()} == {"HV01"}
    assert not bare.energy
    load = {name: float(rows["load"][name]) for name in ("is", "from", "to")}
    assert load["is"] == pytest.approx(3.0, abs=0.01)
    assert load["from"] < load["is"] < load["to"]
    assert rows["panels by clean ones"]["is"] == ""
    assert "cannot be told: dark" in rows["panels by clean ones"]["said"]
    brought = [float(rows[name]["is"]) for name in ("panels brought", "stored in the bank")]
    took = [float(rows[n]["is"]) for n in ("load took", "lost in the bank", "not explained")]
    assert brought[0] - took[0] - took[1] - brought[1] + took[2] == pytest.approx(0.0, abs=0.1)
    assert float(rows["days charged"]["is"]) == 0.0
    assert "balance of 10 days [W h/d]: panels brought 0, " in report.text


def test_the_daily_table_holds_energy_and_tilt_with_units(taken):
    root, _ = taken
    columns, _ = read_table(root / "3-intake" / "health" / "HV01.parquet")
    units = daily_units(columns)
    assert np.isnan(columns["tilt_deg"]).all()
    assert columns["load_Wh"][5] == pytest.approx(72.0, abs=0.2)
    told = {"load_Wh": "W h", "load_sigma_W": "W", "box_loss_W_K": "W/K", "panel_share": "1",
            "balance_unexplained_Wh_d": "W h/d", "snow_distance_m": "m", "tilt_deg": "deg",
            "capacity_sigma_Ah": "Ah", "wind_m_s": "m/s", "load_days": "d", "charge": "1",
            "humidity_percent": "%", "misfit_V": "V", "day_gps": "GPS time"}  # fmt: skip
    assert {name: units[name] for name in told} == told


def test_visits_list_a_station_without_files_and_dates_of_the_plan(taken):
    root, report = taken
    rows = {row["station"]: row for row in rows_of(root / "3-intake" / "visits.csv")}
    assert sorted(rows) == ["HV01", "HV02", "HV03"]
    assert rows["HV02"]["rank"] == "1"
    assert "load has grown since 2030-11-19" in rows["HV02"]["reason"]
    assert rows["HV03"]["reason"].startswith("no logger files")
    assert "1. HV02: " in report.text
    assert not any(row["station"] == "HV03" for row in rows_of(root / "3-intake" / "health.csv"))


def test_what_has_not_changed_is_kept(taken):
    root, first = taken
    before = {p: p.stat().st_mtime_ns for p in (root / "3-intake" / "health").iterdir()}
    again = intake.run(root)
    assert again.health == first.health
    assert {p: p.stat().st_mtime_ns for p in before} == before
    assert again.text == first.text


def test_a_day_more_adds_its_forecast_and_keeps_the_others(taken, tmp_path):
    root, first = taken
    shutil.copytree(root, tmp_path / "again")
    path = tmp_path / "again" / "0-raw" / "logger" / "HV01.csv"
    text = path.read_bytes().splitlines(keepends=True)
    more = [line.replace(b"2030-12-08T", b"2030-12-09T") for line in text[-24:]]
    path.write_bytes(b"".join([*text, *more]))
    later = intake.run(tmp_path / "again").health[0]
    assert [told["day"] for told in later.forecasts] == [30, DAYS, DAYS + 1]
    assert later.forecasts[:2] == first.health[0].forecasts
    rows = rows_of(tmp_path / "again" / "3-intake" / "forecasts.csv")
    assert [row["told"] for row in rows] == ["2030-11-18", "2030-12-08", "2030-12-09"]


def test_days_since_the_last_run_are_told_one_by_one_up_to_a_month():
    assert days_to_tell(65, ()) == [30, 60, 65]
    assert days_to_tell(65, (30, 60, 62)) == [63, 64, 65]
    assert days_to_tell(65, (30, 60, 65)) == [65]
    assert days_to_tell(100, (30,)) == [60, *range(69, 101)]


def test_forecasts_of_another_plan_are_not_kept():
    told = {"day": 5, "chance": 0.1, "early": None, "median": None, "late": None}
    record = {"plan_sha256": "a", "form": FORM, "health": {"first_day": 100, "forecasts": [told]}}
    assert kept_forecasts(record, "a") == (told | {"day": 105},)
    assert kept_forecasts(record, "b") == kept_forecasts(None, "a") == ()


def test_each_kind_is_told_once_with_its_number():
    two = (Finding("mast leans", 1, 2, 3, "first"), Finding("mast leans", 50, 51, 99, "second"))
    (state, line) = health_lines([StationHealth("HV01", ("a.csv",), 22_000, 100, two)])
    assert state.startswith("HV01 (a.csv): telemetry of 100 days")
    assert "still so (the latest of 2): second" in line
