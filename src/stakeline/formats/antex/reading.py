"""Reading ANTEX into :class:`stakeline.tables.Antennas`."""

import math

import numpy as np

from ...errors import FormatError, TimeError
from ...tables import Antenna, AntennaPattern, Antennas, satellite_id
from ...time import from_calendar
from ..fixed_columns import Notes, Text, number, only_member, whole_number, with_notes

_MM = -3  # power of ten from millimetres to metres
_MOST_NODES = 1000
_QUIET: tuple[str, ...] = (
    "METH / BY / # / DATE",
    "COMMENT",
    "END OF ANTENNA",
    "# OF FREQUENCIES",
    "DAZI",
)
_QUIET += ("ZEN1 / ZEN2 / DZEN", "VALID FROM", "VALID UNTIL", "SINEX CODE", "TYPE / SERIAL NO")


class _Damage(Exception):
    """An antenna block that cannot be trusted: where and why."""


def read_antex(path):
    """Read a packed or plain ANTEX file."""
    name, data, notes = only_member(path)
    return with_notes(parse_antex(data, name), notes)


def parse_antex(data, file="antex"):
    """Return the :class:`~stakeline.tables.Antennas` in the bytes of an ANTEX file.

    Parameters
    ----------
    data : bytes
    file : str
        Name for messages.

    Raises
    ------
    FormatError
        No ANTEX header, or values relative to a reference antenna (type R).

    Notes
    -----
    A damaged block is left out as a whole and listed in ``passed_over``; the others are kept.
    """
    text, notes = Text(data, file), Notes(file)
    _check_header(text)
    starts = _rows_with(text, b"START OF ANTENNA")
    if not starts:
        raise FormatError(file, None, "no antenna", "blocks from 'START OF ANTENNA' on")
    entries = []
    for start, following in zip(starts, [*starts[1:], len(text)], strict=False):
        try:
            entries.append(_antenna(text, start, following, notes))
        except _Damage as damage:
            line, reason = damage.args
            notes.add(line, f"antenna block left out: {reason}")
    return Antennas(tuple(entries), notes.passed_over(), (text.file,))


def _check_header(text):
    first = text.line(0) if len(text) else ""
    if "ANTEX VERSION" not in first[60:]:
        found = repr(first[:40].rstrip()) if first.strip() else "an empty file"
        raise FormatError(text.file, 1, found, "'ANTEX VERSION / SYST'")
    for index in range(1, len(text)):
        line = text.line(index)
        label = line[60:80].strip()
        if label == "PCV TYPE / REFANT" and line[:1] == "R":
            found, remedy = "relative values (R)", "take a file of absolute calibrations"
            raise FormatError(text.file, index + 1, found, "absolute values (A)", remedy)
        if label == "END OF HEADER":
            return
    raise FormatError(text.file, len(text), "the end of the file", "'END OF HEADER'")


def _rows_with(text, label):
    """Return the indices of the lines that hold ``label`` in columns 61-80."""
    rows, at = [], text.raw.find(label)
    while at >= 0:
        row = int(np.searchsorted(text.start, at, side="right")) - 1
        if 60 <= at - text.start[row] <= 64:
            rows.append(row)
        at = text.raw.find(label, at + len(label))
    return rows


def _antenna(text, start, following, notes):
    """Return the entry that starts at line index ``start``; _Damage where it is not sound."""
    fields, blocks, row, closed = {}, {}, start + 1, False
    while row < following and not closed:
        line = text.line(row)
        label = line[60:80].strip()
        if label == "START OF FREQUENCY":
            row = _frequency(text, row, following, _grid(fields, start), blocks, notes)
        elif label == "START OF FREQ RMS":
            row = _end_of(text, row, following, "END OF FREQ RMS")
        elif label in _QUIET:
            fields.setdefault(label, line)
            closed = label == "END OF ANTENNA"
        elif line.strip():
            notes.add(row + 1, f"label '{label}' in an antenna block not known")
        row += 1
    if not closed:
        raise _Damage(start + 1, "it is not closed by 'END OF ANTENNA'")
    announced = whole_number(fields.get("# OF FREQUENCIES", "")[:6])
    if not blocks:
        raise _Damage(start + 1, "it holds no frequency")
    if announced != len(blocks):
        notes.add(start + 1, f"{announced} frequencies announced, {len(blocks)} read")
    return _entry(fields, start, blocks)


def _end_of(text, row, following, label):
    """Return the index of the line with ``label`` below line ``row``, within the block."""
    stop = int(text.stop[following - 1])
    at = text.raw.find(label.encode(), int(text.start[row]), stop)
    if at < 0:
        raise _Damage(row + 1, f"'{label}' is missing")
    return int(np.searchsorted(text.start, at, side="right")) - 1


def _grid(fields, start):
    """Return (zenith nodes, azimuth nodes or None) in degrees."""
    line = fields.get("ZEN1 / ZEN2 / DZEN", "")
    first, last, step = (number(line[k : k + 6]) for k in (2, 8, 14))
    turn = number(fields.get("DAZI", "")[2:8], 0.0)
    if not (step > 0.0 and last >= first and (last - first) / step < _MOST_NODES and turn >= 0.0):
        raise _Damage(start + 1, "zenith or azimuth steps are missing or impossible")
    zenith = first + step * np.arange(round((last - first) / step) + 1)
    if turn == 0.0:
        return zenith, None
    if 360.0 / turn > _MOST_NODES:
        raise _Damage(start + 1, "azimuth steps are impossible")
    return zenith, turn * np.arange(round(360.0 / turn) + 1)


def _frequency(text, row, following, grid, blocks, notes):
    """Add one frequency to ``blocks``; return the index of its last line."""
    code = text.line(row)[3:6].strip()
    end = _end_of(text, row, following, "END OF FREQUENCY")
    if text.line(end)[3:6].strip() != code:
        raise _Damage(end + 1, f"frequency {code} ends as {text.line(end)[3:6].strip()}")
    if len(code) != 3 or code[0] not in "GRECJSI" or not code[1:].isdecimal():
        notes.add(row + 1, f"frequency '{code}' not known, left out")
        return end
    inside = np.arange(row + 1, end)
    comment = np.all([text.letters(inside, 60 + k) == c for k, c in enumerate(b"COMMENT")], axis=0)
    inside = inside[~comment]
    labels = [text.line(index)[60:80].strip() for index in inside[:1]]
    if labels != ["NORTH / EAST / UP"]:
        raise _Damage(row + 2, "'NORTH / EAST / UP' is missing")
    offset, good = text.numbers(inside[:1], [0, 10, 20], 10, _MM)
    if not good.all() or np.isnan(offset).any():
        raise _Damage(row + 2, "a damaged offset")
    blocks[code] = _pattern(text, inside[1:], grid, offset[0])
    return end


def _pattern(text, rows, grid, offset_m):
    zenith, azimuth = grid
    expected = 1 if azimuth is None else 1 + len(azimuth)
    if len(rows) != expected or not text.line(rows[0]).startswith("   NOAZI"):
        where = int(rows[0]) + 1 if len(rows) else 0
        raise _Damage(where, f"{len(rows)} rows of values, expected {expected} from NOAZI on")
    value, good = text.numbers(rows, 8 + 8 * np.arange(len(zenith)), 8, _MM)
    damaged = ~good | np.isnan(value)
    if damaged.any():
        raise _Damage(int(rows[np.flatnonzero(damaged.any(axis=1))[0]]) + 1, "a damaged value")
    if azimuth is None:
        return AntennaPattern(offset_m, value[0])
    given, good = text.numbers(rows[1:], 0, 8)
    if not good.all() or not np.allclose(given[:, 0], azimuth):
        raise _Damage(int(rows[1]) + 1, "azimuths that do not follow DAZI")
    return AntennaPattern(offset_m, value[0], value[1:])


def _entry(fields, start, blocks):
    line = fields.get("TYPE / SERIAL NO", "")
    if not line[:20].strip():
        raise _Damage(start + 1, "'TYPE / SERIAL NO' is missing")
    serial, svn = line[20:40].strip(), line[40:50].strip()
    zenith, azimuth = _grid(fields, start)
    return Antenna(
        model=line[:20] if not svn else line[:20].rstrip(),
        serial=serial,
        satellite=_satellite(serial, svn, start),
        svn=svn,
        valid_from_ns=_time(fields.get("VALID FROM"), start),
        valid_until_ns=_time(fields.get("VALID UNTIL"), start),
        zenith_deg=zenith,
        azimuth_deg=azimuth,
        patterns=blocks,
        source=fields.get("SINEX CODE", "")[:10].strip(),
    )


def _satellite(serial, svn, start):
    """Return the satellite's id where the entry is one (it then has a code such as G032)."""
    if not svn:
        return None
    try:
        return satellite_id(serial)
    except ValueError:
        raise _Damage(start + 1, f"'{serial}' is no satellite") from None


def _time(line, start):
    """Return a validity limit, GPS time; None where there is none. [ns]"""
    if line is None:
        return None
    whole = [whole_number(line[k : k + 6]) for k in range(0, 30, 6)]
    second = number(line[30:43], 0.0)
    try:
        if None in whole or math.isnan(second):
            raise TimeError("")
        return from_calendar(*whole, second)
    except TimeError:
        raise _Damage(start + 1, f"impossible validity '{line[:43].strip()}'") from None
