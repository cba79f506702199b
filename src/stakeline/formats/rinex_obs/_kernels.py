"""Compiled readers of plain observation records: plain arrays in, output arrays filled."""

import numpy as np

from ...compiling import njit
from .._observation_kernels import (
    BAD_DIGIT,
    BAD_EPOCH,
    BAD_FIELD,
    BAD_FLAG,
    BAD_SATELLITE,
    BLANK_LINE,
    COLUMNS,
    CUT,
    DEFAULT,
    EPOCHS,
    ISSUES_FROM,
    MISALIGNED,
    MISCOUNT,
    NO_CODES,
    ROWS,
    STRAY,
    SURPLUS,
    TWICE,
    WHOLE_END,
    close_epoch,
    epoch_time,
    flag_and_count,
    is_blank,
    label_of,
    note,
    satellite_at,
    take_event,
)

_BLANK, _ZERO, _POINT, _MINUS = 32, 48, 46, 45
_HEADER, _COMMENT = 72, 67
_DAMAGED = -(1 << 62)
_LONG, _SHORT = np.array([False, True])
_NO_MARK = np.int64(0)
_MARK = np.int64(62)


@njit
def thousandths(data, p):
    """Return the number x 1000 of the 14 bytes ``F14.3`` at ``p``: 0 blank, _DAMAGED damaged."""
    i, point = p, p + 10
    while i < point and data[i] == _BLANK:
        i += 1
    if i == point and data[point] == _BLANK:
        return np.int64(0) if is_blank(data, point, p + 14) else np.int64(_DAMAGED)
    negative = i < point and data[i] == _MINUS
    if negative:
        i += 1
    number, stop = np.int64(0), p + 14
    while stop > point + 2 and data[stop - 1] == _BLANK:
        stop -= 1
    for k in range(i, stop):
        digit = np.int64(data[k]) - _ZERO
        if 0 <= digit <= 9 and k != point:
            number = 10 * number + digit
        elif k != point or data[k] != _POINT:
            return np.int64(_DAMAGED)
    for _ in range(stop, p + 14):
        number *= 10
    return -number if negative else number


@njit
def take_fields(data, p, last, line, cell, n, scale, divisor, cells, counter):
    """Fill ``n`` cells from ``cell`` on with the 16-byte fields that start at ``p``.

    ``scale`` is the place of the first divisor in ``divisor``.
    """
    _, value, lock, strength = cells
    for j in range(n):
        number, slip, bar = np.int64(0), np.int64(0), np.int64(0)
        if p + 14 <= last:
            number = thousandths(data, p)
            if p + 14 < last and data[p + 14] != _BLANK:
                slip = np.int64(data[p + 14]) - _ZERO
            if p + 15 < last and data[p + 15] != _BLANK:
                bar = np.int64(data[p + 15]) - _ZERO
            if not (0 <= slip <= 7 and 0 <= bar <= 9):
                note(counter, BAD_DIGIT, line)
                slip, bar = slip if 0 <= slip <= 7 else 0, bar if 0 <= bar <= 9 else 0
        elif p < last and not is_blank(data, p, last):
            number = np.int64(_DAMAGED)
        if number == _DAMAGED:
            note(counter, BAD_FIELD, line)
            number = np.int64(0)
        value[cell + j] = number / divisor[scale + j] if number else np.nan
        lock[cell + j], strength[cell + j] = slip, bar
        p += 16
    if p < last and not is_blank(data, p, last):
        note(counter, SURPLUS, line)


@njit
def admit(satellite, line, head, size, seen, counter):
    """Return whether a row of ``satellite`` is to be kept: valid, with observables, once.

    ``head`` is the line of its epoch.
    """
    kind = np.int64(-1)
    if satellite < 0:
        kind = BAD_SATELLITE
    elif size[satellite // 100] == 0:
        kind = NO_CODES
    elif seen[satellite] == head:
        kind = TWICE
    if kind >= 0:
        note(counter, kind, line)
        return False
    seen[satellite] = head
    return True


@njit
def close_row(id_, n, columns, cells, counter):
    """Write a row's satellite, clear its cells from column ``n`` on, and count it."""
    satellite, value, lock, strength = cells
    r = counter[ROWS]
    satellite[r] = id_
    for k in range(r * columns + n, (r + 1) * columns):
        value[k], lock[k], strength[k] = np.nan, 0, 0
    counter[ROWS] += 1


@njit
def clock_offset(data, p, last):
    """Return the receiver clock offset [s] in bytes ``p:last``; NaN: none."""
    while p < last and data[p] == _BLANK:
        p += 1
    negative = p < last and data[p] == _MINUS
    if negative:
        p += 1
    number, unit, digits, behind = np.int64(0), 1.0, 0, False
    while p < last and data[p] != _BLANK:
        digit = np.int64(data[p]) - _ZERO
        if 0 <= digit <= 9:
            number, digits = 10 * number + digit, digits + 1
            if behind:
                unit *= 10.0
        elif data[p] == _POINT and not behind:
            behind = True
        else:
            return np.nan
        p += 1
    if digits == 0:
        return np.nan
    return (-number if negative else number) / unit


@njit
def take_long_epoch(lines, line, end, count, layout, seen, cells, counter):
    """Read the satellite lines of an epoch from ``line``; return (next line, whole epoch)."""
    data, start, stop = lines
    form, size, divisor = layout
    before, head, found, columns = counter[ROWS], line - 1, 0, form[COLUMNS]
    while line < end:
        first, last = start[line], stop[line]
        if last > first and data[first] == _MARK:
            break
        label = label_of(data, first, last)
        if label == _HEADER:
            break
        if is_blank(data, first, last):
            note(counter, BLANK_LINE, line)
        elif label != _COMMENT:
            found += 1
            id_ = satellite_at(data, first, form[DEFAULT]) if last - first >= 3 else np.int64(-1)
            if admit(id_, line, head, size, seen, counter):
                n, cell = size[id_ // 100], counter[ROWS] * columns
                take_fields(
                    data,
                    first + 3,
                    last,
                    line,
                    cell,
                    n,
                    id_ // 100 * columns,
                    divisor,
                    cells,
                    counter,
                )
                close_row(id_, n, columns, cells, counter)
        line += 1
    cut = line == end and found < count
    if line == end and form[WHOLE_END] == 0:
        length = stop[end - 1] - start[end - 1]
        cut = cut or (length < 17 or 1 <= (length - 3) % 16 <= 13 if found else length < 35)
    if cut:
        note(counter, CUT, head)
        counter[ROWS] = before
    elif found != count:
        note(counter, MISCOUNT, head)
    return line, not cut


@njit
def walk_long(lines, line, end, layout, epochs, cells, event, counter, work):
    """Read records of versions 3 and 4 from ``line``; return the line where it stopped.

    It stops before ``end`` at a line that changes the observables or starts another header. For
    the arrays see ``reading``.
    """
    data, start, stop = lines
    epoch, clock = epochs
    seen, _ = work
    while line < end:
        first, last = start[line], stop[line]
        if last == first or data[first] != _MARK:
            label = label_of(data, first, last)
            if label == _HEADER:
                break
            if label != _COMMENT:
                note(counter, BLANK_LINE if is_blank(data, first, last) else STRAY, line)
            line += 1
            continue
        flag, count = flag_and_count(data, first, last, _LONG)
        if 2 <= flag <= 5 and count >= 0:
            after = take_event(lines, line, end, flag, count, _LONG, _MARK, event, counter)
            if after < 0:
                break
            line = after
            continue
        time = epoch_time(data, first, last, _LONG)
        line += 1
        if flag > 6 or flag < 0 or count < 0 or time < 0:
            note(counter, BAD_FLAG if flag > 6 else BAD_EPOCH, line - 1)
            continue
        begin = first + 41
        while begin > first + 35 and begin < last and data[begin - 1] != _BLANK:
            begin -= 1
        clock[counter[EPOCHS]] = clock_offset(data, begin, min(last, first + 56))
        line, good = take_long_epoch(lines, line, end, count, layout, seen, cells, counter)
        if good:
            close_epoch(time, flag, epoch, counter)
    return line


@njit
def starts_epoch(data, first, last):
    """Return whether a line has the form of an epoch or event line of version 2."""
    if last - first < 29 or data[first] != _BLANK:
        return False
    if is_blank(data, first, first + 28):
        return 50 <= data[first + 28] <= 53  # event flags 2 to 5 without a date
    return epoch_time(data, first, last, _SHORT) >= 0


@njit
def list_satellites(lines, line, end, count, default, listed):
    """Fill ``listed`` from epoch line ``line`` and its continuations; return the line after them.

    Returns -1 where a continuation line is missing.
    """
    data, start, stop = lines
    for k in range(count):
        if k and k % 12 == 0:
            line += 1
            if line >= end or not is_blank(data, start[line], min(stop[line], start[line] + 32)):
                return np.int64(-1)
        at = start[line] + 32 + 3 * (k % 12)
        listed[k] = satellite_at(data, at, default) if at + 3 <= stop[line] else -1
    return np.int64(line + 1)


@njit
def take_short_epoch(lines, line, end, count, layout, seen, listed, cells, counter):
    """Read the epoch of version 2 at ``line``; return (next line, whole epoch)."""
    data, start, stop = lines
    form, size, divisor = layout
    before, head, columns, n = counter[ROWS], line, form[COLUMNS], form[COLUMNS]
    surplus = counter[ISSUES_FROM + 2 * SURPLUS]
    line = list_satellites(lines, line, end, count, form[DEFAULT], listed)
    good = line >= 0
    k, j, keep = 0, 0, False
    while good and k < count:
        if j == 0:
            keep = admit(listed[k], line, head, size, seen, counter)
        if line >= end or starts_epoch(data, start[line], stop[line]):
            good = False
            break
        if keep:
            take_fields(
                data,
                start[line],
                stop[line],
                line,
                counter[ROWS] * columns + j,
                min(5, n - j),
                listed[k] // 100 * columns + j,
                divisor,
                cells,
                counter,
            )
        line, j = line + 1, j + 5
        if j >= n:
            if keep:
                close_row(listed[k], n, columns, cells, counter)
            k, j = k + 1, 0
    line = line if line > head else head + 1
    cut = line >= end and not good
    if good and line == end and count > 0 and form[WHOLE_END] == 0:
        cut = 1 <= (stop[end - 1] - start[end - 1]) % 16 <= 13
    if line == end and count == 0 and form[WHOLE_END] == 0:
        cut = stop[end - 1] - start[end - 1] < 32
    if good and line < end:
        good = stop[line] - start[line] < 14 or data[start[line] + 10] != _POINT
    good = good and surplus == counter[ISSUES_FROM + 2 * SURPLUS]  # else lines are out of step
    if cut or not good:
        note(counter, CUT if cut else MISALIGNED, head)
        counter[ROWS] = before
    return line, good and not cut


@njit
def walk_short(lines, line, end, layout, epochs, cells, event, counter, work):
    """Read records of version 2 from ``line``; see :func:`walk_long`."""
    data, start, stop = lines
    epoch, clock = epochs
    seen, listed = work
    while line < end:
        first, last = start[line], stop[line]
        flag, count = flag_and_count(data, first, last, _SHORT)
        time = epoch_time(data, first, last, _SHORT)
        dated = time >= 0 and data[first] == _BLANK
        if 2 <= flag <= 5 and count >= 0 and (dated or is_blank(data, first, first + 26)):
            after = take_event(lines, line, end, flag, count, _SHORT, _NO_MARK, event, counter)
            if after < 0:
                break
            line = after
        elif dated and 0 <= flag <= 6 and count >= 0:
            clock[counter[EPOCHS]] = clock_offset(data, first + 68, min(last, first + 80))
            line, good = take_short_epoch(
                lines, line, end, count, layout, seen, listed, cells, counter
            )
            if good:
                close_epoch(time, flag, epoch, counter)
        else:
            label = label_of(data, first, last)
            if label == _HEADER:
                break
            if is_blank(data, first, last):
                note(counter, BLANK_LINE, line)
            elif label != _COMMENT:
                note(counter, (BAD_FLAG if flag > 6 else BAD_EPOCH) if dated else STRAY, line)
            line += 1
    return line
