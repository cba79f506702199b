"""Readiness: dates of products against visits, antennas, maps, time on site, what comes out."""

import csv
import datetime
import io

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.constants import NS_PER_DAY
from stakeline.formats.antex import write_antex
from stakeline.tables import Antenna, AntennaPattern, Antennas
from stakeline.time import from_iso
from stakeline.workflows.plan_ready import ready_list, ready_text
from stakeline.workflows.plan_retrieval import method_of, retrieval_table
from stakeline.workflows.plan_work import dug_m, work_of, work_table
from stakeline.workflows.product_index import ProductEntry

from .plan_examples import described, guyed_text, station_text

SET_UP, BUILT, VISIT = "2031-04-28", "2031-04-28", "2032-04-20"
EOP = "version 2\nInvented\n  MJD      Xpole   Ypole  UT1-UTC    LOD  Xsig  Ysig   UTsig  LODsig\n"


@pytest.fixture
def campaign(tmp_path):
    create(tmp_path / "halvard")
    return open_campaign(tmp_path / "halvard")


@pytest.fixture
def station(tmp_path):
    return described(tmp_path)


def orbits(kind, *days):
    """Return an entry of a kind for each day, a quarter of an hour short at its end."""
    return [
        ProductEntry(f"products/{kind}{day}", "0", kind, "HAL", from_iso(day),
                     from_iso(day) + NS_PER_DAY - 900 * 10**9)
        for day in days
    ]  # fmt: skip


def put(campaign, name, data, kind):
    path = campaign.folder("products") / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    return ProductEntry(f"products/{name}", "0", kind)


def found(campaign, station, entries, works=()):
    rows = ready_list(campaign, [station], (), entries, works)
    return {one.what: one for one in rows}


def antenna(model):
    pattern = AntennaPattern(np.zeros(3), np.zeros(19))
    return Antenna(model, "", None, "", None, None, np.arange(0.0, 91.0, 5.0), None,
                   {"G01": pattern})  # fmt: skip


def test_orbits_are_asked_for_each_visit_past_and_told_of_each_to_come(campaign, station):
    aim = station.settings.aim
    assert (str(aim.built), str(aim.visit)) == (BUILT, VISIT)
    nothing = found(campaign, station, [])["precise orbits"]
    assert nothing.state == "NO"
    assert f"missing for visits past: {SET_UP} (HV01)" in nothing.found
    other = found(campaign, station, orbits("sp3", "2031-05-02"))["precise orbits"]
    assert other.state == "NO"
    assert "1 files, 2031-05-02 to 2031-05-02" in other.found
    past = found(campaign, station, orbits("sp3", SET_UP))["precise orbits"]
    assert past.state == "later"
    assert f"not yet for {VISIT} (HV01)" in past.found
    both = found(campaign, station, orbits("sp3", SET_UP, VISIT))
    assert both["precise orbits"].state == "yes"
    assert both["precise clocks"].state == "NO"


def test_two_files_of_one_half_day_do_not_cover_a_day(campaign, station):
    first = from_iso(SET_UP)
    half = [ProductEntry(f"products/{k}", "0", "sp3", "HAL", first, first + NS_PER_DAY // 2)
            for k in range(2)]  # fmt: skip
    assert found(campaign, station, half)["precise orbits"].state == "NO"


def test_messages_of_another_year_are_no_use_at_the_visit(campaign, station):
    assert found(campaign, station, [])["broadcast messages"].state == "NO"
    old = found(campaign, station, orbits("navigation", SET_UP))["broadcast messages"]
    assert old.state == "later"
    new = found(campaign, station, orbits("navigation", VISIT))["broadcast messages"]
    assert new.state == "yes"


def test_the_antenna_that_the_history_names_must_be_calibrated(campaign, station):
    named = "HALVARD-ICE1    NONE"
    history = campaign.folder("stations") / "HV01.toml"
    text = history.read_text("utf-8")
    assert "HALVARD ICE1    NONE" in text
    history.write_text(text.replace("HALVARD ICE1    NONE", named), "utf-8")
    for model, state in ((named, "yes"), ("HALVARD-ICE2    NONE", "NO")):
        entry = put(campaign, "a.atx", write_antex(Antennas((antenna(model),))), "antex")
        row = found(campaign, station, [entry])["antenna calibrations"]
        assert row.state == state, row.found
    assert "HV01: receiver antenna 'HALVARD-ICE1 NONE' is not in the calibrations" in row.found
    history.unlink()
    row = found(campaign, station, [entry])["antenna calibrations"]
    assert row.state == "NO"
    assert "names an antenna" in row.found


def test_earth_orientation_has_an_age_at_the_visit(campaign, station):
    last = 10  # days before the noon of the visit
    days = np.datetime64(VISIT) - np.datetime64("1858-11-17")
    mjd = days.astype(int) + 0.5 - last
    text = EOP + f"{mjd:.2f}  118700  263209  -190307  12643    10    10      10      10\n"
    entry = put(campaign, "e.erp", text.encode(), "orientation")
    row = found(campaign, station, [entry])["Earth orientation"]
    assert row.state == "later"
    assert f"{last} d before the visit of HV01" in row.found


def test_maps_and_outlines_are_counted_by_kind(campaign, station):
    rows = found(campaign, station, [])
    assert rows["maps of ice and bed"].state == rows["outlines of lakes"].state == "NO"
    maps = campaign.folder("maps")
    maps.mkdir(exist_ok=True)
    (maps / "lakes.geojson").write_text("{}", "utf-8")
    rows = found(campaign, station, [])
    assert rows["maps of ice and bed"].state == "NO"
    assert (rows["outlines of lakes"].state, rows["outlines of lakes"].found) == (
        "yes", "lakes.geojson")  # fmt: skip


def test_time_on_site_is_the_sum_of_its_table(campaign, station):
    works = work_of(station)
    rows = list(csv.DictReader(io.StringIO(work_table(works).decode())))
    assert {row["kind"] for row in rows} == {"set-up", "visit", "retrieval"}
    for work in works:
        own = [row for row in rows if row["kind"] == work.kind]
        assert sum(float(row["all_min"]) for row in own) / 60.0 == pytest.approx(
            work.hours, abs=0.1
        )
    text = ready_text(ready_list(campaign, [station], (), [], works))
    assert f"time on site, visit: HV01 {works[1].hours:.1f} h" in text
    assert "to measure again at HV01:" in text
    assert dict(works[1].readings)["Guys"] == len(station.guys)


def test_more_guys_and_a_deeper_box_take_longer(tmp_path, station):
    more = described(tmp_path, "HV01", guyed_text(len(station.guys) + 2))
    for few, many in zip(work_of(station), work_of(more), strict=True):
        assert many.hours > few.hours or many.kind == "visit"
    rise = station.snow.total_m_a
    assert dug_m(station, 2.0) - dug_m(station) == pytest.approx(2.0 * rise)


def test_the_most_urgent_station_comes_out_first_and_how_is_said(tmp_path, station):
    text = station_text(name='"HV02"', rate_m_a=2.0)
    deep = described(tmp_path, "HV02", text)
    rows = list(csv.DictReader(io.StringIO(retrieval_table([station, deep]).decode())))
    assert [(row["order"], row["station"]) for row in rows] == [("1", "HV02"), ("2", "HV01")]
    days = [datetime.date.fromisoformat(row["raise_or_take_out_by"]) for row in rows]
    assert days == sorted(days)
    steps = method_of(station).split("; ")
    order = ["last height", "rotor braked", "3 panels", "bank of 10", "dig ", "guys slackened",
             "mast of 2.5 m"]  # fmt: skip
    at = [next(k for k, step in enumerate(steps) if step.startswith(one)) for one in order]
    assert at == sorted(at)
