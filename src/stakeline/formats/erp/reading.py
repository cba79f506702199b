"""Reading Earth orientation into :class:`stakeline.tables.EarthOrientation`."""

import re

import numpy as np

from ...errors import FormatError
from ...tables import EarthOrientation
from ...time import from_mjd
from ..fixed_columns import Notes, Text, only_member, with_notes
from . import _layouts

_MJD_RANGE = (37000.0, 110000.0)
_MOST_ANGLE_RAD, _MOST_UT1_S = 1e-5, 1.0  # 2 arcsec; UT1 stays within 0.9 s of UTC
_NEW_C04 = re.compile(r"^\s*\d{4}\s+\d{1,2}\s+\d{1,2}\s+\d{1,2}\s+\d{5}\.\d\d\s")
_OLD_C04 = re.compile(r"^\s*\d{4}\s+\d{1,2}\s+\d{1,2}\s+\d{5}\s")
_FINALS = re.compile(r"^[ \d]{6} \d{5}\.\d\d")
_EXPECTED = "Earth orientation as C04, finals, Bulletin B or IGS ERP version 2"


def read_orientation(path):
    """Read a packed or plain file of Earth orientation."""
    name, data, notes = only_member(path)
    return with_notes(parse_orientation(data, name), notes)


def parse_orientation(data, file="orientation"):
    """Return the :class:`~stakeline.tables.EarthOrientation` in the bytes of a file.

    Parameters
    ----------
    data : bytes
        IERS C04 (old or new layout), finals (daily, all or data; IAU 2000A), Bulletin B
        (section 1), or IGS ERP version 2; told apart by content.
    file : str
        Name for messages.

    Raises
    ------
    FormatError
        None of these layouts, or no usable day.

    Notes
    -----
    Sorted by time (UTC); of a repeated day the first is kept. What a layout does not hold is
    NaN. Offsets dX, dY are those of the IAU 2000/2006 models only.
    """
    text, notes = Text(data, file), Notes(file)
    lines = text.lines()
    layout = layout_of(lines)
    if layout is None:
        first = repr(lines[0][:40].strip()) if lines else "an empty file"
        raise FormatError(file, 1, first, _EXPECTED)
    rows = np.array(layout(lines, notes), float).reshape(-1, 7)
    rows = _plausible(rows, notes)
    if not len(rows):
        raise FormatError(file, None, "no usable day", _EXPECTED)
    _, first_of_day = np.unique(rows[:, 0], return_index=True)
    if len(first_of_day) < len(rows):
        notes.add(0, "repeated days, the first kept", len(rows) - len(first_of_day))
    columns = rows[first_of_day].T
    time_ns = from_mjd(columns[0])
    return EarthOrientation(
        time_ns, *columns[1:], files=(str(file),), passed_over=notes.passed_over()
    )


def layout_of(lines):
    """Return the function that reads ``lines``, or None where the layout is not known."""
    head = "\n".join(lines[:60])
    if lines and lines[0].strip().lower().startswith("version 2"):
        return _layouts.igs
    if "BULLETIN B" in head:
        return _layouts.bulletin_b
    for line in lines[:60]:
        if _NEW_C04.match(line):
            return _layouts.c04_new
        if _OLD_C04.match(line):
            return _layouts.c04_old
        if _FINALS.match(line):
            return _layouts.finals
    return None


def _plausible(rows, notes):
    """Return the rows whose numbers can be an Earth orientation."""
    with np.errstate(invalid="ignore"):
        good = (rows[:, 0] > _MJD_RANGE[0]) & (rows[:, 0] < _MJD_RANGE[1])
        good &= (np.abs(rows[:, 1:3]) < _MOST_ANGLE_RAD).all(axis=1)
        good &= np.abs(rows[:, 3]) < _MOST_UT1_S
    if not good.all():
        notes.add(0, "days with impossible numbers", int(np.count_nonzero(~good)))
    return rows[good]
