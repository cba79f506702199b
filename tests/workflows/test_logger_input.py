"""Logger files of any layout become one table; what is odd is told and taken out."""

import numpy as np
import pytest

from stakeline.campaign.logger_map import read_logger_map
from stakeline.errors import FormatError, SettingsError
from stakeline.time import from_iso, gps_from_utc
from stakeline.workflows.logger_input import floor_remarks, read_loggers

MAP = """\
files = ["0-raw/logger/*.dat"]
station = "HV03"
missing = [-5555]
separator = "space"
lines_before = 2
units_below = 1

[time]
column = "Date"
scale = "UTC"
pattern = "%d.%m.%Y/%H:%M"
ahead_h = -3

[[column]]
column = "Batt"
quantity = "battery_V"
unit = "mV"

[[column]]
column = "P1"
quantity = "panel_A"
unit = "A"
add = true

[[column]]
column = "P2"
quantity = "panel_A"
unit = "A"
add = true

[[column]]
column = "T"
quantity = "air_degC"
unit = "K"

[[column]]
column = "Ranger"
quantity = "snow_distance_m"
unit = "ft"
least = 0.5
"""
ROWS = """\
written by a logger
of the field party
Date Batt P1 P2 T Ranger
- mV A A K ft
01.05.2030/09:00   12500 0.10 0.20 253.15 8.0
01.05.2030/10:00   12450 -6999 0.20 253.65 8.0
01.05.2030/11:00   -5555 0.10 0.30 oops 1.0
"""


def written(tmp_path, text=MAP, rows=ROWS):
    path = tmp_path / "HV03.toml"
    path.write_text(text, encoding="utf-8")
    data = tmp_path / "a.dat"
    data.write_text(rows, encoding="utf-8")
    return read_loggers("HV03", [(data, "0-raw/logger/a.dat", read_logger_map(path))])


def test_layout_units_zone_codes_and_several_sensors(tmp_path):
    table = written(tmp_path)
    begin = int(gps_from_utc(from_iso("2030-05-01T12:00:00")))
    np.testing.assert_array_equal(table.time_ns, begin + np.arange(3) * 3600 * 10**9)
    np.testing.assert_allclose(table.columns["battery_V"], [12.5, 12.45, np.nan])
    np.testing.assert_allclose(table.columns["panel_A"], [0.3, 0.2, 0.4])
    np.testing.assert_allclose(table.columns["air_degC"], [-20.0, -19.5, np.nan])
    np.testing.assert_allclose(table.columns["snow_distance_m"], [2.4384, 2.4384, np.nan])
    told = "\n".join(table.notes)
    assert "T: values that are no numbers: 1, the first 'oops'" in told
    assert "Ranger: 1 readings at or beyond 0.5 to inf of its map" in told


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('unit = "mV"', 'unit = "kV"', r"HV03.toml:1\d: column.1: .*'kV' is no unit of battery_V"),
        ("ahead_h = -3", "ahead_h = 40", r"HV03.toml:12: time.ahead_h"),
        ('column = "P2"', 'column = "P1"', "P1 stands there more than once"),
        ("[time]", "[clock]", "HV03.toml"),
    ],
)
def test_mistakes_in_a_map_are_told_with_their_line(tmp_path, old, new, said):
    with pytest.raises(SettingsError, match=said):
        written(tmp_path, MAP.replace(old, new, 1))


def test_columns_and_times_that_are_not_there_are_named(tmp_path):
    with pytest.raises(FormatError, match="no column Batt"):
        written(tmp_path, rows=ROWS.replace("Batt", "Bat"))
    with pytest.raises(FormatError, match=r"a time '2030-05-01'"):
        written(tmp_path, rows=ROWS.replace("01.05.2030/09:00", "2030-05-01"))
    with pytest.raises(FormatError, match="0 rows"):
        written(tmp_path, rows="\n".join(ROWS.splitlines()[:4]))


def csv_rows(hours=240, **columns):
    times = np.datetime_as_string(
        np.datetime64("2030-05-01T00:00:00") + np.arange(hours) * np.timedelta64(1, "h")
    )
    names = ["time_utc", *columns]
    lines = [",".join(names)]
    for k, time in enumerate(times):
        lines.append(",".join([f"{time}Z", *(f"{values[k]:g}" for values in columns.values())]))
    return "\n".join(lines) + "\n"


def by_names(tmp_path, *texts):
    files = []
    for number, text in enumerate(texts):
        path = tmp_path / f"{number}.csv"
        path.write_text(text, encoding="utf-8")
        files.append((path, path.name, None))
    return read_loggers("HV03", files)


def test_names_with_units_need_no_map_and_two_files_are_joined(tmp_path):
    rng = np.random.default_rng(1)
    volts = 12.5 + 0.1 * rng.standard_normal(240)
    air = -10.0 + rng.standard_normal(240)
    first = csv_rows(battery_mV=1000.0 * volts, air_degC=air)
    second = csv_rows(battery_V=np.full(240, 1.0), wind_m_s=np.full(240, 5.0) + rng.random(240))
    table = by_names(tmp_path, first, second)
    np.testing.assert_allclose(table.columns["battery_V"], volts, rtol=1e-5)
    assert np.isfinite(table.columns["wind_m_s"]).all()
    assert any("240 rows of a time that stood before" in note for note in table.notes)


def test_stuck_sensors_and_ends_of_ranges_are_told_and_stuck_ones_taken_out(tmp_path):
    rng = np.random.default_rng(2)
    air = np.round(-10.0 + rng.standard_normal(240), 2)
    air[40:160] = air[40]
    table = by_names(tmp_path, csv_rows(battery_V=np.full(240, 12.5), air_degC=air))
    assert np.isnan(table.columns["air_degC"][40:160]).all()
    assert np.isfinite(table.columns["air_degC"][:40]).all()
    assert np.isfinite(table.columns["battery_V"]).all()
    assert any("air_degC stands still" in note for note in table.notes)
    distance = np.where(np.arange(240) < 40, 0.5, 2.0 + 0.1 * rng.random(240))
    (said,) = floor_remarks("snow_distance_m", distance)
    assert "40 of 240 readings stand at the lowest value 0.5" in said
    assert floor_remarks("panel_A", np.where(distance == 0.5, 0.0, distance)) == []


def test_a_table_of_nothing_known_is_refused(tmp_path):
    with pytest.raises(FormatError, match="no known quantity among time_utc, colour_m"):
        by_names(tmp_path, csv_rows(colour_m=np.ones(240)))
