"""Visits are ranked by days of science that may be lost; the silent are among them."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.station.health_parts import Finding
from stakeline.workflows.health import StationHealth
from stakeline.workflows.health_around import NO_LOGGER, everyone
from stakeline.workflows.health_visits import (
    AT_ONCE,
    HEADER_CHANCE,
    SEVERITY,
    SILENT,
    SILENT_CHANCE,
    SILENT_D,
    Around,
    date_of,
    reasons_of,
    visit_rows,
    with_silence,
)

FIRST, DAYS = 22_000, 100
NOW = FIRST + DAYS - 1
SOUND = StationHealth("HV01", ("a.csv",), FIRST, DAYS, last_V=12.4)
AHEAD = np.arange(1, 366)


def ill(kind, name="HV02", **more):
    return replace(SOUND, station=name, findings=(Finding(kind, 90, 92, DAYS - 1, "why"),), **more)


def dark(chance, early, median, late=None):
    course = [(day, share) for day, share in ((early, 0.05), (median, 0.5)) if day is not None]
    return {"day": DAYS, "chance": chance, "early": early, "median": median, "late": late,
            "course": course}  # fmt: skip


def lost(row):
    return float(row["lost_days"])


def test_the_most_days_come_first_with_their_reason_and_the_day_before_which():
    dying = replace(SOUND, station="HV03", forecasts=(dark(0.9, NOW + 11.0, NOW + 21.0),))
    rows = visit_rows([SOUND, ill("load has grown"), dying])
    assert [row["station"] for row in rows] == ["HV03", "HV02", "HV01"]
    assert [row["rank"] for row in rows] == [1, 2, 3]
    assert rows[0]["before"] == date_of(NOW + 11)
    assert "90 % chance of going dark" in rows[0]["reason"]
    assert rows[1]["reason"].startswith(f"load has grown since {SOUND.date(90)}")
    assert (rows[2]["reason"], rows[2]["risk"], lost(rows[2])) == ("nothing found", "0.00", 0.0)


def test_the_chance_of_going_dark_follows_the_forecast_s_course():
    dying = replace(SOUND, forecasts=(dark(0.6, NOW + 100.0, NOW + 120.0),))
    (reason,) = reasons_of(dying, Around(), NOW, AHEAD)
    assert reason.chance[99] == pytest.approx(0.05)
    assert reason.chance[119] == pytest.approx(0.5)
    assert 0.5 < reason.chance[-1] <= 0.6
    assert (np.diff(reason.chance) >= 0.0).all()
    assert (
        reasons_of(replace(SOUND, forecasts=(dark(0.04, None, None),)), Around(), NOW, AHEAD) == []
    )


def test_days_lost_are_the_sum_of_chances_and_those_of_two_reasons_multiply():
    (one,) = visit_rows([ill("load has grown")])
    half = SEVERITY["load has grown"]
    by_hand = half * (np.arange(1, 184) / 183.0).sum() + half * (365 - 183)
    assert lost(one) == pytest.approx(by_hand, abs=0.5)
    two = replace(SOUND, findings=ill("mast leans").findings + ill("load has grown").findings)
    (both,) = visit_rows([two])
    well = (1.0 - half) * (1.0 - SEVERITY["mast leans"])
    assert float(both["risk"]) == pytest.approx(1.0 - well, abs=0.006)
    assert max(lost(one), lost(visit_rows([ill("mast leans")])[0])) < lost(both) < 365.0


def test_a_rotor_that_stands_does_not_count_beside_the_forecast_that_knows_of_it():
    forecast = (dark(0.9, NOW + 11.0, NOW + 21.0),)
    (alone,) = visit_rows([replace(SOUND, forecasts=forecast)])
    (stands,) = visit_rows([ill("turbine stands in the wind", forecasts=forecast)])
    assert lost(alone) == lost(stands)
    (wet,) = visit_rows([ill("water in the box", forecasts=forecast)])
    assert lost(wet) > lost(alone)
    bank = ill("bank holds less than it did")
    both = replace(bank, findings=bank.findings + ill("load has grown").findings)
    (unforeseen,), (either,) = visit_rows([both]), visit_rows([bank])
    assert lost(unforeseen) > lost(either)


def test_a_station_that_records_nothing_loses_from_today_on():
    (row,) = visit_rows([ill("awake but recording nothing")])
    assert lost(row) == pytest.approx(365 * AT_ONCE["awake but recording nothing"], abs=0.5)


def test_the_plan_s_next_visit_bounds_what_is_lost():
    around = {"HV02": Around(planned_day=NOW + 30)}
    (row,) = visit_rows([ill("awake but recording nothing")], around, NOW)
    assert lost(row) == 27.0
    assert row["until"] == date_of(NOW + 30)
    past = {"HV02": Around(planned_day=NOW - 30)}
    assert visit_rows([ill("mast leans")], past, NOW)[0]["until"] == date_of(NOW + 365)


def test_a_card_is_full_by_its_date_and_no_day_is_lost_before():
    card = (NOW + 100.0, NOW + 130.0, NOW + 170.0)
    (reason,) = reasons_of(SOUND, Around(card=card), NOW, AHEAD)
    assert reason.chance[:98].max() == 0.0
    assert reason.chance[129] == pytest.approx(0.5)
    assert reason.chance[-1] == pytest.approx(0.95)
    assert (np.diff(reason.chance) >= 0.0).all()
    assert reason.before == card[0]
    later = tuple(day + 400.0 for day in card)
    assert reasons_of(SOUND, Around(card=later), NOW, AHEAD) == []


def test_snow_over_the_antenna_costs_more_than_over_the_box_and_legs_that_melt_out_are_told():
    dates = [NOW + 50.0, NOW + 100.0, None]
    by_part = {}
    for part in ("antenna", "turbine", "panel south", "box"):
        one = replace(SOUND, snow={"buried": {part: dates}})
        by_part[part] = lost(visit_rows([one])[0])
    assert by_part["antenna"] > by_part["turbine"] >= by_part["panel south"] > by_part["box"] > 0.0
    loose = {"HV01": Around(loose={"legs": tuple(NOW + d for d in (20.0, 40.0, 80.0))})}
    (row,) = visit_rows([SOUND], loose, NOW)
    assert row["reason"].startswith(f"melts out: legs around {date_of(NOW + 40)}")
    assert row["before"] == date_of(NOW + 20)


def test_a_receiver_s_quality_and_headers_enter():
    half = {"HV01": Around(files=(10, 40.0, ()))}
    assert lost(visit_rows([SOUND], half, NOW)[0]) == pytest.approx(0.6 * 365.0)
    odd = {"HV01": Around(files=(10, 99.0, ("2031-05-01 slips",) * 3))}
    assert "3 of the last 10 receiver files stand out" in visit_rows([SOUND], odd, NOW)[0]["reason"]
    few = {"HV01": Around(files=(10, 99.0, ("2031-05-01 slips",)))}
    assert visit_rows([SOUND], few, NOW)[0]["reason"] == "nothing found"
    headers = {"HV01": Around(contradicted=("antenna height differs", "another"))}
    (row,) = visit_rows([SOUND], headers, NOW)
    assert "antenna height differs and 1 more" in row["reason"]
    assert float(row["risk"]) == HEADER_CHANCE


def test_a_silent_station_is_told_with_its_last_voltage_and_what_held_then_still_does():
    late = NOW + SILENT_D
    assert with_silence(SOUND, Around(), late - 1) is SOUND
    silent = with_silence(ill("mast leans"), Around(last_day=NOW + 3), late)
    (found,) = [f for f in silent.holding if f.kind == SILENT]
    assert silent.date(found.begins) == date_of(NOW + 1)
    assert "other files to" in found.why
    assert "last battery voltage 12.40 V" in found.why
    assert {f.kind for f in silent.holding} == {"mast leans", SILENT}
    (row,) = visit_rows([with_silence(SOUND, Around(), late)], now_day=late)
    assert lost(row) == pytest.approx(SILENT_CHANCE * 365, abs=0.5)


def test_data_that_went_home_with_a_visit_are_no_sure_silence():
    around = {"HV01": Around(visit_day=NOW)}
    home = with_silence(SOUND, around["HV01"], NOW + 200)
    (row,) = visit_rows([home], around, NOW + 200)
    assert "may have taken the data home" in row["reason"]
    assert lost(row) < 0.5 * SILENT_CHANCE * 365


def test_stations_without_logger_files_are_listed_silent_or_not():
    around = {"HV01": Around(NOW), "HV04": Around(NOW - 40), "HV05": Around(), "HB01": Around(NOW)}
    told = everyone([SOUND], around, NOW)
    assert [one.station for one in told] == ["HV01", "HV04", "HV05", "HB01"]
    rows = {row["station"]: row for row in visit_rows(told, around, NOW)}
    assert rows["HV04"]["rank"] == 1
    assert f"nothing else since {date_of(NOW - 40)}" in rows["HV04"]["reason"]
    assert rows["HV05"]["reason"] == rows["HB01"]["reason"] == NO_LOGGER
    assert rows["HV01"]["reason"] == "nothing found"
