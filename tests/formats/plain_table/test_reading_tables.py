"""Tables are told by their names and read without guessing."""

import numpy as np
import pytest

from stakeline.campaign.store import parquet_bytes
from stakeline.errors import FormatError
from stakeline.formats.plain_table import (
    NOT_A_TIME,
    kind_of_columns,
    kind_of_table,
    parse_plain_table,
    unit_in_name,
    write_plain_table,
)
from stakeline.time import from_iso


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("battery_V", "V"),
        ("wind_m_s", "m_s"),  # the longest tail that is a unit
        ("melt_m_we_h", "m_we_h"),
        ("battery [mV]", "mV"),
        ("air (degC)", "degC"),
        ("box", ""),
        ("box_two", ""),
    ],
)
def test_units_in_names(name, unit):
    assert unit_in_name(name) == unit


@pytest.mark.parametrize(
    ("names", "kind"),
    [
        ("time_gps,station,x_m,y_m,z_m", "position table"),
        ("time_utc,x_km,y_km,z_km", "position table"),
        ("time_gps,latitude_deg,longitude_deg,height_m,sigma_m,track,cycle", "altimetry table"),
        ("time_utc,battery_V,air_degC,wind_m_s", "logger table"),
        ("time_utc,air_degC,wind_m_s,pressure_Pa", "weather table"),
        ("lake,area_m2", "table"),
    ],
)
def test_kinds_by_names(names, kind):
    assert kind_of_columns(names.split(",")) == kind
    row = ",".join("2031-05-01" if "time" in n else "1.0" for n in names.split(","))
    assert kind_of_table(f"{names}\n{row}\n".encode()) == kind


@pytest.mark.parametrize(
    "text",
    [
        "We arrived late, in the snow\nThe mast stood, the box was full of drift",
        "one\n1\n",
        "12.0,13.0\n14.0,15.0\n",
        "a,b\x00\n1,2\n",
        "",
    ],
)
def test_what_is_no_table(text):
    assert kind_of_table(text.encode()) == ""
    with pytest.raises(FormatError, match="no line of names"):
        parse_plain_table(text.encode(), "x.csv")


def test_names_without_rows_are_a_table():
    table = parse_plain_table(b"time_utc,battery_V\n")
    assert (len(table), table.scale) == (0, "UTC")


def test_what_is_written_is_read():
    times = from_iso("2031-05-01") + np.arange(3, dtype=np.int64) * 10**9
    columns = {"time_utc": times, "battery_V": np.array([12.5, np.nan, 12.25])}
    table = parse_plain_table(write_plain_table(columns, {"battery_V": 2}))
    np.testing.assert_array_equal(table.time_ns, times)
    np.testing.assert_array_equal(table.column("battery_V"), columns["battery_V"])
    assert (table.names, table.units[1], table.notes) == (tuple(columns), "V", ())


def test_comments_separators_blanks_and_text():
    text = "# frame: IGS20\n\ntime_gps; x_m ;word\n2031-05-01 00:00;1.5;a\n2031-05-01 01:00; NaN;\n"
    table = parse_plain_table(text.encode())
    assert table.metadata == {"frame": "IGS20"}
    assert table.names == ("time_gps", "x_m", "word")
    np.testing.assert_array_equal(table.column("x_m"), [1.5, np.nan])
    assert list(table.column("word")) == ["a", None]
    assert table.time_ns[1] - table.time_ns[0] == 3600 * 10**9


def test_rows_of_another_length_and_odd_values_are_told():
    text = "time_utc,a_V\n2031-05-01,1\n2031-05-02,x\nsoon,3\n2031-05-04T00:00:00+02:00,4\n2031"
    table = parse_plain_table(text.encode())
    assert table.time_ns[2] == NOT_A_TIME
    assert table.time_ns[3] == from_iso("2031-05-03T22:00:00")
    assert [note.partition(":")[0] for note in table.notes] == [
        "passed over, rows with another number of fields than the 2 names",
        "time_utc",
        "time_utc",
        "a_V",
    ]
    assert "1, the first in line 6" in table.notes[0]
    assert "the first 'soon' in row 3" in table.notes[2]
    assert "the first 'x' in row 2" in table.notes[3]


def test_scales():
    def scale(text):
        return parse_plain_table(text.encode()).scale

    assert scale("when_utc,a_V\n2031-05-01,1\n") == "UTC"
    assert scale("time,a_V\n2031-05-01,1\n") == ""
    assert scale("time,a_V\n2031-05-01T00:00Z,1\n") == "UTC"
    contradicted = parse_plain_table(b"time_gps,a_V\n2031-05-01T00:00Z,1\n")
    assert contradicted.scale == "GPS"
    assert "the name is believed" in contradicted.notes[0]


def test_parquet_keeps_units_and_metadata():
    times = np.array(["2031-05-01", "2031-05-02"], "datetime64[ns]")
    columns = {"time_gps": times, "height": np.array([1, 2]), "word": np.array(["a", "b"], object)}
    data = parquet_bytes(columns, {"height": "km"}, {"frame": "IGS20"})
    table = parse_plain_table(data)
    assert table.units == ("", "km", "")
    assert table.metadata == {"frame": "IGS20"}
    np.testing.assert_array_equal(table.time_ns, times.view(np.int64))
    with pytest.raises(FormatError, match="damaged Parquet data"):
        parse_plain_table(data[:-10], "cut.parquet")
    assert kind_of_table(data[:-10]) == "table"


def test_latin_letters_are_told():
    table = parse_plain_table("time_utc,a_V\n2031-05-01,1\n# 5 \u00b0C".encode("latin-1"))
    assert table.notes[0] == "is not UTF-8 text; read as Latin-1"
