"""What intake says of tables: each mistake alone, put into a table that is sound without it."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.formats.plain_table import parse_plain_table, write_plain_table
from stakeline.time import from_iso, gps_from_utc
from stakeline.workflows.tables_examine import examine_table, span_gps_ns
from stakeline.workflows.texts_examine import examine_text

HOUR_NS = 3600 * NS_PER_S
ROWS = 24 * 20


def sound():
    """Twenty days of a logger, every hour."""
    hour = np.arange(ROWS)
    return {
        "time_utc": from_iso("2031-05-01") + hour * HOUR_NS,
        "battery_V": 12.6 + 0.3 * np.sin(hour / 24) + 0.01 * (hour % 7),
        "panel_A": np.maximum(0.0, np.sin(hour * 2 * np.pi / 24)).round(2),
        "charge_percent": np.minimum(100.0, 60.0 + hour / 4),
        "air_degC": -20.0 + (hour % 24) / 3,
    }


def said(columns):
    return examine_table(parse_plain_table(write_plain_table(columns)))


def test_a_sound_table_has_no_remark():
    # nights without current and a full battery are no stuck sensors
    assert said(sound()) == ()


def _repeated(c):
    c["time_utc"][5] = c["time_utc"][4]


def _backwards(c):
    c["time_utc"][100:] -= 10 * HOUR_NS


def _gap(c):
    c["time_utc"][50:] += 3 * NS_PER_DAY


def _shifted(c):
    c["time_utc"][200:] += 1020 * NS_PER_S


def _woken(c):
    c["time_utc"][7] = from_iso("1970-01-01T00:00:09")


def _no_scale(c):
    times = c.pop("time_utc")
    c["time"] = np.array([str(t)[:19] for t in times.view("datetime64[ns]")], object)


def _riddle(c):
    c["?"] = np.arange(ROWS) % 5


def _no_unit(c):
    c["box"] = np.arange(ROWS) % 5 + 0.5


def _empty(c):
    c["turbine_A"] = np.full(ROWS, np.nan)


def _missing(c):
    c["air_degC"][3:8] = np.nan


def _codes(c):
    c["air_degC"][[3, 9]] = -6999.0


def _stuck(c):
    c["air_degC"][100:200] = -15.5


def _unit(c):
    c["battery_V"][300:] *= 1000.0


@pytest.mark.parametrize(
    ("mistake", "sentence"),
    [
        (_repeated, "times that stand more than once: 1, the first 2031-05-01T04:00:00"),
        (_backwards, "time runs backwards once, first at 2031-05-04T18:00:00, by up to 9.0 h"),
        (_gap, "1 gap of more than a day, the longest 3.0 d from 2031-05-03T01:00:00"),
        (_shifted, "the clock was set once, first at 2031-05-09T08:17:00 by +1020 s"),
        (_woken, "times before 1990, as a clock writes that has lost its power: 1"),
        (_no_scale, "times in 'time' say not which scale; name the column time_gps or time_utc"),
        (_riddle, "columns named '?' or not at all, which nobody can understand: 1"),
        (_no_unit, "names without a unit: box; write such as battery_V"),
        (_empty, "columns without any value: turbine_A"),
        (_missing, "missing values (of 480 rows): air_degC 5"),
        (_codes, "codes for missing values: air_degC -6999 2 times"),
        (_stuck, "air_degC stands still at -15.5 for 4.1 d from 2031-05-05T04:00:00"),
        (_unit, "battery_V is about 1000 times larger from 2031-05-13T12:00:00 on; did its unit"),
    ],
)
def test_each_mistake_is_said(mistake, sentence):
    columns = sound()
    mistake(columns)
    found = said(columns)
    assert any(text.startswith(sentence) for text in found), found
    if mistake is not _backwards:  # which repeats hours too
        assert len(found) == 1, found


def test_one_late_row_is_no_set_clock():
    columns = sound()
    columns["time_utc"][77] += 300 * NS_PER_S
    assert said(columns) == ()


def test_wide_ranging_values_are_no_change_of_unit():
    columns = sound()
    columns["light_W_m2"] = 10.0 ** (np.arange(ROWS) % 24 / 6) + np.arange(ROWS) % 5
    assert said(columns) == ()


def test_no_rows_and_no_time():
    assert examine_table(parse_plain_table(b"time_utc,a_V\n")) == ("holds names and no row",)
    found = examine_table(parse_plain_table(b"lake,area_km2\nUpper,3.5\n"))
    assert found == ("has no time column; name one time_gps or time_utc",)


def test_span_is_gps_time_and_leaves_absurd_times_out():
    columns = sound()
    _woken(columns)
    table = parse_plain_table(write_plain_table(columns))
    ends = np.array([columns["time_utc"][0], columns["time_utc"][-1]])
    assert span_gps_ns(table) == tuple(int(t) for t in gps_from_utc(ends))
    assert span_gps_ns(parse_plain_table(b"time_utc,a_V\n")) == ()


def test_cut_pictures_and_outlines_in_metres():
    whole = b"\xff\xd8\xff\xe0" + bytes(50) + b"\xff\xd9"
    assert examine_text("photograph", whole) == ()
    assert "ends early" in examine_text("photograph", whole[:-2])[0]
    good = b'{"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [[[17.3, 79.0]]]}}'
    assert examine_text("outline", good) == ()
    assert "are no degrees" in examine_text("outline", good.replace(b"17.3", b"-269554.8"))[0]
    assert "no whole JSON" in examine_text("outline", good[:-3])[0]
    assert examine_text("notes", b"anything") == ()
