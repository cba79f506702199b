"""Write observations as RINEX 3.05, plain or compact."""

import numpy as np

from ...errors import FormatError
from ...tables import SYSTEMS, satellite_name
from ...time import to_gps, utc_from_gps
from ..compact_rinex.encoding import HEAD, MISSING, clock_lines, encode, epoch_differences
from ._writing_kernels import write_rows
from .header_writing import header_lines

_LARGEST, _SMALLEST = 9_999_999_999_999, -999_999_999_999
_WRAP = 10**12  # thousandths: phases are clipped by 10^9 cycles, RINEX 3.05, table A3
_CHANGES_LAYOUT = (
    *("SYS / # / OBS TYPES", "# / TYPES OF OBSERV", "SYS / SCALE FACTOR", "OBS SCALE FACTOR"),
    *("RINEX VERSION / TYPE", "CRINEX VERS   / TYPE"),
)


def write_observations(observations, compact=False):
    """Return the bytes of a RINEX 3.05 observation file.

    Parameters
    ----------
    observations : Observations
    compact : bool
        Write the compact form, version 3.0.

    Values are written to 0.001 (times their scale factor), epochs to 100 ns and clock offsets to
    1e-12 s. Phases too large for their field are clipped by 10^9 cycles and their lock bit 1 is
    set where that changes, as the standard says.

    Raises
    ------
    FormatError
        Where another value is too large for its field, or a satellite's system has no list of
        observables.
    """
    size = _sizes(observations)
    number, lock = _numbers(observations)
    strength = np.ascontiguousarray(observations.strength)
    heads = _epoch_lines(observations)
    satellite = np.asarray(observations.satellite, np.int64)
    if compact:
        restart = np.zeros(len(observations), bool)
        restart[: 1 if len(observations) else 0] = True
        after = [e.epoch_index for e in observations.events if e.epoch_index < len(observations)]
        restart[after] = True
        row_start = np.asarray(observations.row_start, np.int64)
        body, row_end = encode(row_start, restart, satellite, size, number, lock, strength)
        heads = [line.ljust(41) + _listed(observations, k) for k, line in enumerate(heads)]
        clocks = clock_lines(observations.clock_offset_s, restart)
        lines = epoch_differences(heads, restart)
        heads = [f"{line}\n{clock}\n" for line, clock in zip(lines, clocks, strict=True)]
    else:
        rows, columns = number.shape
        out, row_end = np.empty(rows * (16 * columns + 4) + 1, np.uint8), np.empty(rows, np.int64)
        write_rows(satellite, size, number, lock, strength, out, row_end)
        body = out[: row_end[-1] if rows else 0].tobytes()
        heads = [
            _with_clock(line, c) for line, c in zip(heads, observations.clock_offset_s, strict=True)
        ]
    header = "".join(header_lines(observations, _in_system(observations)))
    start = "".join(HEAD) if compact else ""
    return (start + header).encode("latin-1", "replace") + b"".join(
        _records(observations, heads, body, row_end)
    )


def _sizes(observations):
    """Return the number of observables by system."""
    size = np.zeros(len(SYSTEMS), np.int64)
    for system, codes in observations.codes.items():
        size[SYSTEMS.index(system)] = len(codes)
    used = np.unique(np.asarray(observations.satellite, np.int64) // 100)
    for k in used[size[used] == 0]:
        raise FormatError("observations", None, f"satellites of {SYSTEMS[k]}", "their observables")
    return size


def _numbers(observations):
    """Return (values in thousandths as they are written, lock digits)."""
    value, lock = observations.value, np.array(observations.lock, np.uint8)
    scaled = value * 1000.0
    phase = np.zeros(value.shape, bool)
    for system, codes in observations.codes.items():
        own = observations.satellite // 100 == SYSTEMS.index(system)
        for j, code in enumerate(codes):
            factor = observations.header.scale_factors.get((system, code), 1.0)
            if factor != 1.0:
                scaled[own, j] *= factor
            phase[own, j] = code.startswith("L")
    missing = np.isnan(value)
    number = np.where(missing, 0.0, np.rint(scaled))
    wraps = np.where(number > _LARGEST, np.ceil((number - _LARGEST) / _WRAP), 0.0)
    wraps = np.where(number < _SMALLEST, -np.ceil((_SMALLEST - number) / _WRAP), wraps)
    if np.any(wraps[~phase] != 0):
        row, column = np.argwhere((wraps != 0) & ~phase)[0]
        name = satellite_name(int(observations.satellite[row]))
        raise FormatError(
            "observations", None, f"{value[row, column]} of {name}", "a value that fits F14.3"
        )
    if wraps.any():
        lock |= _where_clipping_changes(observations.satellite, wraps)
    number -= wraps * _WRAP
    return np.where(missing, MISSING, number.astype(np.int64)), lock


def _where_clipping_changes(satellite, wraps):
    """Return lock bit 1 where a satellite's phase is clipped otherwise than in its row before."""
    order = np.argsort(satellite, kind="stable")
    sorted_wraps = wraps[order]
    before = np.zeros_like(sorted_wraps)
    same = satellite[order][1:] == satellite[order][:-1]
    before[1:][same] = sorted_wraps[:-1][same]
    changed = np.zeros(wraps.shape, np.uint8)
    changed[order] = sorted_wraps != before
    return changed


def _in_system(observations):
    """Return a function that turns GPS time into the time system of the file. [ns]"""
    system = observations.header.time_system
    if system in ("GLO", "UTC"):
        return utc_from_gps
    offset = int(to_gps(0, system))
    return lambda time_ns: np.asarray(time_ns, np.int64) - offset


def calendar(time_ns):
    """Return (year, month, day, hour, minute, 100-ns units of the minute) of a time."""
    units = (int(time_ns) + 50) // 100
    text = str(np.int64(units * 100).view("datetime64[ns]"))
    year, month, day = int(text[:4]), int(text[5:7]), int(text[8:10])
    return year, month, day, int(text[11:13]), int(text[14:16]), units % 600_000_000


def _epoch_line(time_ns, flag, count):
    if time_ns is None:
        return f">{'':27}   {flag}{count:3d}"
    year, month, day, hour, minute, units = calendar(time_ns)
    second = f"{units // 10_000_000:3d}.{units % 10_000_000:07d}"
    return f"> {year:4d} {month:02d} {day:02d} {hour:02d} {minute:02d}{second}  {flag}{count:3d}"


def _epoch_lines(observations):
    """Return the epoch lines, without clock offset and satellites."""
    times = np.atleast_1d(_in_system(observations)(observations.time_ns))
    counts = np.diff(observations.row_start)
    rows = zip(times.tolist(), observations.flag.tolist(), counts.tolist(), strict=True)
    return [_epoch_line(*row) for row in rows]


def _with_clock(line, offset):
    return f"{line}\n" if np.isnan(offset) else f"{line}      {offset:15.12f}\n"


def _listed(observations, epoch):
    rows = slice(observations.row_start[epoch], observations.row_start[epoch + 1])
    return "".join(satellite_name(s) for s in observations.satellite[rows].tolist())


def _event_text(event, in_system):
    lines = [line for line in event.lines if line[60:80].strip() not in _CHANGES_LAYOUT]
    time = None if event.time_ns is None else int(in_system(event.time_ns))
    return "".join(f"{line}\n" for line in (_epoch_line(time, event.flag, len(lines)), *lines))


def _records(observations, heads, body, row_end):
    """Yield the records in order: events before the epoch whose index they carry."""
    in_system = _in_system(observations)
    events = sorted(observations.events, key=lambda event: event.epoch_index)
    end = np.concatenate(([0], row_end))[observations.row_start].tolist()
    place = 0
    for k, head in enumerate(heads):
        while place < len(events) and events[place].epoch_index <= k:
            yield _event_text(events[place], in_system).encode("latin-1", "replace")
            place += 1
        yield head.encode("latin-1")
        yield body[end[k] : end[k + 1]]
    for event in events[place:]:
        yield _event_text(event, in_system).encode("latin-1", "replace")
