"""Compiled pieces shared by the readers of plain and compact observation files."""

import numpy as np

from ..compiling import njit
from ._kernels import day_number, whole

# Rows of the table of issues; the sentences stand in rinex_obs/issues.py in the same order.
BLANK_LINE, STRAY, BAD_EPOCH, BAD_FLAG, BAD_SATELLITE, NO_CODES, TWICE = 0, 1, 2, 3, 4, 5, 6
BAD_FIELD, BAD_DIGIT, SURPLUS, MISCOUNT, CUT, MISALIGNED, EVENT_CUT = 7, 8, 9, 10, 11, 12, 13
BAD_DIFFERENCE, LOST = 14, 15
EPOCHS, ROWS, EVENTS = 0, 1, 2  # places in ``used``
NO_TIME = -1

_BLANK, _ZERO, _POINT, _MINUS, _LABEL = 32, 48, 46, 45, 60
_SYSTEM = np.full(256, -1, np.int64)
_SYSTEM[np.frombuffer(b"GRECJSI", np.uint8)] = np.arange(7)
_CODES_3 = np.frombuffer(b"SYS / # / OBS TY", np.uint8)
_CODES_2 = np.frombuffer(b"# / TYPES OF OBS", np.uint8)
_SCALE_3 = np.frombuffer(b"SYS / SCALE FACT", np.uint8)
_SCALE_2 = np.frombuffer(b"OBS SCALE FACTOR", np.uint8)
_VERSION = np.frombuffer(b"RINEX VERSION / ", np.uint8)
_COMPACT = np.frombuffer(b"CRINEX VERS   / ", np.uint8)
_COMMENT = np.frombuffer(b"COMMENT", np.uint8)


@njit
def note(issue, kind, line):
    """Count an issue of ``kind`` at ``line`` (from 0); its first line is kept, from 1."""
    if issue[kind, 0] == 0:
        issue[kind, 1] = line + 1
    issue[kind, 0] += 1


@njit
def is_blank(data, first, last):
    """Return whether bytes ``first:last`` hold nothing but blanks."""
    for i in range(first, last):
        if data[i] != _BLANK:
            return False
    return True


@njit
def stands_at(data, first, last, text):
    """Return whether ``text`` stands at column 61 of the line ``first:last``."""
    if last - first < _LABEL + text.size:
        return False
    for k in range(text.size):
        if data[first + _LABEL + k] != text[k]:
            return False
    return True


@njit
def starts_header(data, first, last):
    """Return whether a line is the first of a header."""
    return stands_at(data, first, last, _VERSION) or stands_at(data, first, last, _COMPACT)


@njit
def is_comment(data, first, last):
    """Return whether a line carries the label COMMENT."""
    return stands_at(data, first, last, _COMMENT)


@njit
def seconds_ns(data, first, last):
    """Return [ns] of the seconds ``F11.7`` (any number of decimals) in ``first:last``, or -1."""
    i, number, decimals, behind, digits = first, np.int64(0), 0, False, 0
    while i < last and data[i] == _BLANK:
        i += 1
    while i < last:
        digit = np.int64(data[i]) - _ZERO
        if 0 <= digit <= 9 and digits < 16:
            if decimals < 9:
                number = 10 * number + digit
                decimals += behind
            digits += 1
        elif data[i] == _POINT and not behind:
            behind = True
        else:
            return np.int64(-1)
        i += 1
    if digits == 0:
        return np.int64(-1)
    for _ in range(9 - decimals):
        number *= 10
    return number if number < 61_000_000_000 else np.int64(-1)


@njit
def epoch_time(data, first, last, short):
    """Return the time [ns] of an epoch line in its own time system, or -1 where it is damaged.

    ``short`` is the form of version 2 (two-digit year from column 2); version 3 has four digits
    from column 3. The line must have at least 30 (version 2: 27) bytes.
    """
    at = first + 3 if short else first + 6
    if at + 23 > last:
        return np.int64(-1)
    year = whole(data, at - (2 if short else 4), at)
    if short:
        year += 2000 if year < 80 else 1900
    month, day = whole(data, at + 1, at + 3), whole(data, at + 4, at + 6)
    hour, minute = whole(data, at + 7, at + 9), whole(data, at + 10, at + 12)
    second = seconds_ns(data, at + 12, at + 23)
    for k in range(0, 12, 3):
        if data[at + k] != _BLANK:
            return np.int64(-1)
    if not (1971 <= year <= 2200 and 1 <= month <= 12 and 1 <= day <= 31 and second >= 0):
        return np.int64(-1)
    if not (0 <= hour <= 24 and 0 <= minute <= 60):
        return np.int64(-1)
    following = day_number(year + month // 12, month % 12 + 1, np.int64(1))
    if day > 28 and day_number(year, month, day) >= following:
        return np.int64(-1)
    minutes = (day_number(year, month, day) * 24 + hour) * 60 + minute
    return minutes * 60_000_000_000 + second


@njit
def epoch_head(data, first, last, short):
    """Return (time [ns] or -1, flag or -1, count or -1) of an epoch or event line."""
    at = first + 3 if short else first + 6
    if at + 26 > last:
        return np.int64(-1), np.int64(-1), np.int64(-1)
    flag = whole(data, at + 25, at + 26)
    count = whole(data, at + 26, min(at + 29, last)) if last > at + 26 else np.int64(0)
    if is_blank(data, at + 26, min(at + 29, last)):
        count = np.int64(0)
    return epoch_time(data, first, last, short), flag, count


@njit
def satellite_at(data, i, default):
    """Return the satellite id of the three bytes at ``i``; -1 where there is none.

    ``default`` is the index of the system that a blank letter stands for; -1: none.
    """
    system = default if data[i] == _BLANK else _SYSTEM[data[i]]
    number = whole(data, i + 1, i + 3)
    return 100 * system + number if system >= 0 and number > 0 else np.int64(-1)


@njit
def digit_at(data, i, last):
    """Return the digit at ``i``, 0 where blank or beyond the line, -1 where it is none."""
    if i >= last or data[i] == _BLANK:
        return np.int64(0)
    digit = np.int64(data[i]) - _ZERO
    return digit if 0 <= digit <= 9 else np.int64(-1)


@njit
def changes_layout(lines, line, count):
    """Return whether one of the ``count`` lines of an event changes observables or factors."""
    data, start, stop = lines
    for k in range(line, line + count):
        a, b = start[k], stop[k]
        if stands_at(data, a, b, _CODES_3) or stands_at(data, a, b, _CODES_2):
            return True
        if stands_at(data, a, b, _SCALE_3) or stands_at(data, a, b, _SCALE_2):
            return True
        if starts_header(data, a, b):
            return True
    return False


@njit
def take_event(lines, line, end, head, mark, output):
    """Keep the event whose line is ``line``; return the line after it, or -1: layout changes.

    ``mark`` is the first byte of an epoch line (0: version 2 plain, where lines are told by their
    form); an epoch line among the event's own lines ends it early.
    """
    data, start, stop = lines
    _, _, event, issue, used = output
    time, flag, count = head
    take = min(count, end - line - 1)
    for k in range(take):
        a, b = start[line + 1 + k], stop[line + 1 + k]
        own = b > a and data[a] == mark if mark else True
        if own and epoch_time(data, a, b, mark != 62) >= 0:
            take = np.int64(k)
            break
    if changes_layout(lines, line + 1, take):
        return np.int64(-1)
    if take < count:
        note(issue, EVENT_CUT, line)
    k = used[EVENTS]
    event[k, 0], event[k, 1], event[k, 2] = line, flag, take
    event[k, 3], event[k, 4] = used[EPOCHS], time
    used[EVENTS] += 1
    return line + 1 + take


@njit
def close_epoch(time_ns, flag, offset_s, output):
    """Write time, flag and clock offset of an epoch whose rows are in place, and count it.

    ``output`` is (epoch arrays, row arrays, events, issues, what is used of them).
    """
    time, flags, clock, row_start = output[0]
    used = output[4]
    k = used[EPOCHS]
    time[k], flags[k], clock[k] = time_ns, flag, offset_s
    row_start[k + 1] = used[ROWS]
    used[EPOCHS] += 1
