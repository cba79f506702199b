"""Compiled readers of plain observation records: plain arrays in, output arrays filled."""

import numpy as np

from ...compiling import njit
from .._kernels import decimal
from .._observation_kernels import (
    BAD_DIGIT,
    BAD_EPOCH,
    BAD_FIELD,
    BAD_FLAG,
    BAD_SATELLITE,
    BLANK_LINE,
    CUT,
    EPOCHS,
    MISALIGNED,
    MISCOUNT,
    NO_CODES,
    ROWS,
    STRAY,
    SURPLUS,
    TWICE,
    close_epoch,
    digit_at,
    epoch_head,
    epoch_time,
    is_blank,
    is_comment,
    note,
    satellite_at,
    starts_header,
    take_event,
)

_BLANK, _ZERO, _POINT, _MINUS, _MARK = 32, 48, 46, 45, 62
_EMPTY, _GOOD, _DAMAGED = 0, 1, 2


@njit
def thousandths(data, p):
    """Return (number x 1000, EMPTY, GOOD or DAMAGED) of the 14 bytes ``F14.3`` at ``p``."""
    i, point = p, p + 10
    while i < point and data[i] == _BLANK:
        i += 1
    if i == point and data[point] == _BLANK:
        good = data[p + 11] == _BLANK and data[p + 12] == _BLANK and data[p + 13] == _BLANK
        return np.int64(0), _EMPTY if good else _DAMAGED
    if data[point] != _POINT:
        return np.int64(0), _DAMAGED
    negative = i < point and data[i] == _MINUS
    if negative:
        i += 1
    number = np.int64(0)
    while i < point:
        digit = np.int64(data[i]) - _ZERO
        if not 0 <= digit <= 9:
            return np.int64(0), _DAMAGED
        number = 10 * number + digit
        i += 1
    for k in range(p + 11, p + 14):
        digit = np.int64(data[k]) - _ZERO
        if not 0 <= digit <= 9:
            return np.int64(0), _DAMAGED
        number = 10 * number + digit
    return (-number if negative else number), _GOOD


@njit
def take_fields(data, p, last, line, columns, divisor, row, issue):
    """Fill ``columns`` (first, stop) of one row from the 16-byte fields that start at ``p``."""
    value, lock, strength = row
    for j in range(columns[0], columns[1]):
        value[j], lock[j], strength[j] = np.nan, 0, 0
        if p >= last:
            continue
        if p + 14 <= last:
            number, state = thousandths(data, p)
        else:
            number, state = np.int64(0), _EMPTY if is_blank(data, p, last) else _DAMAGED
        if state == _DAMAGED:
            note(issue, BAD_FIELD, line)
        elif number != 0:
            value[j] = number / divisor[j]
        slip, bar = digit_at(data, p + 14, last), digit_at(data, p + 15, last)
        if slip > 7 or slip < 0 or bar < 0:
            note(issue, BAD_DIGIT, line)
        lock[j] = slip if 0 <= slip <= 7 else 0
        strength[j] = bar if bar > 0 else 0
        p += 16
    if p < last and not is_blank(data, p, last):
        note(issue, SURPLUS, line)


@njit
def clear_from(column, row):
    """Mark the columns of a row from ``column`` on as missing."""
    value, lock, strength = row
    for j in range(column, value.size):
        value[j], lock[j], strength[j] = np.nan, 0, 0


@njit
def admit(satellite, line, epoch, size, seen, issue):
    """Return whether a row of ``satellite`` is to be kept: valid, with observables, once."""
    if satellite < 0:
        note(issue, BAD_SATELLITE, line)
        return False
    if size[satellite // 100] == 0:
        note(issue, NO_CODES, line)
        return False
    if seen[satellite] == epoch:
        note(issue, TWICE, line)
        return False
    seen[satellite] = epoch
    return True


@njit
def take_long_row(lines, line, layout, seen, output):
    """Read one satellite line of version 3 or 4 into the next row."""
    data, first, last = lines[0], lines[1][line], lines[2][line]
    satellites, value, lock, strength = output[1]
    issue, used = output[3], output[4]
    satellite = satellite_at(data, first, -1) if last - first >= 3 else np.int64(-1)
    if not admit(satellite, line, used[EPOCHS], layout[0], seen, issue):
        return
    r, n, divisor = used[ROWS], layout[0][satellite // 100], layout[1][satellite // 100]
    satellites[r] = satellite
    row = (value[r], lock[r], strength[r])
    take_fields(data, first + 3, last, line, (0, n), divisor, row, issue)
    clear_from(n, row)
    used[ROWS] += 1


@njit
def take_long_epoch(lines, line, end, count, whole_end, layout, seen, output):
    """Read the satellite lines after epoch line ``line``; return (next line, whole epoch)."""
    data, start, stop = lines
    issue, used = output[3], output[4]
    before, head, found = used[ROWS], line, 0
    line += 1
    while line < end:
        first, last = start[line], stop[line]
        if last > first and data[first] == _MARK:
            break
        if starts_header(data, first, last):
            break
        if is_blank(data, first, last):
            note(issue, BLANK_LINE, line)
        elif not is_comment(data, first, last):
            take_long_row(lines, line, layout, seen, output)
            found += 1
        line += 1
    last_line_cut = False
    if line == end and not whole_end and found:
        last_line_cut = 1 <= (stop[end - 1] - start[end - 1] - 3) % 16 <= 13
    if line == end and (found < count or last_line_cut):
        note(issue, CUT, head)
        used[ROWS] = before
        return line, False
    if found != count:
        note(issue, MISCOUNT, head)
    return line, True


@njit
def clock_offset(data, first, last, column, width):
    """Return the receiver clock offset [s] in an epoch line; NaN where blank or damaged."""
    if last <= first + column:
        return np.nan
    offset, good = decimal(data, first + column, min(last, first + column + width), 0)
    return offset if good else np.nan


@njit
def walk_long(lines, line, end, whole_end, layout, output):
    """Read records of versions 3 and 4 from ``line``; return the line where it stopped.

    It stops before ``end`` at a line that changes the observables or starts another header.
    ``lines`` is (bytes, start, stop of the lines), ``layout`` (number of observables by system,
    divisor by system and column), ``output`` see :func:`close_epoch`; ``whole_end`` tells whether
    the last line is ended.
    """
    data, start, stop = lines
    issue = output[3]
    seen = np.full(700, -1, np.int64)
    while line < end:
        first, last = start[line], stop[line]
        if is_blank(data, first, last):
            note(issue, BLANK_LINE, line)
            line += 1
            continue
        if data[first] != _MARK:
            if starts_header(data, first, last):
                break
            if not is_comment(data, first, last):
                note(issue, STRAY, line)
            line += 1
            continue
        time, flag, count = epoch_head(data, first, last, False)
        if flag > 6 or flag < 0 or count < 0 or ((flag < 2 or flag == 6) and time < 0):
            note(issue, BAD_FLAG if flag > 6 else BAD_EPOCH, line)
            line += 1
            continue
        if 2 <= flag <= 5:
            after = take_event(lines, line, end, (time, flag, count), _MARK, output)
            if after < 0:
                break
            line = after
            continue
        offset = clock_offset(data, first, last, 41, 15)
        line, good = take_long_epoch(lines, line, end, count, whole_end, layout, seen, output)
        if good:
            close_epoch(time, flag, offset, output)
    return line


@njit
def is_short_epoch(data, first, last):
    """Return whether a line has the form of an epoch line of version 2."""
    return last - first >= 29 and data[first] == _BLANK and epoch_time(data, first, last, True) >= 0


@njit
def holds_observations(data, first, last):
    """Return whether a line has the form of an observation line of version 2."""
    return last - first >= 14 and data[first + 10] == _POINT


@njit
def listed_satellites(lines, line, end, count, default, listed):
    """Fill ``listed`` from epoch line ``line`` and its continuations; return the line after them.

    Returns -1 where a continuation line is missing.
    """
    data, start, stop = lines
    for k in range(count):
        if k and k % 12 == 0:
            line += 1
            if line >= end or is_short_epoch(data, start[line], stop[line]):
                return np.int64(-1)
        at = start[line] + 32 + 3 * (k % 12)
        listed[k] = satellite_at(data, at, default) if at + 3 <= stop[line] else -1
    return np.int64(line + 1)


@njit
def take_short_row(lines, line, end, satellite, layout, keep, output):
    """Read one satellite's observation lines of version 2; return (next line, all were there)."""
    data, start, stop = lines
    satellites, value, lock, strength = output[1]
    used, n = output[4], layout[0].max()
    r = used[ROWS]
    for j in range(0, n, 5):
        if line >= end:
            return line, False
        first, last = start[line], stop[line]
        if is_short_epoch(data, first, last) or starts_header(data, first, last):
            return line, False
        if keep:
            row = (value[r], lock[r], strength[r])
            columns, divisor = (j, min(j + 5, n)), layout[1][satellite // 100]
            take_fields(data, first, last, line, columns, divisor, row, output[3])
        line += 1
    if keep:
        satellites[r] = satellite
        clear_from(n, (value[r], lock[r], strength[r]))
        used[ROWS] += 1
    return line, True


@njit
def take_short_epoch(lines, line, end, count, whole_end, default, layout, seen, output):
    """Read the epoch of version 2 at ``line``; return (next line, whole epoch)."""
    data, start, stop = lines
    issue, used = output[3], output[4]
    before, head = used[ROWS], line
    listed = np.empty(count, np.int64)
    after = listed_satellites(lines, line, end, count, default, listed)
    good = after >= 0
    line = after if good else line + 1
    for k in range(count if good else 0):
        keep = admit(listed[k], line, used[EPOCHS], layout[0], seen, issue)
        line, good = take_short_row(lines, line, end, listed[k], layout, keep, output)
        if not good:
            break
    cut = line >= end and (not good or (count > 0 and cut_short(start, stop, end, whole_end)))
    if good and line < end:
        good = not holds_observations(data, start[line], stop[line])
    if cut or not good:
        note(issue, CUT if cut else MISALIGNED, head)
        used[ROWS] = before
        return line, False
    return line, True


@njit
def walk_short(lines, line, end, whole_end, default, layout, output):
    """Read records of version 2 from ``line``; see :func:`walk_long`.

    ``default`` is the index of the system of satellites without a letter.
    """
    data, start, stop = lines
    issue = output[3]
    seen = np.full(700, -1, np.int64)
    while line < end:
        first, last = start[line], stop[line]
        if is_blank(data, first, last):
            note(issue, BLANK_LINE, line)
            line += 1
            continue
        time, flag, count = epoch_head(data, first, last, True)
        observed = (flag == 0 or flag == 1 or flag == 6) and time >= 0 and count >= 0
        special = 2 <= flag <= 5 and count >= 0 and (time >= 0 or is_blank(data, first, first + 26))
        if data[first] != _BLANK or not (observed or special):
            if starts_header(data, first, last):
                break
            if not is_comment(data, first, last):
                kind = BAD_FLAG if flag > 6 else BAD_EPOCH
                note(issue, kind if is_short_epoch(data, first, last) else STRAY, line)
            line += 1
        elif special:
            after = take_event(lines, line, end, (time, flag, count), 0, output)
            if after < 0:
                break
            line = after
        else:
            offset = clock_offset(data, first, last, 68, 12)
            line, good = take_short_epoch(
                lines, line, end, count, whole_end, default, layout, seen, output
            )
            if good:
                close_epoch(time, flag, offset, output)
    return line


@njit
def cut_short(start, stop, end, whole_end):
    """Return whether the last line of a version 2 file ends inside a field, without a line end."""
    return not whole_end and 1 <= (stop[end - 1] - start[end - 1]) % 16 <= 13
