"""Reading BLQ into :class:`stakeline.tables.OceanLoading`, one for each site."""

import re

import numpy as np

from ...errors import FormatError
from ...tables import OceanLoading
from ..fixed_columns import Notes, Text, number, only_member

WAVES = ("M2", "S2", "N2", "K2", "K1", "O1", "P1", "Q1", "MF", "MM", "SSA")
_ROWS = 6  # amplitudes radial, west, south, then their phases
_MOST_METRES = 10.0
_PLACE = re.compile(r"lon/lat:?\s*(-?[\d.]+)\s+(-?[\d.]+)", re.IGNORECASE)
_ORDER = re.compile(r"COLUMN ORDER:\s*(.*)", re.IGNORECASE)


def read_blq(path):
    """Read a packed or plain BLQ file; see :func:`parse_blq`."""
    name, data, notes = only_member(path)
    if notes:
        raise FormatError(path, None, notes[0].reason, "a whole file", "fetch it again")
    return parse_blq(data, name)


def parse_blq(data, file="blq"):
    """Return {site: :class:`~stakeline.tables.OceanLoading`} of the bytes of a BLQ file.

    Parameters
    ----------
    data : bytes
    file : str
        Name for messages.

    Raises
    ------
    FormatError
        A damaged or cut block, another order of the columns, or no site at all; nothing is
        guessed, as an error of order would stay unseen.

    Notes
    -----
    Rows of the file are amplitudes radial (up), west and south in metres, then their phases in
    degrees, lags positive. Longitude and latitude are those of the comment of the site, NaN
    where there is none.
    """
    return parse_blq_noted(data, file)[0]


def parse_blq_noted(data, file="blq"):
    """Return what :func:`parse_blq` returns and the notes of what was read past."""
    text, notes = Text(data, file), Notes(file)
    sites, name, name_line, rows, place = {}, "", 0, [], (np.nan, np.nan)
    for index in range(len(text)):
        line = text.line(index)
        if line.startswith("$$"):
            _check_order(line, file, index + 1)
            found = _PLACE.search(line)
            if found and name:
                place = number(found[1]), number(found[2])
        elif not line.strip():
            continue
        elif not rows and line.lstrip().startswith("#"):
            notes.add(index + 1, "line that is neither comment ($$) nor data")
        elif not name:
            name, name_line = line.strip(), index + 1
        else:
            rows.append(_row(line, file, index + 1, amplitude=len(rows) < _ROWS // 2))
            if len(rows) == _ROWS:
                if name in sites:
                    notes.add(name_line, f"site {name} repeated, the first kept")
                sites.setdefault(name, _loading(name, place, rows))
                name, rows, place = "", [], (np.nan, np.nan)
    if name:
        found, expected = f"{len(rows)} rows after site '{name}'", f"{_ROWS} rows of 11 numbers"
        raise FormatError(file, name_line, found, expected)
    if not sites:
        raise FormatError(file, None, "no site", "a site name and six rows of 11 numbers")
    return sites, notes.passed_over()


def _check_order(line, file, line_number):
    found = _ORDER.search(line)
    if found and tuple(found[1].upper().split()) != WAVES:
        raise FormatError(file, line_number, f"columns {found[1].strip()}", " ".join(WAVES))


def _row(line, file, line_number, *, amplitude):
    values = [number(part) for part in line.split()]
    if len(values) != len(WAVES) or any(v != v for v in values):
        found = repr(line.strip()[:60])
        raise FormatError(file, line_number, found, "a row of 11 numbers, M2 to Ssa")
    if amplitude and not all(0.0 <= v < _MOST_METRES for v in values):
        raise FormatError(file, line_number, repr(line.strip()[:60]), "amplitudes of 0 to 10 m")
    if not amplitude and not all(abs(v) <= 720.0 for v in values):
        raise FormatError(file, line_number, repr(line.strip()[:60]), "phases in degrees")
    return values


def _loading(name, place, rows):
    rows = np.array(rows)
    return OceanLoading(name, place[0], place[1], rows[: _ROWS // 2], rows[_ROWS // 2 :])
