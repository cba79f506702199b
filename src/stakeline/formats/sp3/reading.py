"""Reading SP3 into :class:`stakeline.tables.Orbits`."""

import numpy as np

from ...errors import FormatError, TimeError
from ...tables import Orbits
from ...time import to_gps
from ..compression import open_bytes
from ..fixed_columns import Notes, Text, with_notes
from ._header import parse_header
from .joining import join

_NO_CLOCK_S = 0.999999  # 999999 us and beyond: no clock; SP3-d, section "The position record"
_MM, _PS = 1e-3, 1e-12  # m, s


def read_sp3(path):
    """Read a packed or plain SP3 file; several in one archive are joined."""
    members = open_bytes(path)
    return with_notes(join([parse_sp3(data, name) for name, data in members]), members.passed_over)


def parse_sp3(data, file="sp3"):
    """Return the :class:`~stakeline.tables.Orbits` in the bytes of an SP3-a, -b, -c or -d file.

    Parameters
    ----------
    data : bytes
    file : str
        Name for messages.

    Raises
    ------
    FormatError
        No SP3 header, an unknown time system, or no usable position at all.

    Notes
    -----
    Times become GPS time; satellites are sorted; positions of 0 0 0 and clocks of 999999.999999
    are NaN. Damaged lines are read past and listed in ``passed_over``.
    """
    text, notes = Text(data, file), Notes(file)
    header = parse_header(text, notes)
    rows = np.arange(header.body, len(text))
    kind = text.letters(rows, 0)
    epoch_rows = rows[kind == ord("*")]
    time_ns = _times(text, header, epoch_rows, notes)
    parts = {letter: _placed(text, rows, kind, letter, epoch_rows, notes) for letter in "PV"}
    good_epoch = np.concatenate(([False], time_ns >= 0))
    parts = {k: tuple(a[good_epoch[p[1]]] for a in p) for k, p in parts.items()}
    if not parts["P"][0].size:
        why = "; ".join(str(note) for note in notes.passed_over()[:2])
        found = f"no usable position ({why})" if why else "no usable position"
        raise FormatError(file, None, found, "records such as 'PG01 ...' of GNSS satellites")
    _check_end(text, header, epoch_rows, notes)
    return _orbits(text, header, time_ns, parts, notes)


def _times(text, header, epoch_rows, notes):
    """Return GPS time of each epoch line, -1 where it is damaged. [ns]"""
    shifted = text.letters(epoch_rows, 2) != 32  # a blank is missing in some files
    time_ns = text.times(epoch_rows, 3, 11)
    time_ns[shifted] = text.times(epoch_rows[shifted], 2, 11)
    notes.add_rows(epoch_rows[time_ns < 0], "damaged epoch, its records left out")
    try:
        gps_ns = to_gps(time_ns, header.time_system)
    except TimeError as error:
        raise FormatError(
            text.file, None, f"time system '{header.time_system}'", str(error).split("; ")[-1]
        ) from None
    return np.where(time_ns < 0, -1, gps_ns)


def _placed(text, rows, kind, letter, epoch_rows, notes):
    """Return (rows, number of the epoch from 1, satellites) of the P or V records."""
    rows = rows[kind == ord(letter)]
    epoch = np.searchsorted(epoch_rows, rows)
    notes.add_rows(rows[epoch == 0], f"{letter} record before the first epoch")
    satellite = text.satellites(rows, 1)
    notes.add_rows(rows[satellite == 0], f"{letter} record of no known satellite")
    keep = (epoch > 0) & (satellite > 0)
    return rows[keep], epoch[keep], satellite[keep]


def _check_end(text, header, epoch_rows, notes):
    tail = range(len(text) - 1, max(header.body, len(text) - 20), -1)
    if not any(text.line(index).startswith("EOF") for index in tail):
        notes.add(len(text), "no EOF line: the file may be cut")
    if header.epochs is not None and header.epochs != len(epoch_rows):
        notes.add(1, f"{header.epochs} epochs announced, {len(epoch_rows)} found")


def _orbits(text, header, time_ns, parts, notes):
    satellites = np.unique(np.concatenate([p[2] for p in parts.values()]))
    times = np.unique(np.concatenate([time_ns[p[1] - 1] for p in parts.values()]))
    unnamed = ~np.isin(satellites, header.satellites)
    if header.satellites and unnamed.any():
        notes.add(3, f"{np.count_nonzero(unnamed)} satellites have records but are not named")
    cells = {}
    for letter, (rows, epoch, satellite) in parts.items():
        time_index = np.searchsorted(times, time_ns[epoch - 1])
        cells[letter] = rows, time_index, np.searchsorted(satellites, satellite)
    shape = len(times), len(satellites)
    fields = _position_fields(text, header, cells["P"], shape, notes)
    if cells["V"][0].size:
        fields |= _velocity_fields(text, cells["V"], shape, notes)
    return Orbits(
        times,
        satellites,
        frame=header.frame,
        agency=header.agency,
        accuracy_m=_accuracy(header, satellites),
        orbit_type=header.orbit_type,
        data_used=header.data_used,
        comments=tuple(header.comments),
        passed_over=notes.passed_over(),
        files=(text.file,),
        **fields,
    )


def _accuracy(header, satellites):
    """Return 2^n mm of the header for each satellite, NaN where it gives 0 (unknown). [m]"""
    given = dict(zip(header.satellites, header.accuracies, strict=False))
    exponent = np.array([given.get(int(s), 0) for s in satellites], float)
    return np.where(
        (exponent > 0) & (exponent < 100), _MM * 2.0 ** np.minimum(exponent, 99), np.nan
    )


def _table(cells, shape, values):
    """Return ``values`` of records set into (epochs, satellites, ...); of repeated, the first."""
    _, time_index, satellite_index = cells
    table = np.full(shape + values.shape[1:], np.nan)
    backwards = np.arange(len(values))[::-1].copy()
    table[time_index[backwards], satellite_index[backwards]] = values[backwards]
    return table


def _vector(text, rows, shifts, what, notes):
    """Return the four numbers of P or V records, NaN where damaged or marked as missing."""
    value, good = text.numbers(rows, [4, 18, 32, 46], 14, shifts)
    complete = good.all(axis=1) & ~np.isnan(value[:, :3]).any(axis=1)
    notes.add_rows(rows[~complete], f"damaged {what} record")
    value[~complete] = np.nan
    value[(value[:, :3] == 0.0).all(axis=1), :3] = np.nan
    return value


def _position_fields(text, header, cells, shape, notes):
    """Return the fields of the position records: km to m, us to s."""
    rows = cells[0]
    value = _vector(text, rows, [3, 3, 3, -6], "position", notes)
    value[np.abs(value[:, 3]) >= _NO_CLOCK_S, 3] = np.nan
    place = np.unique(np.column_stack(cells[1:]), axis=0)
    if len(place) < len(rows):
        notes.add(0, "repeated position records, the first kept", len(rows) - len(place))
    fields = {
        "position_m": _table(cells, shape, value[:, :3]),
        "clock_s": _table(cells, shape, value[:, 3]),
    }
    if header.version in "cd":
        fields |= _sigmas(text, header, cells, shape)
        flags = {"clock_event": (74, "E"), "clock_predicted": (75, "P")}
        flags |= {"manoeuvre": (78, "M"), "orbit_predicted": (79, "P")}
        for name, (column, letter) in flags.items():
            marked = np.zeros(shape, bool)
            marked[cells[1], cells[2]] = text.letters(rows, column) == ord(letter)
            fields[name] = marked
    return fields


def _sigmas(text, header, cells, shape):
    """Return standard deviations base^n, in mm and ps, where the records give exponents."""
    exponent, _ = text.numbers(cells[0], [61, 64, 67, 70], [2, 2, 2, 3])
    if np.isnan(exponent).all():
        return {}
    with np.errstate(over="ignore"):
        position = _MM * header.position_base ** exponent[:, :3]
        clock = _PS * header.clock_base ** exponent[:, 3]
    return {
        "position_sigma_m": _table(cells, shape, position),
        "clock_sigma_s": _table(cells, shape, clock),
    }


def _velocity_fields(text, cells, shape, notes):
    """Return the fields of the velocity records: dm/s to m/s, 1e-4 us/s to s/s."""
    value = _vector(text, cells[0], [-1, -1, -1, -10], "velocity", notes)
    value[np.abs(value[:, 3]) >= _NO_CLOCK_S * 1e-4, 3] = np.nan
    return {
        "velocity_m_s": _table(cells, shape, value[:, :3]),
        "clock_rate": _table(cells, shape, value[:, 3]),
    }
