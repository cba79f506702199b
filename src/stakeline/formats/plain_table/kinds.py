"""What a table is about, told by its names; and the unit that a name ends in."""

import io
import re
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.parquet as pq

TABLE_KINDS = ("position table", "altimetry table", "logger table", "weather table", "table")
PARQUET = b"PAR1"
SEPARATORS = (",", ";", "\t")
_UNITS = {
    *("V", "mV", "kV", "A", "mA", "uA", "W", "mW", "kW", "Wh", "kWh", "Ah", "ohm", "1", "percent"),
    *("pct", "degC", "C", "K", "m", "cm", "mm", "km", "ft", "m2", "km2", "m3", "km3", "deg", "rad"),
    *("m_s", "ms", "km_h", "kn", "m_d", "m_a", "m_h", "mm_d", "mm_h", "m3_s", "m_s2"),
    *("m_we", "mm_we", "m_we_h", "mm_we_h", "m_we_s", "kg_m3", "W_m2", "J_m2"),
    *("Pa", "hPa", "kPa", "mbar", "s", "min", "h", "d", "a", "ns", "year"),
    *("dB", "dBHz", "dB_Hz", "Hz", "kHz", "MHz", "bytes", "kB", "MB"),
}
_BRACKETED = re.compile(r"[\[(]\s*([^\])]+?)\s*[\])]\s*$")
_NAME = re.compile(r"[A-Za-z?_][\w .()/%°\[\]?+-]*")
_TIME_NAME = re.compile(r"(?i)(time|date|timestamp|datetime|epoch)(_.*)?|.*_(utc|gps)")
_VALUE = re.compile(r"\s*([+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|\d{4}-\d\d-\d\d.*)\s*")
_WEATHER = re.compile(r"(?i)(wind|snowfall|precip|irradiance|press|cloud|melt)")
_LOGGER = re.compile(r"(?i)(battery|panel|turbine|load|box|modem|snow_distance|supply)")


@dataclass(frozen=True)
class Head:
    """The line of names of a CSV text."""

    names: tuple
    separator: str
    lines_before: int  # comments and blank lines that stand above
    comments: tuple


def unit_in_name(name):
    """Return the unit that a name ends in, such as ``m_s`` of ``wind_m_s``; '' where none."""
    bracketed = _BRACKETED.search(name)
    if bracketed:
        return bracketed[1]
    parts = name.split("_")
    tails = ["_".join(parts[index:]) for index in range(1, len(parts))]
    return next((tail for tail in tails if tail in _UNITS), "")


def time_column(names):
    """Return the name of the time column: one that says its scale first; '' where none."""
    for exact in ("time_gps", "time_utc"):
        if exact in names:
            return exact
    return next((name for name in names if _TIME_NAME.fullmatch(name)), "")


def head_of(text):
    """Return the :class:`Head` of a text that is a table; None where it is none.

    A line of names is one of at least two words that could be names, with a row of as many fields
    below, of which one is a number or a date; names alone will do where a time is among them.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    at = next((i for i, line in enumerate(lines) if line.strip() and line[:1] != "#"), None)
    if at is None or "\0" in text:
        return None
    separator = max(SEPARATORS, key=lines[at].count)
    names = tuple(name.strip().strip('"') for name in lines[at].split(separator))
    if len(names) < 2 or not all(_NAME.fullmatch(name) or not name for name in names):
        return None
    below = next((line for line in lines[at + 1 :] if line.strip()), None)
    if below is None:
        found = bool(time_column(names)) and any(unit_in_name(name) for name in names)
    else:
        fields = below.split(separator)
        found = len(fields) == len(names) and any(_VALUE.fullmatch(field) for field in fields)
    comments = tuple(line[1:].strip() for line in lines[:at] if line[:1] == "#")
    return Head(names, separator, at, comments) if found else None


def kind_of_columns(names):
    """Return which of :data:`TABLE_KINDS` a table with these names is."""
    has = set(names).__contains__
    axes = [any(name.startswith(f"{axis}_") for name in names) for axis in "xyz"]
    if time_column(names) and all(axes):
        return "position table"
    if has("latitude_deg") and has("longitude_deg") and has("height_m"):
        return "altimetry table" if has("track") or has("cycle") else "table"
    units = {unit_in_name(name) for name in names}
    if units & {"V", "mV", "A", "mA"} or any(_LOGGER.match(name) for name in names):
        return "logger table"
    if time_column(names) and any(_WEATHER.match(name) for name in names):
        return "weather table"
    return "table"


def kind_of_table(data):
    """Return the kind of bytes that are a table, '' where they are none.

    A Parquet file whose end is missing is a ``table``: its names stand at its end.
    """
    if data.startswith(PARQUET):
        try:
            return kind_of_columns(pq.read_schema(io.BytesIO(data)).names)
        except (OSError, pa.ArrowException):
            return "table"
    head = head_of(data[:20_000].decode("utf-8", "replace"))
    return kind_of_columns(head.names) if head else ""
