"""Reading RINEX clock files into :class:`stakeline.tables.Clocks`."""

import numpy as np

from ...errors import FormatError, TimeError
from ...tables import Clocks
from ...time import to_gps
from .._kernels import read_clock_lines
from ..compression import open_bytes
from ..fixed_columns import Notes, Text, with_notes
from ._header import parse_header
from .joining import join

_NOT_KEPT = {b"CR": "calibration", b"DR": "discontinuity", b"MS": "monitor"}


def read_clocks(path):
    """Read a packed or plain clock file; several in one archive are joined."""
    members = open_bytes(path)
    return with_notes(
        join([parse_clocks(data, name) for name, data in members]), members.passed_over
    )


def parse_clocks(data, file="clocks"):
    """Return the :class:`~stakeline.tables.Clocks` in the bytes of a RINEX clock file.

    Parameters
    ----------
    data : bytes
    file : str
        Name for messages.

    Raises
    ------
    FormatError
        No clock header, an unknown time system, or no clock at all.

    Notes
    -----
    Times become GPS time. The second value of a record is its standard deviation; rates and
    accelerations on continuation lines are left out. Damaged lines are read past and listed.
    """
    text, notes = Text(data, file), Notes(file)
    header = parse_header(text, notes)
    rows = np.arange(header.body, len(text))
    pair = text.letters(rows, 0).astype(np.int64) * 256 + text.letters(rows, 1)
    _note_others(text, rows, pair, notes)
    satellite_part = _records(text, rows[pair == _pair(b"AS")], header, notes)
    receiver_part = _records(text, rows[pair == _pair(b"AR")], header, notes)
    if not satellite_part[0].size and not receiver_part[0].size:
        raise FormatError(file, None, "no satellite or receiver clock", "records AS or AR")
    times, satellites, bias, sigma = _satellite_table(text, satellite_part, notes)
    return Clocks(
        times,
        satellites,
        bias,
        sigma,
        agency=header.agency,
        frame=header.frame,
        antenna_models=header.antenna_models,
        receivers=_receivers(text, receiver_part),
        comments=tuple(header.comments),
        passed_over=notes.passed_over(),
        files=(text.file,),
    )


def _pair(name):
    return name[0] * 256 + name[1]


def _note_others(text, rows, pair, notes):
    """Note records that are not kept, and lines that are no records at all."""
    known = np.isin(pair, [_pair(b"AS"), _pair(b"AR"), _pair(b"  ")])
    for name, what in _NOT_KEPT.items():
        here = pair == _pair(name)
        notes.add_rows(rows[here], f"{what} records ({name.decode()}) are not used")
        known |= here
    other = rows[~known]
    notes.add_rows(other[text.stop[other] > text.start[other]], "line of no known record type")


def _records(text, rows, header, notes):
    """Return (rows, year column, time, bias, sigma) of the sound records among ``rows``."""
    column, time_ns = np.empty(len(rows), np.uint8), np.empty(len(rows), np.int64)
    bias_s, sigma_s = np.empty(len(rows)), np.empty(len(rows))
    read_clock_lines(text.data, text.start[rows], text.stop[rows], column, time_ns, bias_s, sigma_s)
    sound = column > 0
    if not sound.all():
        notes.add_rows(rows[~sound], "damaged clock record")
        parts = (rows, column, time_ns, bias_s, sigma_s)
        rows, column, time_ns, bias_s, sigma_s = (part[sound] for part in parts)
    try:
        time_ns = to_gps(time_ns, header.time_system)
    except TimeError as error:
        found = f"time system '{header.time_system}'"
        raise FormatError(text.file, None, found, str(error).split("; ")[-1]) from None
    return rows, column, time_ns, bias_s, sigma_s


def _sorted_unique(values):
    """Return sorted unique values and the place of each; quick where already sorted."""
    steps = np.diff(values)
    if (steps < 0).any():
        return np.unique(values, return_inverse=True)
    first = np.concatenate(([True], steps > 0))[: len(values)]
    return values[first], np.cumsum(first) - 1


def _satellite_table(text, records, notes):
    """Return (times, satellites, bias, sigma); of repeated records the first is kept."""
    rows, _, time_ns, bias_s, sigma_s = records
    satellite = text.satellites(rows, 3)
    known = satellite > 0
    if not known.all():
        notes.add_rows(rows[~known], "clock of no known satellite")
        parts = (rows, satellite, time_ns, bias_s, sigma_s)
        rows, satellite, time_ns, bias_s, sigma_s = (part[known] for part in parts)
    times, time_index = _sorted_unique(time_ns)
    satellites = np.flatnonzero(np.bincount(satellite, minlength=1)).astype(np.int16)
    place = time_index, np.searchsorted(satellites, satellite)
    bias, sigma = (np.full((len(times), len(satellites)), np.nan) for _ in range(2))
    backwards = np.arange(len(rows))[::-1].copy()  # so that the first of repeated ones stays
    bias[place[0][backwards], place[1][backwards]] = bias_s[backwards]
    sigma[place[0][backwards], place[1][backwards]] = sigma_s[backwards]
    repeated = rows[bias[place] != bias_s]
    notes.add_rows(repeated, "repeated clock with another value, the first kept")
    return times, satellites, bias, sigma


def _receivers(text, records):
    """Return receivers by name: (time, bias, sigma), each sorted by time."""
    rows, column, time_ns, bias_s, sigma_s = records
    if not rows.size:
        return {}
    letters = text.data[text.start[rows][:, None] + np.arange(3, 12)]
    letters[column == 8, 4:] = 32
    names, index = np.unique(np.ascontiguousarray(letters).view("S9").ravel(), return_inverse=True)
    order = np.lexsort((time_ns, index))
    bounds = np.searchsorted(index[order], np.arange(len(names) + 1))
    receivers = {}
    for k, name in enumerate(names):
        chosen = order[bounds[k] : bounds[k + 1]]
        key = name.decode("latin-1").strip()
        receivers[key] = (time_ns[chosen], bias_s[chosen], sigma_s[chosen])
    return receivers
