"""Compiled pieces shared by the readers of plain and compact observation files.

All tables are flat arrays. ``counter`` holds the numbers of epochs, rows and events filled in, then
for each kind of issue its count and the line (from 1) where it occurred first.
"""

import numpy as np

from ..compiling import njit
from ._kernels import day_number

# Kinds of issues; the sentences stand in rinex_obs/issues.py in the same order. They are numpy
# integers because the compiler would compile a function anew for each Python constant it gets.
BLANK_LINE, STRAY, BAD_EPOCH, BAD_FLAG, BAD_SATELLITE, NO_CODES, TWICE, BAD_FIELD = np.arange(8)
BAD_DIGIT, SURPLUS, MISCOUNT, CUT, MISALIGNED, EVENT_CUT, BAD_DIFFERENCE, LOST = np.arange(8, 16)
EPOCHS, ROWS, EVENTS, ISSUES_FROM = 0, 1, 2, 3  # places in ``counter``
EPOCH_COLUMNS = 3  # time, flag, number of rows up to and with the epoch
EVENT_COLUMNS = 5  # line, flag, number of lines, next epoch, time or -1
SHORT, DEFAULT, COLUMNS, WHOLE_END = 0, 1, 2, 3  # places in ``form``

_BLANK, _ZERO, _POINT, _LABEL = 32, 48, 46, 60
_SYSTEM = np.full(256, -1, np.int64)
_SYSTEM[np.frombuffer(b"GRECJSI", np.uint8)] = np.arange(7)


@njit
def note(counter, kind, line):
    """Count an issue of ``kind`` at ``line`` (from 0)."""
    k = ISSUES_FROM + 2 * kind
    if counter[k] == 0:
        counter[k + 1] = line + 1
    counter[k] += 1


@njit
def is_blank(data, first, last):
    """Return whether bytes ``first:last`` hold nothing but blanks."""
    while first < last and data[first] == _BLANK:
        first += 1
    return first >= last


@njit
def label_of(data, first, last):
    """Return a letter for the label in columns 61-80 of a line.

    H first line of a header, L observables or scale factors, C comment, else 0.
    """
    p = first + _LABEL
    if last < p + 7 or data[p + 1] < 65:
        a, b = (data[p], data[p + 2]) if last >= p + 7 else (0, 0)
        return 76 if a == 35 and b == 47 and data[p + 4] == 84 else 0  # "# / TYPES OF OBSERV"
    if data[p] == 67 and data[p + 1] == 79 and data[p + 2] == 77 and data[p + 6] == 84:
        return 67
    if last < p + 16:
        return 0
    if data[p] == 82 and data[p + 2] == 78 and data[p + 6] == 86 and data[p + 8] == 82:
        return 72  # RINEX VERSION
    if data[p] == 67 and data[p + 3] == 78 and data[p + 7] == 86 and data[p + 9] == 82:
        return 72  # CRINEX VERS
    if data[p] == 83 and data[p + 4] == 47:  # SYS / # / OBS or SYS / SCALE
        return 76 if data[p + 6] == 35 or (data[p + 6] == 83 and data[p + 7] == 67) else 0
    return 76 if data[p] == 79 and data[p + 4] == 83 and data[p + 5] == 67 else 0  # OBS SCALE


@njit
def two(data, p):
    """Return the number of the two bytes at ``p``, a blank before the digit allowed; else -99."""
    tens, units = np.int64(data[p]) - _ZERO, np.int64(data[p + 1]) - _ZERO
    if tens == _BLANK - _ZERO:
        tens = np.int64(0)
    return 10 * tens + units if 0 <= tens <= 9 and 0 <= units <= 9 else np.int64(-99)


@njit
def epoch_time(data, first, last, short):
    """Return the time [ns] of an epoch line in its own time system, or -1 where it is damaged.

    ``short`` is the form of version 2 (two-digit year from column 2); version 3 has four digits
    from column 3.
    """
    at = first + (3 if short else 6)
    if at + 23 > last:
        return np.int64(-1)
    packed = np.int64(0)
    for p in range(at - 2, at + 14, 3):  # year, month, day, hour, minute, second
        field = two(data, p)
        if field < 0 or (p > at and data[p - 1] != _BLANK):
            return np.int64(-1)
        packed = 100 * packed + field
    second, minute, hour = packed % 100, packed // 100 % 100, packed // 10_000 % 100
    day, month, year = packed // 1_000_000 % 100, packed // 100_000_000 % 100, packed // 10**10
    if short:
        year += 2000 if year < 80 else 1900
    else:
        year += 100 * two(data, at - 4)
    if not (1971 <= year <= 2200 and 1 <= month <= 12 and 1 <= day <= 31):
        return np.int64(-1)
    if hour > 24 or minute > 60 or second > 60 or data[at + 15] != _POINT:
        return np.int64(-1)
    days = day_number(year, month, day)
    if day > 28 and days >= day_number(year + month // 12, month % 12 + 1, np.int64(1)):
        return np.int64(-1)
    time, unit = (((days * 24 + hour) * 60 + minute) * 60 + second) * 1_000_000_000, 100_000_000
    for p in range(at + 16, at + 23):
        digit = np.int64(data[p]) - _ZERO
        if not 0 <= digit <= 9 and data[p] != _BLANK:
            return np.int64(-1)
        time += max(digit, 0) * unit
        unit //= 10
    return time


@njit
def flag_and_count(data, first, last, short):
    """Return (flag, count) of an epoch or event line; -1 where damaged, blank counts as 0."""
    at = first + (28 if short else 31)
    if at >= last:
        return np.int64(-1), np.int64(-1)
    count, ended = np.int64(0), False
    for p in range(at + 1, min(at + 4, last)):
        digit = np.int64(data[p]) - _ZERO
        if 0 <= digit <= 9 and count >= 0 and not ended:
            count = 10 * count + digit
        elif data[p] != _BLANK:
            count = np.int64(-1)
        ended = count > 0 and data[p] == _BLANK
    flag = np.int64(data[at]) - _ZERO
    if data[at] == _BLANK:
        flag = np.int64(0)
    return (flag if 0 <= flag <= 9 else np.int64(-1)), count


@njit
def satellite_at(data, i, default):
    """Return the satellite id of the three bytes at ``i``; -1 where there is none.

    ``default`` is the index of the system that a blank letter stands for; -1: none.
    """
    system = default if data[i] == _BLANK else _SYSTEM[data[i]]
    number = two(data, i + 1)
    return 100 * system + number if system >= 0 and number > 0 else np.int64(-1)


@njit
def take_event(lines, line, end, flag, count, short, mark, event, counter):
    """Keep the event whose line is ``line``; return the line after it, or -1: layout changes.

    ``mark`` is the first byte of an epoch line (0: version 2 plain, where lines are told by their
    form alone); an epoch line among the event's own lines ends it early.
    """
    data, start, stop = lines
    take = min(count, end - line - 1)
    for k in range(line + 1, line + 1 + take):
        a, b = start[k], stop[k]
        if (mark == 0 or (b > a and data[a] == mark)) and epoch_time(data, a, b, short) >= 0:
            take = k - line - 1
            break
        label = label_of(data, a, b)
        if label == 72 or label == 76:
            return np.int64(-1)
    if take < count:
        note(counter, EVENT_CUT, line)
    k = EVENT_COLUMNS * counter[EVENTS]
    event[k], event[k + 1], event[k + 2] = line, flag, take
    event[k + 3] = counter[EPOCHS]
    event[k + 4] = epoch_time(data, start[line], stop[line], short)
    counter[EVENTS] += 1
    return np.int64(line + 1 + take)


@njit
def close_epoch(time, flag, epoch, counter):
    """Write time and flag of an epoch whose rows are in place, and count it."""
    k = EPOCH_COLUMNS * counter[EPOCHS]
    epoch[k], epoch[k + 1], epoch[k + 2] = time, flag, counter[ROWS]
    counter[EPOCHS] += 1
