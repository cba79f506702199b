"""What a visit changed, and its form against telemetry and headers, by tables made by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.campaign.history import HistoryFile, StationHistory
from stakeline.constants import NS_PER_DAY
from stakeline.workflows.visit_changes import change_rows, header_sentences, voltage_sentences

HEIGHT = {"how": "vertical", "from": "marker", "to": "antenna reference point"}


@pytest.fixture
def history():
    visits = [
        {"time": "2031-05-01T12:00:00Z", "kind": "set-up", "height": HEIGHT | {"measured_m": 1.5},
         "antenna": {"type": "HALVARD ICE1    NONE", "serial": "A-1"}, "mark_above_snow_m": 0.5},
        {"time": "2031-06-01T12:00:00Z", "kind": "raise", "height": HEIGHT | {"measured_m": 2.5},
         "height_found": HEIGHT | {"measured_m": 1.46}, "mark_above_snow_m": 0.1,
         "antenna": {"serial": "A-2"}},
    ]  # fmt: skip
    content = HistoryFile.model_validate({"station": "HV03", "visit": visits})
    return StationHistory("stations/HV03.toml", content)


def days_around(visit, low, high):
    """Return a daily table of twenty days before and behind a visit."""
    day = visit.time_ns // NS_PER_DAY + np.arange(-20, 21)
    return {
        "day_gps": (day * NS_PER_DAY).view("datetime64[ns]"),
        "battery_V": np.where(np.arange(-20, 21) < 0, low, high),
        "turbine_Ah": np.full(41, np.nan),
    }


def test_heights_parts_and_figures_before_and_after(history):
    daily = days_around(history.content.visit[1], 12.1, 12.8)
    rows = {row["what"]: row for row in change_rows("HV03", history, daily)}
    told = {what: (row["before"], row["after"], row["change"]) for what, row in rows.items()}
    assert told == {
        "antenna height [m]": ("1.5", "2.5", "+1"),
        "antenna height kept and found [m]": ("1.5", "1.46", "-0.04"),
        "marker above snow [m]": ("0.5", "0.1", "-0.4"),
        "antenna serial": ("A-1", "A-2", ""),
        "battery_V": ("12.1", "12.8", "+0.7"),
    }
    assert {row["kind"] for row in rows.values()} == {"raise"}


def test_a_station_without_logger_still_tells_its_heights(history):
    assert "antenna height [m]" in {row["what"] for row in change_rows("HV03", history, {})}


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (12.52, None),
        (12.60, None),
        (12.9, "12.90 V in the form"),
        ("12900 mV", "12.90"),
        ("", None),
    ],
)
def test_the_voltage_written_is_held_against_the_logger(history, entry, words):
    visit = history.content.visit[1]
    time = visit.time_ns + np.arange(-3, 4) * 1800 * 10**9
    volts = np.array([11.0, 12.51, 12.52, np.nan, 12.53, 12.52, 11.0])
    logger = {"time_gps": time.view("datetime64[ns]"), "battery_V": volts}
    said = voltage_sentences(visit, {"battery_rest_V": entry}, logger)
    assert (words is None and said == []) or words in said[0]
    assert voltage_sentences(visit, {"battery_rest_V": entry}, {}) == []


def test_a_silent_logger_at_the_visit_is_said(history):
    visit = history.content.visit[1]
    far = np.array([visit.time_ns + NS_PER_DAY]).view("datetime64[ns]")
    said = voltage_sentences(visit, {"battery_rest_V": 12.5},
                             {"time_gps": far, "battery_V": np.array([12.5])})  # fmt: skip
    assert "no battery voltage in the telemetry" in said[0]


def test_only_the_first_file_behind_a_visit_is_held_against_its_form(history):
    begin = history.content.visit[1].time_ns

    def file(days, *mismatches):
        span = (begin + days * NS_PER_DAY, begin + (days + 1) * NS_PER_DAY)
        return SimpleNamespace(usable=True, station="HV03", span_ns=span, mismatches=mismatches,
                               raw=SimpleNamespace(path=f"0-raw/{days}"))  # fmt: skip

    said = header_sentences(history, [file(9, "later"), file(1, "antenna height"), file(-3)])
    assert len(said) == 1
    assert said[0].endswith("first file behind it 0-raw/1: antenna height")
