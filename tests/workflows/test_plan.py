"""The verb plan: one station, a campaign, resumed, refused with lines; numbers agree."""

import csv
import io
import json
import re
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from stakeline.campaign.folders import create
from stakeline.cli import run as stakeline
from stakeline.errors import SettingsError
from stakeline.station.cautions import brief
from stakeline.station.gas import GAS, ventilation
from stakeline.workflows import plan
from stakeline.workflows.plan_energy import energy_of
from stakeline.workflows.plan_figures import year_bands
from stakeline.workflows.plan_sheet import sheet_data
from stakeline.workflows.plan_station import plan_station
from stakeline.workflows.plan_tables import tables_of
from stakeline.workflows.plan_words import (
    date_text,
    first_sentence,
    gas_text,
    number,
    page,
    restart_sentence,
    verdict,
)

from .plan_examples import described, station_text

pytestmark = pytest.mark.compiled

YEARS = "[aim]\nyears = 8"


def short(**changed):
    return station_text(**changed).replace("[aim]", YEARS)


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    return plan_station(described(tmp_path_factory.mktemp("one"), text=short()))


@pytest.fixture(scope="module")
def files(planned):
    bands = year_bands(planned)
    return tables_of(planned, bands, {}), bands


def rows(data):
    return list(csv.DictReader(io.StringIO(data.decode())))


def test_the_page_says_what_the_tables_say(planned, files):
    tables, _ = files
    told, text = json.loads(tables["plan.json"]), page(planned)
    assert told["verdict"] in text
    assert all(one in " ".join(text.split()) for one in told["sentences"])
    for row in rows(tables["margins.csv"]):
        assert row["name"][:41] in text
        assert number(float(row["has"] or "nan"), row["unit"]) in text


def test_the_sheet_shows_the_numbers_of_the_tables(planned, files, tmp_path):
    tables, bands = files
    data = sheet_data(planned)
    shown = {name: has for _, name, has, _, _ in data["margins"]}
    for row in rows(tables["margins.csv"]):
        assert shown[row["name"]] == number(float(row["has"]), row["unit"])
    bill = {row["name"]: float(row["all_kg"]) for row in rows(tables["bill.csv"])}
    assert sum(bill.values()) == pytest.approx(planned.totals.mass_kg, abs=0.1)
    assert {item[0] for item in data["items"]} == set(bill)
    path = tmp_path / "sheet.pdf"
    path.write_bytes(plan.sheet(planned, bands))
    try:
        done = subprocess.run(["pdftotext", "-raw", path, "-"], capture_output=True, check=True)
        pages = subprocess.run(["pdfinfo", path], capture_output=True, check=True).stdout.decode()
    except FileNotFoundError:
        pytest.skip("pdftotext is not installed")
    words = " ".join(done.stdout.decode().split())
    assert re.search(r"Pages:\s+1\n", pages)
    assert data["verdict"] in words
    for has in shown.values():
        assert has in words
    for caution in planned.cautions:
        assert caution[:40] in words


def test_a_crowded_station_still_has_one_page(planned, tmp_path):
    cargo = "".join(
        f'\n[[cargo]]\nname = "case {k}"\nmass_kg = 12\nvolume_m3 = 0.1\n' for k in range(30)
    )
    loads = "".join(f'\n[[load]]\nname = "sensor {k}"\npower_W = 0.01\n' for k in range(12))
    crowded = described(tmp_path, text=short() + cargo + loads)
    rules = tuple(replace(one, found=40 * "many words ") for one in planned.findings)
    crowded = replace(planned, description=crowded, findings=rules)
    path = tmp_path / "sheet.pdf"
    path.write_bytes(plan.sheet(crowded, year_bands(crowded)))
    assert "more in the tables" in sheet_data(crowded)["items_more"]
    try:
        done = subprocess.run(["pdfinfo", path], capture_output=True, check=True)
    except FileNotFoundError:
        pytest.skip("pdfinfo is not installed")
    assert re.search(r"Pages:\s+1\n", done.stdout.decode())


def test_every_number_somebody_could_be_hurt_by_has_its_caution(planned, files):
    tables, _ = files
    for row in rows(tables["margins.csv"]):
        if row["part"] in ("energy", "storm", "snow"):
            assert "confirm with licensed practice and local codes" in row["caution"], row["name"]
    for row in rows(tables["rules.csv"]):
        assert row["caution"]
    for name in ("storm", "guys", "design_wind", "bill", "flights", "sizes", "snow"):
        for row in rows(tables[f"{name}.csv"]):
            assert "confirm with licensed practice and local codes" in row["caution"], name
    battery = next(row for row in rows(tables["bill.csv"]) if row["name"] == "battery")
    assert "Batteries:" in battery["caution"]
    assert "dangerous goods" in battery["caution"]
    told = json.loads(tables["plan.json"])
    for word in ("Batteries", "Rotors", "Guy wires", "Lifting", "Air cargo", "Drilling", "Heaters"):
        assert any(one.startswith(word) for one in told["cautions"]), word
    assert told["dangerous_goods"][0]["remedy"].startswith("ask the carrier")


def test_the_terminal_shows_what_each_danger_asks_for(planned):
    text = " ".join(page(planned, whole=False).split())
    assert planned.cautions[0] in text
    for one in planned.cautions[1:]:
        assert brief(one) != one, one
        assert brief(one) in text
        assert len(brief(one)) < 100


def test_the_storm_stands_on_the_page_in_the_tables_and_on_the_sheet(planned, files):
    tables, _ = files
    told, storm = json.loads(tables["plan.json"])["storm"], planned.storm
    text = " ".join(page(planned, whole=False).split())
    assert f"{told['dynamic_pressure_Pa']:.0f} Pa" in text
    assert f"once in 50 years {number(told['once_in']['wind_m_s'], 'm/s')}" in text
    table = {float(row["once_in_a"]): row for row in rows(tables["design_wind.csv"])}
    assert float(table[50.0]["wind_m_s"]) == pytest.approx(told["once_in"]["wind_m_s"], abs=0.06)
    sheet = dict(sheet_data(planned)["storm"])
    assert sheet["wind once in 50 years"] == number(told["once_in"]["wind_m_s"], "m/s")
    antenna = next(row for row in rows(tables["storm.csv"]) if row["part"] == "antenna")
    pressure = 0.5 * storm.weather.density_kg_m3 * float(antenna["gust_m_s"]) ** 2
    assert float(antenna["pressure_Pa"]) == pytest.approx(pressure, rel=0.005)
    assert told["antenna_aside_usual_mm"] > told["turn_deg"] > 0.0
    assert len(told["sways"]) == 4


def test_flights_carry_the_bill_and_no_more_than_they_may(planned, files):
    tables, _ = files
    flown = {}
    for row in rows(tables["flights.csv"]):
        flown[row["item"]] = flown.get(row["item"], 0) + int(row["pieces"])
        assert float(row["flight_mass_kg"]) <= 450.0
    assert flown == {row["name"]: int(row["count"]) for row in rows(tables["bill.csv"])}


def test_months_fall_and_bands_are_ordered(planned, files):
    tables, bands = files
    lived = [float(row["lived_share"]) for row in rows(tables["months.csv"])]
    assert len(lived) == 12
    assert lived == sorted(lived, reverse=True)
    assert lived[-1] == pytest.approx(planned.energy.survival.chance, abs=5e-4)
    for name in ("charge", "box_degC", "air_degC", "wind_m_s"):
        assert (np.diff(getattr(bands, name), axis=0) >= -1e-12).all()
    assert bands.dark[180]  # at 79 N, from July on
    assert not bands.dark[0]


def test_the_verdict_follows_its_margins_and_rules(planned):
    state, sentence = verdict(planned)
    assert state in ("doubt", "open")
    assert sentence.startswith("Ready to build; ")
    assert not [one.name for one in planned.lines if one.state == "bad"]
    weak = replace(planned.lines[0], state="bad")
    state, sentence = verdict(replace(planned, lines=(weak, *planned.lines[1:])))
    assert state == "bad"
    assert sentence == "Not ready: 1 margin short, no rules broken."


@pytest.fixture
def light(planned, monkeypatch):
    """Plan nothing anew: what was planned before stands for every station, without figures."""
    monkeypatch.setattr(plan, "plan_station", lambda *_, **__: planned)
    monkeypatch.setattr(plan, "figures_of", lambda *_: {})
    monkeypatch.setattr(plan, "sheet", lambda *_: b"%PDF")


@pytest.fixture
def campaign(tmp_path):
    create(tmp_path / "halvard")
    (tmp_path / "halvard" / "plans" / "HV01.toml").write_text(short(), encoding="utf-8")
    return tmp_path / "halvard"


def test_a_campaign_is_planned_once_and_again_after_a_change(campaign, light):
    first = plan.run([campaign])
    assert first.done == ("1 station", "all together")
    folder = campaign / "1-plan"
    kept = {one.name: one.read_bytes() for one in (folder / "HV01").iterdir()}
    assert {"sheet.pdf", "plan.json", "page.txt", "verdict.txt", "days.parquet"} <= set(kept)
    assert {one.name for one in folder.iterdir()} >= {"network.txt", "places.gpx", "ready.txt"}
    second = plan.run([campaign])
    assert (second.done, second.up_to_date) == ((), ("1 station", "all together"))
    assert second.text == first.text
    (folder / "HV01" / "sheet.pdf").unlink()
    assert plan.run([campaign]).done == ("1 station",)
    again = {one.name: one.read_bytes() for one in (folder / "HV01").iterdir()}
    assert again == kept  # the same input, the same bytes
    (campaign / "plans" / "HV01.toml").write_text(short(rated_W=60), encoding="utf-8")
    assert plan.run([campaign]).done == ("1 station", "all together")


def test_a_file_of_a_campaign_is_planned_there(campaign, light):
    done = plan.run([campaign / "plans" / "HV01.toml"])
    assert done.done[0] == "1 station"
    assert (campaign / "1-plan" / "HV01" / "sheet.pdf").is_file()


def test_a_wrong_file_does_not_stop_the_others(campaign, light):
    text = short(name='"HV02"', latitude_deg=95)
    (campaign / "plans" / "HV02.toml").write_text(text, encoding="utf-8")
    (campaign / "plans" / "HV03.toml").write_text(short(), encoding="utf-8")
    found = plan.run([campaign])
    assert found.done[0] == "1 station"
    assert any(re.search(r"HV02.toml:\d+: site.latitude_deg", one) for one in found.problems)
    assert any("give the file its name, HV01.toml" in one for one in found.problems)


WRONG = [
    ({"latitude_deg": 95}, r"HV01.toml:\d+: site.latitude_deg: .*less than or equal to 90"),
    ({"tilt_deg": 120}, r"HV01.toml:\d+: panel.1.tilt_deg: .*faces down"),
    ({"mass_kg": -3}, r"HV01.toml:\d+: cargo.1.mass_kg: .*greater than 0"),
    ({"reconnect_V": 11.0}, r"HV01.toml:\d+: controller: .*loads would flicker"),
    ({"block_Ah": '"100 Ah"'}, r"HV01.toml:\d+: battery.block_Ah: .*valid number"),
    ({"mean_degC": 260}, r"HV01.toml:\d+: weather.mean_degC: .*less than or equal to 60"),
]


@pytest.mark.parametrize(("change", "sentence"), WRONG)
def test_what_describes_no_station_is_refused_with_its_line(tmp_path, change, sentence):
    path = tmp_path / "HV01.toml"
    path.write_text(short(**change), encoding="utf-8")
    with pytest.raises(SettingsError, match=sentence):
        plan.run([path])


def test_no_battery_and_no_file_are_refused(tmp_path):
    path = tmp_path / "HV01.toml"
    text = short()
    path.write_text(text[: text.index("[battery]")] + text[text.index("[controller]") :])
    with pytest.raises(SettingsError, match=r"HV01.toml:\d+: battery: is missing"):
        plan.run([path])
    with pytest.raises(SettingsError, match="cannot be read"):
        plan.run([tmp_path / "HV09.toml"])
    with pytest.raises(SettingsError, match="not both"):
        plan.run([tmp_path, path])


def test_without_station_files_there_is_nothing_to_plan(campaign):
    (campaign / "plans" / "HV01.toml").unlink()
    assert plan.run([campaign]).skipped == ("there is no station file in plans",)


def test_on_the_command_line(tmp_path, capsys):
    path = tmp_path / "HV01.toml"
    path.write_text(short(), encoding="utf-8")
    assert stakeline(["plan", str(path), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    made = {one.name for one in (tmp_path / "out" / "HV01").iterdir()}
    assert {"sheet.pdf", "year.svg", "storm.svg", "sky.svg", "mass.svg", "sizes.csv"} <= made
    assert (tmp_path / "out" / "HV01" / "sheet.pdf").read_bytes().startswith(b"%PDF")
    path.write_text(short(latitude_deg=95), encoding="utf-8")
    assert stakeline(["plan", str(path)]) == 2
    assert "site.latitude_deg" in capsys.readouterr().err


def test_first_failures_and_waking_reach_the_page_the_tables_and_the_sheet(planned, tmp_path):
    weak = short(parallel="1", saves_below="0.0").replace(
        "dump_W = ", "lives_year = 0.1\ndump_W = "
    )
    told = described(tmp_path, text=weak)
    dying = replace(planned, description=told, energy=energy_of(told))
    text = " ".join(page(dying).split())
    found = dying.energy.survival
    tables = tables_of(dying, year_bands(dying), {})
    table = rows(tables["failures.csv"])
    said = json.loads(tables["plan.json"])
    assert float(table[0]["share_of_years"]) == 1.0 - found.chance > 0.0
    assert table[0]["by_50_percent"] == said["survival"]["first_failures"][0]["by"]["50"]
    assert table[-1]["by_50_percent"] == said["survival"]["restart"]["by"]["50"]
    for one in (first_sentence(found), restart_sentence(found)):
        assert one in text
        assert one in said["sentences"]
        assert one in sheet_data(dying)["survival"]
    assert date_text(found.first_dates_ns[1]) in first_sentence(found)
    assert first_sentence(planned.energy.survival) == ""


def test_gas_is_told_with_its_air_and_its_caution(planned, files, tmp_path):
    tables, _ = files
    asked = ventilation(planned.description.design)
    said = json.loads(tables["plan.json"])["gas"]
    assert said["hydrogen_m3_d"] == asked.hydrogen_m3_d > 0.0
    assert GAS in said["cautions"]
    text = " ".join(page(planned).split())
    assert number(asked.air_m3_h, "m3/h") in text
    assert GAS in text
    assert any(number(asked.hydrogen_m3_d, "m3") in row for row in sheet_data(planned)["power"])
    row = next(one for one in rows(tables["rules.csv"]) if one["rule"] == "Gas leaves the box")
    assert f"{asked.hydrogen_m3_d:.2g} m3 of hydrogen a day" in row["found"]
    aired = described(tmp_path, text=short(ventilated="true\nair_m3_h = 2"))
    assert "Simulated with 2 m3/h" in gas_text(replace(planned, description=aired))
    iron = described(tmp_path, text=short(chemistry='"lithium iron phosphate"'))
    assert gas_text(replace(planned, description=iron)) == ""
