"""Read a table of columns into arrays; what cannot be read is told, never guessed."""

import io
import json
import re
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from ...errors import FormatError
from ..fixed_columns import only_member
from .kinds import PARQUET, head_of, time_column, unit_in_name

NOT_A_TIME = np.iinfo(np.int64).min
_MISSING = ("", "NaN", "nan", "NAN", "NA", "null", "None")
_DATE = re.compile(r"\d{4}-\d\d-\d\d")
_PLAIN_TIME = re.compile(r"\d{4}-\d\d-\d\d([T ][\d:.]*)?")
_OFFSET = re.compile(r"[+-]\d\d:?\d\d$")
_COMMENT = re.compile(r"(\w+)\s*[:=]\s*(.+)")


@dataclass(frozen=True)
class PlainTable:
    """A table as it stands in its file.

    Attributes
    ----------
    names, units : tuple of str
        In order; a name may stand twice. A unit is '' where neither name nor file says one.
    values : tuple of array
        float64 (NaN missing) or object (text; None missing); for the time column ``time_ns``.
    time_name, scale : str
        The time column and its scale: ``GPS``, ``UTC`` or '' where the file says none.
    time_ns : int64 array
        In that scale; :data:`NOT_A_TIME` where unreadable or missing. Empty without a time column.
    notes : tuple of str
        Sentences about what was passed over.
    metadata : dict
        What the file says of itself.
    lines : int array
        Where each row stands in a text file, from 1; empty for Parquet.
    """

    file: str
    names: tuple
    units: tuple
    values: tuple
    time_name: str = ""
    scale: str = ""
    time_ns: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))
    notes: tuple = ()
    metadata: dict = field(default_factory=dict)
    lines: np.ndarray = field(default_factory=lambda: np.zeros(0, int))

    def __len__(self):
        return len(self.values[0]) if self.values else 0

    def column(self, name):
        """Return the first column of a name."""
        return self.values[self.names.index(name)]


def read_plain_table(path):
    """Read a packed or plain table; see :func:`parse_plain_table`."""
    name, data, notes = only_member(path)
    return parse_plain_table(data, name, tuple(note.reason for note in notes))


def parse_plain_table(data, file="", notes=()):
    """Return the :class:`PlainTable` of a file's bytes.

    Raises
    ------
    FormatError
        Where there is no line of names, or Parquet data are damaged.
    """
    notes = list(notes)
    lines = np.zeros(0, int)
    if data.startswith(PARQUET):
        names, units, values, metadata = _parquet(data, file)
    else:
        names, units, values, metadata, lines = _csv(data, file, notes)
    time_name = time_column(names)
    times, scale = np.zeros(0, np.int64), ""
    if time_name:
        times, scale = _times(time_name, values[names.index(time_name)], notes)
    numbers = tuple(
        times if name == time_name else _column(name, value, notes)
        for name, value in zip(names, values, strict=True)
    )
    return PlainTable(
        str(file), names, units, numbers, time_name, scale, times, tuple(notes), metadata, lines
    )


def _parquet(data, file):
    """Return (names, units, arrow or numpy columns, metadata)."""
    try:
        table = pq.read_table(io.BytesIO(data), use_threads=False)
    except (OSError, pa.ArrowException) as problem:
        raise FormatError(
            file, None, f"damaged Parquet data ({str(problem).splitlines()[0]})", "a whole file",
            "copy it again",
        ) from None  # fmt: skip
    told = [(part.metadata or {}).get(b"unit", b"").decode() for part in table.schema]
    units = tuple(u or unit_in_name(n) for u, n in zip(told, table.column_names, strict=True))
    text = (table.schema.metadata or {}).get(b"stakeline", b"{}")
    try:
        metadata = json.loads(text)
    except ValueError:
        metadata = {}
    return tuple(table.column_names), units, table.columns, metadata


def _csv(data, file, notes):
    """Return (names, units, arrow columns of text, metadata, lines of the rows)."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
        notes.append("is not UTF-8 text; read as Latin-1")
    head = head_of(text[:20_000])
    if head is None:
        raise FormatError(
            file, 1, "no line of names above rows", "names such as time_utc,battery_V"
        )
    names = tuple(f"f{index}" for index in range(len(head.names)))
    odd = []

    def pass_over(row):
        odd.append(row.number)
        return "skip"

    try:
        table = pacsv.read_csv(
            io.BytesIO(text.encode("utf-8")),
            pacsv.ReadOptions(
                use_threads=False, skip_rows=head.lines_before + 1, column_names=names,
                block_size=1 << 24,
            ),
            pacsv.ParseOptions(delimiter=head.separator, invalid_row_handler=pass_over),
            pacsv.ConvertOptions(column_types=dict.fromkeys(names, pa.string())),
        ).columns  # fmt: skip
    except pa.ArrowInvalid as problem:
        if "Empty CSV" not in str(problem):
            raise FormatError(file, None, str(problem).splitlines()[0], "CSV (RFC 4180)") from None
        table = [pa.chunked_array([pa.array([], pa.string())]) for _ in names]
    if odd:
        notes.append(
            f"passed over, rows with another number of fields than the {len(names)} names: "
            f"{len(odd)}, the first in line {odd[0]}"
        )
    units = tuple(unit_in_name(name) for name in head.names)
    pairs = [_COMMENT.fullmatch(line) for line in head.comments]
    metadata = {m[1]: m[2].strip() for m in pairs if m}
    return (
        head.names,
        units,
        table,
        metadata,
        _lines(text, head.lines_before + 1, odd, len(table[0])),
    )


def _lines(text, above, odd, count):
    """Return the lines of the rows that were read; none where a row may have several lines.

    ``odd`` counts lines without blank ones, as the reader passes those over.
    """
    there = np.flatnonzero([line not in ("", "\r") for line in text.split("\n")[above:]])
    gone = [number - above - 1 for number in odd]
    return np.delete(there, gone) + above + 1 if there.size - len(odd) == count else there[:0]


def _column(name, column, notes):
    """Return a column as float64 where most of it are numbers, else as text."""
    if not pa.types.is_string(column.type) and not pa.types.is_large_string(column.type):
        try:
            return column.cast(pa.float64()).to_numpy().astype(float)
        except pa.ArrowException:
            return np.array([None if v is None else str(v) for v in column.to_pylist()], object)
    trimmed = pc.utf8_trim_whitespace(column)
    there = pc.if_else(pc.is_in(trimmed, pa.array(_MISSING)), None, trimmed)
    try:
        return pc.cast(there, pa.float64()).to_numpy().astype(float)
    except pa.ArrowException:
        return _mixed(name, there.to_pylist(), notes)


def _mixed(name, texts, notes):
    """Return numbers where at least half of the texts are, told of the others; else the texts."""
    numbers = np.full(len(texts), np.nan)
    odd = []
    for row, text in enumerate(texts):
        if text is None:
            continue
        try:
            numbers[row] = float(text)
        except ValueError:
            odd.append(row)
    if 2 * len(odd) > sum(text is not None for text in texts):
        return np.array(texts, object)
    notes.append(
        f"{name}: values that are no numbers: {len(odd)}, the first '{texts[odd[0]][:20]}' in row "
        f"{odd[0] + 1}"
    )
    return numbers


def _times(name, column, notes):
    """Return (times [ns], scale) of the time column."""
    scale = "GPS" if name.endswith("_gps") else "UTC" if name.endswith("_utc") else ""
    if pa.types.is_timestamp(column.type):
        zone = column.type.tz
        values = column.cast(pa.timestamp("ns", zone)).cast(pa.int64())
        return pc.fill_null(values, NOT_A_TIME).to_numpy(), scale or ("UTC" if zone else "")
    texts = [str(text or "").strip() for text in column.to_pylist()]
    marked = sum(text.endswith("Z") for text in texts)
    if scale == "GPS" and marked:
        notes.append(
            f"{name}: times that end in Z, which stands for UTC: {marked}; the name is believed"
        )
    if not scale and texts and marked == len(texts):
        scale = "UTC"
    plain = [text.removesuffix("Z") for text in texts]
    try:
        if not all(_PLAIN_TIME.fullmatch(text) for text in plain):
            raise ValueError
        return np.array(plain, "datetime64[ns]").astype(np.int64), scale
    except ValueError:
        return _odd_times(name, plain, notes), scale


def _odd_times(name, texts, notes):
    """Return times read one by one; those with an offset from UTC are turned into UTC. [ns]"""
    times = np.full(len(texts), NOT_A_TIME, np.int64)
    odd, offset = [], 0
    for row, text in enumerate(texts):
        try:
            if not _DATE.match(text):
                raise ValueError
            if _OFFSET.search(text[10:]):
                offset += 1
                moment = datetime.fromisoformat(text)
                text = (moment - moment.utcoffset()).replace(tzinfo=None).isoformat()
            elif not _PLAIN_TIME.fullmatch(text):  # numpy reads more, with a warning
                raise ValueError
            times[row] = np.datetime64(text, "ns").astype(np.int64)
        except ValueError:
            odd.append(row)
    if offset:
        notes.append(f"{name}: times with an offset from UTC, which was taken off: {offset}")
    if odd:
        notes.append(
            f"{name}: values that are no ISO 8601 times: {len(odd)}, the first "
            f"'{texts[odd[0]][:30]}' in row {odd[0] + 1}"
        )
    return times
