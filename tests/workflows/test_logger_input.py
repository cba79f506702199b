"""Logger files of any layout become one table; what is odd is told and taken out."""

import numpy as np
import pytest

from stakeline.campaign.logger_map import read_logger_map
from stakeline.errors import FormatError, SettingsError
from stakeline.time import from_iso, gps_from_utc
from stakeline.workflows.logger_input import read_loggers

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


def test_a_table_of_nothing_known_is_refused(tmp_path):
    with pytest.raises(FormatError, match="no known quantity among time_utc, colour_m"):
        by_names(tmp_path, csv_rows(colour_m=np.ones(240)))


HOURS = 24 * 40
JUMPS = ((480, -72.0), (720, -72.0 + 200 * 24.0))  # row, hours that the clock is ahead from it on
PLAIN_MAP = """\
files = ["*.csv"]
station = "HV03"
[time]
column = "when"
scale = "UTC"
{more}
[[column]]
column = "volts"
quantity = "battery_V"
unit = "V"
[[column]]
column = "air"
quantity = "air_degC"
unit = "degC"
"""


def jumping(names="time_utc,battery_V,air_degC"):
    """Return the text of forty days by the hour whose clock jumps back, then far ahead."""
    rng = np.random.default_rng(3)
    hour = np.arange(HOURS, dtype=float)
    for row, ahead in JUMPS:
        hour[row:] = np.arange(row, HOURS) + ahead
    times = np.datetime64("2030-05-01T00:00:00") + hour.astype("timedelta64[h]")
    air = np.round(-10.0 + rng.standard_normal(HOURS), 2)
    rows = [f"{t},12.6,{a:g}" for t, a in zip(np.datetime_as_string(times), air, strict=True)]
    return "\n".join([names, *rows]) + "\n", air


def by_map(tmp_path, text, more=""):
    """Return the table of a text whose columns have names that tell nothing."""
    path = tmp_path / "HV03.toml"
    path.write_text(PLAIN_MAP.format(more=more), encoding="utf-8")
    data = tmp_path / "0.csv"
    data.write_text(text.replace("time_utc,battery_V,air_degC", "when,volts,air"), encoding="utf-8")
    return read_loggers("HV03", [(data, data.name, read_logger_map(path))])


def test_jumps_of_the_clock_are_told_alike_by_both_routes(tmp_path):
    text, air = jumping()
    tables = by_names(tmp_path, text), by_map(tmp_path, text)
    assert tables[0].notes == tables[1].notes
    told = "\n".join(tables[0].notes)
    assert "back by 3.0 d at line 482 (from 2030-05-20T23:00:00 to 2030-05-18T00:00:00)" in told
    assert "ahead by 200.0 d at line 722 (from 2030-05-27T23:00:00 to 2030-12-14T00:00:00)" in told
    assert "480 rows (lines 482 to 961) are kept aside" in told
    assert "battery_V stands still at 12.6 for 20.0 d from 2030-05-01T00:00:18" in told
    for table in tables:
        np.testing.assert_array_equal(table.columns["air_degC"], air[:480])
        assert not np.isfinite(table.columns["battery_V"]).any()


def test_a_map_that_says_what_the_clock_showed_puts_every_row_right(tmp_path):
    text, air = jumping()
    sets = "".join(
        f"[[time.set]]\nfrom_line = {row + 2}\nahead_h = {ahead}\n" for row, ahead in JUMPS
    )
    table = by_map(tmp_path, text, sets)
    np.testing.assert_array_equal(table.columns["air_degC"], air)
    assert (np.diff(table.time_ns) == 3600 * 10**9).all()
    assert not any("clock" in note for note in table.notes)
    twice = sets + "[[time.set]]\nfrom_line = 482\nahead_h = 0\n"
    with pytest.raises(SettingsError, match=r"HV03.toml:\d+: time.set: .*each line once"):
        by_map(tmp_path, text, twice)
