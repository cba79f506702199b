"""Compiled decoder of compact observation records, straight to arrays (no text in between)."""

import numpy as np

from ...compiling import njit
from .._observation_kernels import (
    BAD_DIFFERENCE,
    BAD_DIGIT,
    BAD_SATELLITE,
    CUT,
    EPOCHS,
    LOST,
    NO_CODES,
    ROWS,
    TWICE,
    close_epoch,
    digit_at,
    epoch_head,
    note,
    satellite_at,
    starts_header,
    take_event,
)

_BLANK, _ZERO, _MINUS, _AND = 32, 48, 45, 38
_LARGEST = 1 << 56
MISSING, PLAIN, ARC_START, DAMAGED = 0, 1, 2, 3


@njit
def patch(text, length, data, first, last):
    """Apply the differences ``first:last`` to ``text``; return its new length.

    A blank keeps the old character, ``&`` makes a blank, anything else replaces it.
    """
    k = 0
    for i in range(first, min(last, first + text.size)):
        if k >= length:
            text[k] = _BLANK if data[i] == _AND else data[i]
        elif data[i] != _BLANK:
            text[k] = _BLANK if data[i] == _AND else data[i]
        k += 1
    return max(length, k)


@njit
def token(data, p, last):
    """Return (kind, order, number, next byte) of the number at ``p``, which ends at a blank."""
    kind, order = PLAIN, np.int64(0)
    if p + 1 < last and data[p + 1] == _AND:
        order = np.int64(data[p]) - _ZERO
        kind = ARC_START if 0 <= order <= 9 else DAMAGED
        p += 2
    negative = p < last and data[p] == _MINUS
    if negative:
        p += 1
    number, digits = np.int64(0), 0
    while p < last and data[p] != _BLANK:
        digit = np.int64(data[p]) - _ZERO
        if not 0 <= digit <= 9 or digits > 16:
            kind = DAMAGED
            break
        number = 10 * number + digit
        digits += 1
        p += 1
    if digits == 0:
        kind = DAMAGED
    return kind, order, (-number if negative else number), p


@njit
def advance(kind, order, number, depth, top, difference):
    """Take a number into an arc of differences; return whether the arc is sound.

    ``depth[0]`` is the order reached so far (-1: no arc), ``top[0]`` the order of the arc and
    ``difference`` the last differences of all orders; ``difference[0]`` is the value itself.
    """
    if kind == ARC_START:
        depth[0], top[0], difference[0] = 0, order, number
        return True
    if kind != PLAIN or depth[0] < 0:
        depth[0] = -1
        return False
    if depth[0] < top[0]:
        depth[0] += 1
    k = np.int64(depth[0])
    if k == 0:
        difference[0] = number
        return True
    difference[k] = number
    while k > 0:
        difference[k - 1] += difference[k]
        k -= 1
    if abs(difference[0]) > _LARGEST:
        depth[0] = -1
        return False
    return True


@njit
def take_numbers(data, first, last, n, divisor, satellite, arcs, value):
    """Decode the ``n`` numbers of a satellite's line into ``value``.

    Returns (the byte after them, how many are damaged; -1: the whole line is).
    """
    depth, top, difference, _ = arcs
    p, damaged = first, 0
    for j in range(n):
        value[j] = np.nan
        if p >= last or data[p] == _BLANK:
            depth[satellite, j] = -1
            p += 1
            continue
        kind, order, number, p = token(data, p, last)
        if kind == DAMAGED:
            return p, -1
        reached, state = depth[satellite, j : j + 1], difference[satellite, j]
        if advance(kind, order, number, reached, top[satellite, j : j + 1], state):
            if state[0] != 0:
                value[j] = state[0] / divisor[j]
        else:
            damaged += 1
        p += 1
    return p, damaged


@njit
def take_digits(text, n, blank_where_missing, row, line, issue):
    """Read lock and strength digits from the text of a satellite's flags."""
    value, lock, strength = row
    for j in range(n):
        if blank_where_missing and np.isnan(value[j]):
            text[2 * j], text[2 * j + 1] = _BLANK, _BLANK
        slip, bar = digit_at(text, 2 * j, 2 * n), digit_at(text, 2 * j + 1, 2 * n)
        if slip > 7 or slip < 0 or bar < 0:
            note(issue, BAD_DIGIT, line)
        lock[j] = slip if 0 <= slip <= 7 else 0
        strength[j] = bar if bar > 0 else 0
    for j in range(n, value.size):
        value[j], lock[j], strength[j] = np.nan, 0, 0


@njit
def take_row(lines, line, satellite, short, layout, arcs, output):
    """Decode one satellite's line into the next row; a damaged line gives none."""
    data, first, last = lines[0], lines[1][line], lines[2][line]
    satellites, value, lock, strength = output[1]
    issue, used = output[3], output[4]
    n, divisor, r = layout[0][satellite // 100], layout[1][satellite // 100], used[ROWS]
    p, damaged = take_numbers(data, first, last, n, divisor, satellite, arcs, value[r])
    if damaged:
        note(issue, BAD_DIFFERENCE, line)
    if damaged < 0:
        arcs[0][satellite] = -1
        return
    text = arcs[3][satellite, : 2 * n]
    if p < last:
        patch(text, 2 * n, data, p, last)
    take_digits(text, n, short, (value[r], lock[r], strength[r]), line, issue)
    satellites[r] = satellite
    used[ROWS] += 1


@njit
def take_rows(lines, line, count, listing, form, layout, arcs, seen, output):
    """Decode the lines of the ``count`` satellites that ``listing`` names, from ``line``.

    ``form`` is (version 2 or not, system of a blank letter, number of the epoch).
    """
    short, default, stamp = form
    issue = output[3]
    for k in range(count):
        satellite = satellite_at(listing, 3 * k, default)
        if satellite < 0:
            note(issue, BAD_SATELLITE, line + k)
        elif layout[0][satellite // 100] == 0:
            note(issue, NO_CODES, line + k)
        elif seen[satellite] == stamp:
            note(issue, TWICE, line + k)
        else:
            if seen[satellite] != stamp - 1:
                arcs[0][satellite] = -1
                arcs[3][satellite] = _BLANK
            seen[satellite] = stamp
            take_row(lines, line + k, satellite, short, layout, arcs, output)


@njit
def lists_satellites(listing, count, default):
    """Return whether ``listing`` names ``count`` satellites, of known systems or not."""
    if 3 * count > listing.size:
        return False
    for k in range(count):
        if satellite_at(listing, 3 * k, default) < 0 and listing[3 * k] < 65:
            return False
    return True


@njit
def read_offset(data, first, last, clock, unit, line, issue):
    """Return the receiver clock offset [s] of a clock line; NaN where it is blank or damaged."""
    depth, top, difference = clock
    if last <= first or data[first] == _BLANK:
        depth[0] = -1
        return np.nan
    kind, order, number, _ = token(data, first, last)
    if not advance(kind, order, number, depth, top, difference):
        note(issue, BAD_DIFFERENCE, line)
        return np.nan
    return difference[0] / unit


@njit
def forget_last(output):
    """Take back the last epoch: its lines may have been those of the damaged one after it."""
    used = output[4]
    if used[EPOCHS] > 0:
        used[EPOCHS] -= 1
        used[ROWS] = output[0][3][used[EPOCHS]]


@njit
def walk_compact(lines, line, end, whole_end, form, layout, arcs, output):
    """Decode compact records from ``line``; return the line where it stopped.

    It stops before ``end`` at a line that changes the observables or starts another header.
    ``form`` is (version 2 or not, index of the system of satellites without a letter), ``arcs``
    work space by satellite: order reached, order of the arc, differences, text of the flags; for
    the other arguments see ``walk_long`` of the plain reader.
    """
    data, start, stop = lines
    short, default = form
    mark, at, unit = (38, 32, 1e9) if short else (62, 41, 1e12)
    issue = output[3]
    text, length = np.full(4096, _BLANK, np.uint8), np.int64(0)
    seen, stamp, previous, lost = np.full(700, -9, np.int64), np.int64(0), np.int64(-1), True
    clock = (np.full(1, -1, np.int8), np.zeros(1, np.int8), np.zeros(10, np.int64))
    while line < end:
        first, last = start[line], stop[line]
        if starts_header(data, first, last):
            break
        full = last > first and data[first] == mark
        if full:
            head = epoch_head(data, first, last, short)
            if 2 <= head[1] <= 6 and head[2] >= 0:
                after = take_event(lines, line, end, head, mark, output)
                if after < 0:
                    break
                line = after
                continue
            length, stamp, previous, clock[0][0] = np.int64(0), stamp + 2, np.int64(-1), -1
        elif lost:
            note(issue, LOST, line)
            line += 1
            continue
        length = patch(text, length, data, first, last)
        text[0] = _BLANK if short else mark
        time, flag, count = epoch_head(text, 0, length, short)
        lost = time <= previous or not 0 <= flag <= 1 or count < 0
        if lost or not lists_satellites(text[at:length], count, default):
            note(issue, LOST, line)
            if previous >= 0:
                forget_last(output)
            lost = True
            line += 1
            continue
        after = line + 2 + count
        if after > end or (after == end and not whole_end):
            note(issue, CUT, line)
            line = end
            break
        offset = read_offset(data, start[line + 1], stop[line + 1], clock, unit, line + 1, issue)
        stamp, previous, row_form = stamp + 1, time, (short, default, stamp + 1)
        take_rows(lines, line + 2, count, text[at:length], row_form, layout, arcs, seen, output)
        close_epoch(time, flag, offset, output)
        line = after
    return line
