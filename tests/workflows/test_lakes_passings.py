"""Passing times of a campaign whose events and routes are written by hand."""

import csv
import json

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.ledger import Ledger
from stakeline.campaign.store import parquet_bytes
from stakeline.constants import NS_PER_DAY
from stakeline.time import from_iso, iso
from stakeline.workflows.lakes_parts import LakesRun
from stakeline.workflows.lakes_passings import (
    dated_passings,
    dated_speeds,
    figure_record,
    passings_part,
)

ORIGIN_NS = from_iso("2031-05-01T00:00:00")
COUNT = 400
ROUTES = (
    "lake,target,kind,on_drawn_route,along_m,probability\n"
    "Upper,HV05,station,yes,8640,0.9\nUpper,Lower,lake,yes,17280,0.97\n"
    "Lower,Upper,lake,no,,0\nUpper,floating ice or the sea,end,yes,50000,1\n"
)
ARRIVALS = "lake,station,speed_m_s,low_h,middle_h,high_h,probability\n" + "".join(
    f"Upper,{name},{v},{0.9 * h / v},{h / v},{1.2 * h / v},{odds}\n"
    for name, h, odds in (("HV07", 7.2, 0.6), ("HV05", 2.4, 0.9), ("HV08", 9.0, 0.1))
    for v in (0.1, 1.0)
)  # distances 25 920, 8 640 and 32 400 m


def lay(root, lake, events, rng):
    """Write the results of one lake with events (kind, onset day, sigma [d])."""
    folder = root / "6-lakes" / lake
    folder.mkdir(parents=True)
    told, samples = [], {"event": [], "onset_d": [], "length_d": [], "rise": [], "fall": []}
    samples |= {"change_m": [], "HV02_m": []}
    for kind, day, sigma in events:
        name = f"{lake} day {day:g} {kind}"
        onset = day + sigma * rng.standard_normal(COUNT)
        columns = {"event": [name] * COUNT, "onset_d": onset, "length_d": np.full(COUNT, 6.0)}
        columns |= {"rise": np.full(COUNT, 2.0), "fall": np.full(COUNT, 2.0)}
        columns |= {"change_m": np.full(COUNT, -2.0), "HV02_m": np.full(COUNT, -2.0)}
        for key, values in columns.items():
            samples[key].extend(values)
        one = {"event": name, "lake": lake, "kind": kind, "status": "automatic", "reasons": []}
        one |= {"stations": ["HV02"], "probability_real": 1.0, "false_per_year": 0.0}
        one |= {"onset_bound": "", "end_bound": "", "quality": {}}
        for what, shift in (("onset", 0.0), ("peak", 3.0)):
            for word, k in (("low", -2.0), ("median", 0.0), ("high", 2.0)):
                time_ns = ORIGIN_NS + round((day + shift + k * sigma) * NS_PER_DAY)
                one[f"{what}_{word}_gps"] = iso(time_ns)
        told.append(one)
    content = {"lake": lake, "events": told}
    (folder / f"{lake}_summary.json").write_text(json.dumps(content))
    table = {key: np.array(values) for key, values in samples.items()}
    about = {"origin_ns": {one["event"]: ORIGIN_NS for one in told}}
    (folder / f"{lake}_samples.parquet").write_bytes(parquet_bytes(table, {}, about))
    for end in ("levels", "stations"):
        empty = parquet_bytes({"time_gps": np.zeros(0, "datetime64[ns]")}, {}, {})
        (folder / f"{lake}_{end}.parquet").write_bytes(empty)


@pytest.fixture
def root(tmp_path):
    create(tmp_path)
    path = tmp_path / "campaign.toml"
    path.write_text(path.read_text() + "\n[lakes.routes]\nwater_speed_m_s = [0.1, 1.0]\n")
    rng = np.random.default_rng(5)
    lay(tmp_path, "Upper", [("drain", 30.0, 0.1), ("fill", 90.0, 0.1)], rng)
    lay(tmp_path, "Lower", [("fill", 29.0, 0.1), ("fill", 31.0, 0.1), ("fill", 60.0, 0.1)], rng)
    (tmp_path / "6-lakes" / "routes.csv").write_text(ROUTES)
    (tmp_path / "6-lakes" / "arrivals.csv").write_text(ARRIVALS)
    return tmp_path


def run(root):
    campaign = open_campaign(root)
    return passings_part(LakesRun(campaign, Ledger(campaign.root, "ledger")))


def rows(root, name):
    with (root / "6-lakes" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def day(text):
    return (from_iso(text) - ORIGIN_NS) / NS_PER_DAY


def test_each_draining_meets_each_station_at_each_speed(root):
    found = dated_passings(open_campaign(root))
    assert [one.station for one in found[::3]] == ["HV05", "HV07", "HV08"]  # the nearest first
    assert {one.told["event"] for one in found} == {"Upper day 30 drain"}
    assert [one.speed_m_s for one in found[:3]] == [(0.1, 1.0), (0.1, 0.1), (1.0, 1.0)]
    slow, fast = found[1], found[2]
    days = [(np.median(one.front_ns) - ORIGIN_NS) / NS_PER_DAY for one in (slow, fast)]
    assert days == pytest.approx([31.0, 30.1], abs=0.05)  # 8 640 m at 0.1 and at 1 m/s
    assert np.median(fast.peak_ns - fast.front_ns) / NS_PER_DAY == pytest.approx(3.0)
    assert (found[0].through, found[3].through) == ((), ("Lower",))


def test_tables_words_and_figure_are_written_once(root):
    said = run(root)
    assert said.done == ("passing times",)
    assert "drain of 2031-05-31: would pass HV05 (8.6 km on, probability 0.90) from" in said.text
    assert "HV07 (25.9 km on, probability 0.60, through Lower)" in said.text
    assert "HV08" not in said.text  # not likely
    table = rows(root, "passings.csv")
    assert len(table) == 9
    first = table[0]
    assert (
        day(first["front_low_gps"]) < day(first["front_median_gps"]) < day(first["front_high_gps"])
    )
    assert day(first["front_low_gps"]) > 29.7
    assert float(first["delay_low_h"]) >= 2.1  # 7.8 km at 1 m/s
    assert (root / "6-lakes" / "figures" / "passings_Upper.svg").read_bytes().startswith(b"<?xml")
    assert run(root).up_to_date == ("passing times",)
    (root / "6-lakes" / "routes.csv").unlink()
    assert run(root).text == ""
    assert not (root / "6-lakes" / "passings.csv").exists()


def test_a_filling_below_tells_the_speed_of_the_water(root):
    (one,) = dated_speeds(open_campaign(root))
    assert (
        one.below["event"] == "Lower day 31 fill"
    )  # not the one before, not the one of a month on
    assert np.median(one.speed_m_s) == pytest.approx(0.2, rel=0.05)  # 17.28 km in a day
    assert "began to fill 24 h later" in run(root).text
    (row,) = rows(root, "water_speeds.csv")
    assert float(row["speed_m_s_low"]) < 0.2 < float(row["speed_m_s_high"])


def test_what_a_person_rejects_passes_nothing(root):
    path = root / "campaign.toml"
    review = '[[lakes.review]]\nlake = "Upper"\nonset = 2031-05-31\nstatus = "rejected"\n'
    review += 'reason = "rime"\nwho = "A person"\nday = 2032-01-10\n'
    path.write_text(path.read_text() + review)
    assert dated_passings(open_campaign(root)) == ()
    assert run(root).text == ""


def test_the_figure_has_the_numbers_of_the_table(root):
    campaign = open_campaign(root)
    whole = [one for one in dated_passings(campaign) if one.speed_m_s == (0.1, 1.0)]
    record = figure_record(whole, dated_speeds(campaign))
    ((onset, peak, stations, lakes),) = record.panels
    assert [s.station for s in stations] == ["HV05", "HV07", "HV08"]
    assert stations[0].front_ns[2] == pytest.approx(np.median(whole[0].front_ns), abs=1e9)
    assert list(stations[0].front_ns) == sorted(stations[0].front_ns)
    assert (onset[1], peak[1]) == (ORIGIN_NS + 30 * NS_PER_DAY, ORIGIN_NS + 33 * NS_PER_DAY)
    assert lakes[0][0] == "Lower"
