"""A station's logger files, of any layout, as one table of known quantities in GPS time."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from ..campaign.logger_map import LOGGERS, UNITS, ZERO_AT, in_own_unit, read_logger_map
from ..constants import NS_PER_S
from ..errors import FormatError, SettingsError
from ..formats.plain_table import NOT_A_TIME, read_plain_table
from ..formats.plain_table.laid_out import read_laid_out
from ..time import gps_from_utc
from .clock_jumps import clock_of
from .logger_clean import cleaned
from .motion_table import written_times
from .tables_examine import CODES, EARLIEST_NS

HOUR_NS = 3600 * NS_PER_S


@dataclass(frozen=True)
class LoggerTable:
    """What the loggers of one station have written, in order of time.

    ``time_ns``: GPS time [ns]; ``columns``: of the quantities there are, NaN missing; ``notes``:
    sentences about what was taken out, joined or odd; ``files``: names in the campaign.
    """

    station: str
    time_ns: np.ndarray
    columns: dict
    notes: tuple
    files: tuple


def logger_maps(campaign):
    """Return {file of the campaign: (LoggerMap, name of the map)}.

    Raises
    ------
    SettingsError
        With file and line; and where two maps claim one file.
    """
    claimed = {}
    for path in sorted(campaign.folder(LOGGERS).glob("*.toml")):
        settings = read_logger_map(path)
        name = campaign.relative(path)
        for pattern in settings.files:
            for file in sorted(campaign.root.glob(pattern)):
                key = campaign.relative(file)
                if key in claimed and claimed[key][1] != name:
                    raise SettingsError(f"{key}: claimed by {claimed[key][1]} and {name}")
                claimed[key] = (settings, name)
    return claimed


def read_loggers(station, files):
    """Return the :class:`LoggerTable` of a station, all of its files joined.

    Parameters
    ----------
    station : str
    files : list of (path, name in the campaign, LoggerMap or None)
        Without a map the names of the columns must tell quantity and unit, such as ``battery_mV``.

    Raises
    ------
    FormatError, SettingsError
        Where a file cannot be read, or no column is known.
    """
    parts, notes = [], []
    for path, name, settings in files:
        read = _by_names(path) if settings is None else _by_map(path, settings)
        parts.append(read[:2])
        notes += [f"{name}: {sentence}" for sentence in read[2]]
    time_ns = np.concatenate([part[0] for part in parts])
    columns = {}
    for quantity in UNITS:
        if any(quantity in part[1] for part in parts):
            empty = [np.full(part[0].size, np.nan) for part in parts]
            columns[quantity] = np.concatenate(
                [part[1].get(quantity, e) for part, e in zip(parts, empty, strict=True)]
            )
    time_ns, columns, doubled = _ordered(time_ns, columns)
    if doubled:
        notes.append(f"{doubled} rows of a time that stood before: the first reading was kept")
    columns, told = cleaned(time_ns, columns)
    names = tuple(name for _, name, _ in files)
    return LoggerTable(station, time_ns, columns, (*notes, *told), names)


def _ordered(time_ns, columns):
    """Return rows in order of time, each time once: its first known readings; how many others."""
    sane = time_ns >= EARLIEST_NS
    order = np.flatnonzero(sane)[np.argsort(time_ns[sane], kind="stable")]
    sorted_ns = time_ns[order]
    kept, place = np.unique(sorted_ns, return_inverse=True)
    joined = {}
    for name, values in columns.items():
        row = np.full(kept.size, np.nan)
        known = np.flatnonzero(np.isfinite(values[order]))[::-1]
        row[place[known]] = values[order[known]]  # the last one written stays: the first known
        joined[name] = row
    return kept, joined, sorted_ns.size - kept.size


def _by_names(path):
    """Return (times, columns, notes) of a table whose names tell quantity and unit."""
    table = read_plain_table(path)
    if not table.time_name:
        raise FormatError(path, None, "no time column", "time_utc or time_gps, or a map of columns")
    here = table.time_ns != NOT_A_TIME
    times = table.time_ns[here]
    lines = table.lines if table.lines.size else np.arange(1, here.size + 1)
    columns = {}
    for name, values in zip(table.names, table.values, strict=True):
        quantity, factor, plus = _known(name)
        if quantity and values.dtype == float and name != table.time_name:
            columns[quantity] = factor * _without_codes(values[here], CODES) + plus
    if not columns:
        raise FormatError(path, None, f"no known quantity among {', '.join(table.names)}",
                          "names such as battery_V, or a map of columns")  # fmt: skip
    return _trusted(times, columns, lines[here], list(table.notes), table.scale != "GPS")


def _trusted(times, columns, lines, notes, utc):
    """Return (GPS times, columns, notes) of the rows whose clock can be trusted.

    Rows of one jump and its return stand without readings: the logger was awake.
    """
    clock = clock_of(times, np.stack(list(columns.values()), axis=1), lines)
    kept = clock.trusted | clock.awake
    if not clock.trusted.any():
        notes.append("no row is left whose time can be trusted")
    left = (times - clock.ahead_ns)[kept]
    columns = {
        name: np.where(clock.awake, np.nan, column)[kept] for name, column in columns.items()
    }
    return np.asarray(gps_from_utc(left) if utc else left, np.int64), columns, [
        *notes, *clock.sentences]  # fmt: skip


def _known(name):
    """Return (quantity, factor, plus) of a name such as ``battery_mV``; ('', 1, 0) where none."""
    for quantity, units in UNITS.items():
        stem = quantity.split("_")[0] if not quantity.startswith("snow") else "snow_distance"
        for unit, factor in units.items():
            if name in (quantity, f"{stem}_{unit.replace('/', '_')}"):
                exact = name == quantity
                return quantity, 1.0 if exact else factor, 0.0 if exact else ZERO_AT.get(unit, 0.0)
    return "", 1.0, 0.0


def _without_codes(values, codes):
    return np.where(np.isin(values, codes), np.nan, values)


def _by_map(path, settings):
    """Return (times, columns, notes) of a file by its map."""
    texts, notes, lines = read_laid_out(
        path,
        separator=settings.separator,
        names=settings.names,
        lines_before=settings.lines_before,
        units_below=settings.units_below,
    )
    wanted = [settings.time.column, *(part.column for part in settings.column)]
    lacking = [name for name in wanted if name not in texts]
    if lacking:
        raise FormatError(
            path, None, f"no column {', '.join(lacking)}", f"one of {', '.join(texts)}",
            "put the map right",
        )  # fmt: skip
    notes = list(notes)
    times, here = _mapped_times(path, texts[settings.time.column], settings.time, lines, notes)
    sums, counts = {}, {}
    codes = (*CODES, *settings.missing)
    for part in settings.column:
        values = _without_codes(_numbers(part.column, texts[part.column], notes)[here], codes)
        values = _within(part, in_own_unit(values, part), notes)
        known = np.isfinite(values)
        sums.setdefault(part.quantity, np.zeros(values.size))[known] += values[known]
        number = counts.setdefault(part.quantity, np.zeros(values.size))
        number[known] = 1.0 if part.add else number[known] + 1.0
    columns = {
        name: np.where(counts[name] > 0, total / np.maximum(counts[name], 1.0), np.nan)
        for name, total in sums.items()
    }
    return _trusted(times, columns, lines[here], notes, settings.time.scale == "UTC")


def _mapped_times(path, texts, part, lines, notes):
    """Return (times of readable rows in the map's scale [ns], which rows these are)."""
    readable = np.array([bool(text and text.strip()) for text in texts])
    kept = [text.strip().strip('"') for text in texts if text and text.strip()]
    if part.pattern:
        written = np.array([_moment(path, text, part.pattern) for text in kept], "datetime64[ns]")
        times = written.astype(np.int64)
    else:
        iso_text = part.written == "ISO 8601"
        values = np.array(kept, object) if iso_text else np.array(kept, float)
        times = written_times(values, part, path)
    times = times - _ahead_ns(part, lines[readable])
    lost = int((~readable).sum())
    if lost:
        notes.append(f"rows without a time: {lost}")
    return times, readable


def _ahead_ns(part, lines):
    """Return how far the clock goes ahead in each row (n,): as said first, or from a line on."""
    ahead_h = np.full(lines.size, part.ahead_h)
    for one in part.set:
        ahead_h[lines >= one.from_line] = one.ahead_h
    return np.round(ahead_h * HOUR_NS).astype(np.int64)


def _moment(path, text, pattern):
    try:
        return np.datetime64(datetime.strptime(text, pattern).isoformat(), "ns")
    except ValueError:
        raise FormatError(
            path, None, f"a time '{text[:30]}'", f"the pattern {pattern} of its map"
        ) from None


def _numbers(name, texts, notes):
    """Return texts as numbers; what is none becomes NaN and is told once."""
    values, odd = np.full(len(texts), np.nan), []
    for row, text in enumerate(texts):
        try:
            values[row] = float(text) if text and text.strip() else np.nan
        except ValueError:
            odd.append(text)
    if odd:
        notes.append(f"{name}: values that are no numbers: {len(odd)}, the first '{odd[0][:20]}'")
    return values


def _within(part, values, notes):
    """Return readings without those beyond the map's limits, or at them for many rows."""
    low = -np.inf if part.least is None else part.least
    high = np.inf if part.most is None else part.most
    with np.errstate(invalid="ignore"):
        beyond = (values <= low) | (values >= high)
    if beyond.any():
        notes.append(
            f"{part.column}: {int(beyond.sum())} readings at or beyond {low:g} to {high:g} of its "
            "map, taken as missing"
        )
    return np.where(beyond, np.nan, values)
