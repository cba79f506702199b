"""Read observation files into :class:`~stakeline.tables.Observations`."""

import dataclasses

import numpy as np

from ...errors import FormatError, TimeError
from ...tables import SYSTEMS, Event, Observations
from ...time import to_gps
from .._observation_kernels import (
    EPOCH_COLUMNS,
    EPOCHS,
    EVENT_COLUMNS,
    EVENTS,
    ISSUES_FROM,
    ROWS,
)
from ..compact_rinex.decoding import HEADER_LINES, decode
from ..compression import open_bytes
from ..fixed_columns import Notes, Text, number, whole_number
from ._kernels import walk_long, walk_short
from .codes import index_of
from .header import read_header_lines
from .issues import ISSUES, add_issues
from .joining import concatenate, in_order, join
from .slips import mark_slips

_SATELLITES, _MOST_LISTED = 100 * len(SYSTEMS), 1000
_MOST_CELLS = 400_000_000
_MOST_CHANGES = 10_000
_COMPACT_LABEL = "CRINEX VERS   / TYPE"
_OTHER_SESSION = "another header begins; its epochs are joined to those before"


def read_observations(path):
    """Return the observations of a file, packed or not; members of an archive are joined.

    Parameters
    ----------
    path : str or path

    Raises
    ------
    FormatError
        Where the file cannot be unpacked or holds no usable header; it names file and line. What
        is damaged behind the header is passed over, counted and located in ``passed_over``.
    """
    members = open_bytes(path)
    if not members:
        raise FormatError(path, None, "an empty archive", "an observation file")
    pieces, problems = [], []
    for name, data in members:
        try:
            pieces.append(parse_observations(data, name))
        except FormatError as problem:
            problems.append((name, problem))
    if not pieces:
        raise problems[0][1]
    notes = Notes(path)
    for name, reason in problems:
        notes.add(0, f"member {name} passed over: {reason}")
    whole = join(pieces) if len(pieces) > 1 else pieces[0]
    extra = (*members.passed_over, *notes.passed_over())
    return dataclasses.replace(whole, passed_over=(*extra, *whole.passed_over))


def read_header(path):
    """Return the :class:`~stakeline.tables.ObservationHeader` of a file (of its first member).

    Raises
    ------
    FormatError
        As :func:`read_observations`.
    """
    members = open_bytes(path)
    if not members:
        raise FormatError(path, None, "an empty archive", "an observation file")
    name, data = members[0]
    text, notes = Text(data, name), Notes(name)
    _, line = _compact_version(text, _first_line(text, notes))
    return read_header_lines(text, line, notes)[0].header()


def parse_observations(data, file):
    """Return the observations in the unpacked bytes of one file.

    Parameters
    ----------
    data : bytes
    file : str
        Name for messages.

    Raises
    ------
    FormatError
        As :func:`read_observations`.
    """
    text, notes = Text(data, file), Notes(file)
    text.data = text.data.copy()  # writable, as the kernels' own work space: one compilation
    segments = list(_segments(text, notes, _first_line(text, notes)))
    whole = in_order(concatenate(segments))
    if not len(whole):
        notes.add(0, "no whole epoch behind the header")
    return dataclasses.replace(
        whole, files=(text.file,), passed_over=(*notes.passed_over(), *whole.passed_over)
    )


def _first_line(text, notes):
    """Return the first line that is not blank."""
    line = 0
    while line < min(len(text), 100) and not text.line(line).strip():
        notes.add(line + 1, ISSUES[0])
        line += 1
    return line


def _compact_version(text, line):
    """Return (0 plain, 1 or 3 compact, line of the header proper)."""
    first = text.line(line) if line < len(text) else ""
    if not first[60:80].startswith("CRINEX"):
        return 0, line
    version = number(first[:20].strip()[:5])
    if first[60:80] != _COMPACT_LABEL or int(version if version == version else 0) not in (1, 3):
        found = f"'{first[:20].strip()}' '{first[60:80].strip()}'"
        raise FormatError(text.file, line + 1, found, f"1.0 or 3.x and {_COMPACT_LABEL}")
    second = text.line(line + 1) if line + 1 < len(text) else ""
    if second[60:80].strip() != "CRINEX PROG / DATE":
        found = f"'{second[60:80].strip()}'"
        raise FormatError(text.file, line + 2, found, "CRINEX PROG / DATE in columns 61-80")
    return int(version), line + HEADER_LINES


def _segments(text, notes, line):
    """Yield the observations between changes of the observables, as they stand in the file."""
    reader, changes = None, 0
    while reader is None or line < len(text):
        events = ()
        if reader is None or _is_header(text.line(line)):
            try:
                compact, header_line = _compact_version(text, line)
                new, body = read_header_lines(text, header_line, notes)
            except FormatError as problem:
                if reader is None:
                    raise
                notes.add(line + 1, f"a further header cannot be read ({problem})")
                line = _next_header(text, line + 1)
                continue
            if reader is not None:
                notes.add(line + 1, _OTHER_SESSION)
            reader, line = new, body
        else:
            events, line = _take_changes(text, reader, line, notes)
        segment, line = _segment(text, notes, reader, compact, line, events)
        yield segment
        changes += 1
        if changes > _MOST_CHANGES:
            raise FormatError(
                text.file, line, f"more than {_MOST_CHANGES} changes of the observables", "fewer"
            )


def _is_header(line):
    return line[60:80].startswith(("RINEX VERSION / TYPE", _COMPACT_LABEL))


def _next_header(text, line):
    while line < len(text) and not _is_header(text.line(line)):
        line += 1
    return line


def _take_changes(text, reader, line, notes):
    """Take the header lines of an event that changes observables; return (event, next line)."""
    at = 28 if reader.version < 3 else 31
    head = text.line(line)
    count = min(whole_number(head[at + 1 : at + 4], 0), len(text) - line - 1)
    lines = []
    reader.begin_changes()
    for k in range(line + 1, line + 1 + count):
        content = text.line(k)
        if _is_header(content):
            break
        lines.append(content)
        reader.take(content, k + 1)
    reader.check(line + 1)
    flag = whole_number(head[at : at + 1], 4)
    return (Event(None, flag, 0, tuple(lines)),), line + 1 + len(lines)


def _room(text, reader, compact, codes, line):
    """Return (rows, columns) that are enough for the records from ``line`` on."""
    columns = max(len(listed) for listed in codes.values())
    rows = len(text) - line
    if reader.version < 3 and not compact:
        rows = rows // max(1, -(-columns // 5)) + 1
    elif not compact:
        first = text.data[text.start[line:]] if rows else np.zeros(0, np.uint8)
        rows -= int(np.count_nonzero(first == ord(">")))
    if rows * columns > _MOST_CELLS:
        raise FormatError(
            text.file, None, f"room for {rows} x {columns} values", f"less than {_MOST_CELLS}"
        )
    return rows, columns


def _layout(reader, codes, columns):
    """Return (number of observables, divisor of thousandths) by system and column, flat."""
    size, divisor = np.zeros(len(SYSTEMS), np.int64), np.full((len(SYSTEMS), columns), 1000.0)
    factors = reader.scale_factors()
    for system, listed in codes.items():
        index = SYSTEMS.index(system)
        size[index] = len(listed)
        for j, code in enumerate(listed):
            divisor[index, j] *= factors.get((system, code), 1.0)
    return size, divisor.ravel()


def _output(rows, columns, lines):
    """Return the empty flat output arrays of the kernels.

    Epochs (time, flag, rows so far), clock offsets, satellites, values, lock digits, strength
    digits, events (line, flag, number of lines, next epoch, time) and the counter.
    """
    cells = (np.empty(rows * columns), *(np.empty(rows * columns, np.uint8) for _ in range(2)))
    return (
        (np.empty(EPOCH_COLUMNS * lines, np.int64), np.empty(lines)),
        (np.empty(rows, np.int16), *cells),
        np.empty(EVENT_COLUMNS * lines, np.int64),
        np.zeros(ISSUES_FROM + 2 * len(ISSUES), np.int64),
    )


def _segment(text, notes, reader, compact, line, events):
    """Return (observations up to the next change of the observables, line of that change)."""
    codes = reader.codes_of_systems()
    if not codes:
        raise FormatError(text.file, line, "no observables of a known system", "one of " + SYSTEMS)
    rows, columns = _room(text, reader, compact, codes, line)
    layout, end = _layout(reader, codes, columns), len(text)
    output = _output(rows, columns, end - line)
    default = index_of("G" if reader.system == "M" else reader.system) if reader.version < 3 else -1
    form = np.array([compact == 1, default, columns, text.raw[-1:] == b"\n"], np.int64)
    lines = (text.data, text.start, text.stop)
    if compact:
        line = decode(lines, line, end, form, layout, output)
    else:
        walk = walk_short if reader.version < 3 else walk_long
        work = (np.full(_SATELLITES, -1, np.int64), np.zeros(_MOST_LISTED, np.int64))
        line = walk(lines, line, end, (form, *layout), *output, work)
    add_issues(notes, output[-1][ISSUES_FROM:].reshape(-1, 2).tolist())
    return _record(text, notes, reader, codes, columns, output, events), int(line)


def _record(text, notes, reader, codes, columns, output, events):
    """Return the filled part of the kernels' output as a record."""
    (epoch, clock), (satellite, value, lock, strength), event, counter = output
    n, rows = int(counter[EPOCHS]), int(counter[ROWS])
    epoch = epoch[: EPOCH_COLUMNS * n].reshape(n, EPOCH_COLUMNS)
    event = event[: EVENT_COLUMNS * counter[EVENTS]].reshape(-1, EVENT_COLUMNS)
    satellite = _trimmed(satellite, rows)
    cells = (_trimmed(a, rows * columns).reshape(rows, columns) for a in (value, lock, strength))
    value, lock, strength = cells
    if reader.version < 3:
        present = {SYSTEMS[k] for k in np.unique(satellite // 100)}
        present = present or {"G" if reader.system == "M" else reader.system}
        codes = {s: c for s, c in codes.items() if s in present}
    header = reader.header()
    factors = {key: f for key, f in header.scale_factors.items() if key[0] in codes}
    record = Observations(
        header=dataclasses.replace(header, scale_factors=factors),
        time_ns=_gps_time(text, reader, epoch[:, 0]),
        flag=epoch[:, 1].astype(np.uint8),
        clock_offset_s=clock[:n].copy(),
        row_start=np.concatenate(([0], epoch[:, 2])),
        satellite=satellite,
        value=value,
        lock=lock,
        strength=strength,
        codes=codes,
        events=(*events, *_events(text, reader, event)),
    )
    return mark_slips(record, notes)


def _trimmed(array, rows):
    """Return the first ``rows``, without holding on to much more memory than they need."""
    return array[:rows] if 2 * rows >= len(array) else array[:rows].copy()


def _gps_time(text, reader, time_ns):
    system = reader.header().time_system
    try:
        return to_gps(time_ns, system)
    except TimeError as problem:
        line = reader.fields.get("first_line")
        raise FormatError(text.file, line, "an unknown time system", str(problem)) from None


def _events(text, reader, table):
    """Return the event records with their lines."""
    found = []
    for line, flag, count, index, time_ns in table.tolist():
        time = int(_gps_time(text, reader, time_ns)) if time_ns >= 0 else None
        lines = tuple(text.line(k) for k in range(line + 1, line + 1 + count))
        found.append(Event(time, flag, index, lines))
    return found
