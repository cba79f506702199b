"""The design wind against what comes once in many years: laws, heights, records and their doubt."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from stakeline.station import storm
from stakeline.station.weather import WeatherYears
from stakeline.workflows.plan_storm import storm_of
from stakeline.workflows.plan_winds import SiteWinds, wind_line, wind_table, winds_of

from .plan_examples import described, station_text

YEARS, HOURS = 40, 8760


@pytest.fixture(scope="module")
def drawn():
    """Years of Weibull hours, at 3 m."""
    wind = 7.0 * np.random.default_rng(4).weibull(1.8, (YEARS, HOURS))
    zero = np.zeros((1, 1))
    return WeatherYears(0, zero, wind, zero, zero, 1000.0, 3.0)


def with_record(folder, hours):
    """Return the example's description with a record of hourly wind."""
    times = np.datetime64("2021-01-01T00", "s") + np.arange(hours.size) * np.timedelta64(3600, "s")
    rows = [f"{t},{-10 - k % 7},{'' if np.isnan(v) else round(v, 3)}"
            for k, (t, v) in enumerate(zip(times, hours, strict=True))]  # fmt: skip
    (folder / "hours.csv").write_text("time_utc,air_degC,wind_m_s\n" + "\n".join(rows) + "\n")
    text = station_text().replace("[weather] ", '[weather]\nfile = "hours.csv" ')
    return described(folder, text=text)


def stormy(years, seed=3):
    """Return hours of wind: a breeze, and an exponential storm every nine days."""
    rng, count = np.random.default_rng(seed), int(years * storm.YEAR_H)
    hours = 3.0 + rng.uniform(0.0, 2.0, count)
    at = rng.integers(0, count, int(40 * years))
    hours[at] = 12.0 + rng.exponential(2.5, at.size)
    return hours


def test_drawn_years_say_so_and_stay_in_doubt(tmp_path, drawn):
    found = winds_of(described(tmp_path), drawn)
    maxima = storm.fit_extremes(drawn.wind_m_s.max(axis=1))
    assert found.level_m_s == pytest.approx(maxima.once_in(50.0))
    told = wind_line(found)
    assert (told.value, told.state) == (38.6, "doubt")
    assert "no record of a year: 40 years drawn" in told.words
    assert any("confirm with licensed practice" in one for one in told.cautions)


def test_a_design_wind_below_what_comes_is_bad(tmp_path, drawn):
    text = station_text().replace("[storm]\nwind_m_s = 38.6", "[storm]\nwind_m_s = 24")
    found = winds_of(described(tmp_path, text=text), drawn)
    assert wind_line(found).state == "bad"
    assert found.chance > winds_of(described(tmp_path), drawn).chance > 0.0


def test_the_return_period_of_the_file_counts(tmp_path, drawn):
    text = station_text(return_years=500)
    rare = winds_of(described(tmp_path, text=text), drawn)
    assert rare.level_m_s > winds_of(described(tmp_path), drawn).level_m_s
    assert wind_line(rare).name == "design wind against once in 500 years"


def test_height_and_gust_are_those_of_the_design_wind(tmp_path, drawn):
    plain = winds_of(described(tmp_path), drawn)
    high = station_text().replace("[storm]", "[storm]\nmeasured_at_m = 10\ngust = false")
    found = winds_of(described(tmp_path, text=high), drawn)
    factor = storm.speed_at_height(1.0, 3.0, 10.0) * storm.gust_factor(10.0)
    assert found.level_m_s == pytest.approx(factor * plain.level_m_s)
    assert found.once_in(50.0)[1] == pytest.approx(factor * plain.once_in(50.0)[1])


def test_a_short_record_is_told_by_its_storms_and_in_doubt(tmp_path, drawn):
    found = winds_of(with_record(tmp_path, stormy(2.0)), drawn)
    assert found.measured_a == pytest.approx(2.0, abs=0.02)
    assert found.extremes.storms == 20
    told = wind_line(found)
    assert "20 storms of 2.0 years measured" in told.words
    assert told.state == "doubt"
    truth = 12.0 + 2.5 * np.log(40.0 * 50.0)
    assert abs(found.level_m_s - truth) < 3.0 * found.once_in(50.0)[1]


def test_less_than_a_year_tells_nothing_of_storms(tmp_path, drawn):
    found = winds_of(with_record(tmp_path, stormy(0.6)), drawn)
    assert "40 years drawn" in found.source
    assert found.measured_a == pytest.approx(0.6, abs=0.02)


def test_a_long_record_settles_it():
    law = storm.Extremes(25.0, 2.0, 20)
    sure = SiteWinds(np.zeros(1), law, 1.0, 20.0, 50.0, 1.0, 45.0, "")
    level, sigma = sure.once_in(50.0)
    assert wind_line(sure).state == "good"
    assert wind_line(replace(sure, design_m_s=level + sigma)).state == "doubt"
    assert wind_line(replace(sure, design_m_s=level - 0.1)).state == "bad"
    assert wind_line(replace(sure, measured_a=6.0)).state == "doubt"
    assert wind_line(replace(sure, extremes=None)).state == "open"


def test_the_table_rises_and_presses_by_the_square(tmp_path, drawn):
    found = winds_of(described(tmp_path, text=station_text(return_years=30)), drawn)
    rows = list(csv.DictReader(io.StringIO(wind_table(found, 1.4).decode())))
    speed = np.array([float(row["wind_m_s"]) for row in rows])
    assert [float(row["once_in_a"]) for row in rows] == [2, 5, 10, 20, 30, 50, 100]
    assert np.all(np.diff(speed) > 0.0)
    pressure = np.array([float(row["pressure_Pa"]) for row in rows])
    assert pressure == pytest.approx(0.7 * speed**2, rel=0.01)
    assert all("local codes" in row["caution"] for row in rows)


def test_the_storm_carries_it(tmp_path, drawn):
    description = described(tmp_path)
    winds = winds_of(description, drawn)
    found = storm_of(description, winds)
    assert found.lines[0].name == "design wind against once in 50 years"
    told = next(one for one in found.lines if "vortices" in one.name)
    low, high = max(found.mast.sways, key=lambda one: one.shaken_mm / one.width_m).shaken_m_s
    share = np.mean((drawn.wind_m_s > low) & (drawn.wind_m_s < high))
    assert f", {100 * share:.0f} % of the hours" in told.words
