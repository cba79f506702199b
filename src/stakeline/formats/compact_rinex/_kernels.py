"""Compiled decoder of compact observation records, straight to arrays (no text in between)."""

import numpy as np

from ...compiling import njit
from .._observation_kernels import (
    BAD_DIFFERENCE,
    BAD_DIGIT,
    BAD_SATELLITE,
    COLUMNS,
    CUT,
    DEFAULT,
    EPOCH_COLUMNS,
    EPOCHS,
    LOST,
    NO_CODES,
    ROWS,
    SHORT,
    TWICE,
    WHOLE_END,
    close_epoch,
    epoch_time,
    flag_and_count,
    label_of,
    note,
    satellite_at,
    take_event,
)

_BLANK, _ZERO, _MINUS, _AND, _HEADER = 32, 48, 45, 38, 72
_LARGEST = 1 << 56
_START, _ONE, _NOTHING = np.arange(2)[[0, 1, 0]]  # see ``_observation_kernels``
_ORDERS = 8  # room for one arc: the value and its differences of order 1 to 7


@njit
def patch(text, at, length, limit, data, first, last):
    """Apply the differences ``first:last`` to ``length`` bytes of ``text`` from ``at``.

    A blank keeps the old character, ``&`` makes a blank, anything else replaces it. Returns the
    new length, which stays below ``limit``.
    """
    k = 0
    for i in range(first, min(last, first + limit)):
        if k >= length or data[i] != _BLANK:
            text[at + k] = _BLANK if data[i] == _AND else data[i]
        k += 1
    return max(length, k)


@njit
def take_numbers(data, p, last, line, n, arc, arcs, counter):
    """Decode ``n`` numbers of a line into ``number`` (0: missing) by the arcs from ``arc`` on.

    ``order`` is the order reached so far (-1: no arc), ``top`` the order of the arc and
    ``difference`` the last differences of all orders, the value first. Returns the byte after the
    numbers, -1 where the line is damaged.
    """
    order, top, difference, _, number = arcs
    for j in range(n):
        number[j], k = 0, arc + j
        if p >= last or data[p] == _BLANK:
            order[k], p = -1, p + 1
            continue
        starts = p + 1 < last and data[p + 1] == _AND
        if starts:
            power = np.int64(data[p]) - _ZERO
            order[k], top[k], p = 0, power if 0 <= power < _ORDERS else -1, p + 2
        negative = p < last and data[p] == _MINUS
        p += negative
        m, digits = np.int64(0), 0
        while p < last and 48 <= data[p] <= 57 and digits < 16:
            m, digits, p = 10 * m + np.int64(data[p]) - _ZERO, digits + 1, p + 1
        if digits == 0 or (p < last and data[p] != _BLANK) or not 0 <= top[k] < _ORDERS:
            return np.int64(-1)
        p += 1
        m = -m if negative else m
        if order[k] < 0:
            note(counter, BAD_DIFFERENCE, line)
            continue
        i = np.int64(order[k])
        if not starts and i < top[k]:
            i += 1
            order[k] = i
        i += _ORDERS * k
        difference[i] = m
        while i > _ORDERS * k:
            i -= 1
            m += difference[i]
            difference[i] = m
        if abs(m) > _LARGEST:
            note(counter, BAD_DIFFERENCE, line)
            order[k] = -1
        else:
            number[j] = m
    return np.int64(p)


@njit
def take_digits(text, at, n, blank_where_missing, number, cell, lock, strength, line, counter):
    """Read lock and strength digits from the text of a satellite's flags at ``at``."""
    for j in range(n):
        p = at + 2 * j
        if blank_where_missing and number[j] == 0:
            text[p], text[p + 1] = _BLANK, _BLANK
        slip = np.int64(text[p]) - _ZERO if text[p] != _BLANK else np.int64(0)
        bar = np.int64(text[p + 1]) - _ZERO if text[p + 1] != _BLANK else np.int64(0)
        if not (0 <= slip <= 7 and 0 <= bar <= 9):
            note(counter, BAD_DIGIT, line)
            slip, bar = slip if 0 <= slip <= 7 else 0, bar if 0 <= bar <= 9 else 0
        lock[cell + j], strength[cell + j] = slip, bar


@njit
def take_row(data, first, last, line, id_, layout, cells, counter, arcs):
    """Decode one satellite's line into the next row; a damaged line gives none."""
    form, size, divisor = layout
    satellite, value, lock, strength = cells
    order, _, _, text, number = arcs
    columns, n, r = form[COLUMNS], size[id_ // 100], counter[ROWS]
    arc, cell, scale = id_ * columns, r * columns, id_ // 100 * columns
    p = take_numbers(data, first, last, line, n, arc, arcs, counter)
    if p < 0:
        note(counter, BAD_DIFFERENCE, line)
        for k in range(arc, arc + columns):
            order[k] = -1
        return
    if p < last:
        patch(text, 2 * arc, 2 * n, 2 * n, data, p, last)
    take_digits(text, 2 * arc, n, form[SHORT] != 0, number, cell, lock, strength, line, counter)
    for j in range(n):
        value[cell + j] = number[j] / divisor[scale + j] if number[j] else np.nan
    for j in range(cell + n, cell + columns):
        value[j], lock[j], strength[j] = np.nan, 0, 0
    satellite[r] = id_
    counter[ROWS] += 1


@njit
def is_list(listing, at, length, count, default):
    """Return whether bytes ``at:length`` list ``count`` satellites, of known systems or not."""
    if at + 3 * count > length:
        return False
    for p in range(at, at + 3 * count, 3):
        if satellite_at(listing, p, default) < 0 and listing[p] < 65:
            return False
    return True


@njit
def take_rows(lines, line, listing, at, count, stamp, seen, layout, cells, counter, arcs):
    """Decode the lines of the ``count`` satellites that ``listing`` names, from ``line``."""
    data, start, stop = lines
    form, size, _ = layout
    order, text = arcs[0], arcs[3]
    columns = form[COLUMNS]
    for k in range(line, line + count):
        id_ = satellite_at(listing, at + 3 * (k - line), form[DEFAULT])
        if id_ < 0:
            note(counter, BAD_SATELLITE, k)
        elif size[id_ // 100] == 0:
            note(counter, NO_CODES, k)
        elif seen[id_] == stamp:
            note(counter, TWICE, k)
        else:
            if seen[id_] != stamp - 1:
                for arc in range(id_ * columns, (id_ + 1) * columns):
                    order[arc] = -1
                    text[2 * arc], text[2 * arc + 1] = _BLANK, _BLANK
            seen[id_] = stamp
            take_row(data, start[k], stop[k], k, id_, layout, cells, counter, arcs)


@njit
def walk_compact(lines, line, end, layout, epochs, cells, event, counter, work, arcs):
    """Decode compact records from ``line``; return the line where it stopped.

    It stops before ``end`` at a line that changes the observables or starts another header. The
    arcs (order reached, order, differences, text of the flags) have a stretch for each satellite;
    the last stretch is that of the receiver clock.
    """
    data, start, stop = lines
    form, order, number = layout[0], arcs[0], arcs[4]
    epoch, clock = epochs
    short = form[SHORT] != 0
    mark, at, unit = (38, 32, 1e9) if short else (62, 41, 1e12)
    seen, listing = work
    length, stamp, previous, lost = _NOTHING, _NOTHING, np.int64(-1), True
    clock_arc = 700 * form[COLUMNS]
    while line < end:
        first, last = start[line], stop[line]
        if label_of(data, first, last) == _HEADER:
            break
        full = last > first and data[first] == mark
        if full:
            flag, count = flag_and_count(data, first, last, short)
            if 2 <= flag <= 6 and count >= 0:
                after = take_event(lines, line, end, flag, count, short, mark, event, counter)
                if after < 0:
                    break
                line = after
                continue
            if lost:
                order[clock_arc] = -1
            length, stamp, previous, lost = _NOTHING, stamp + 2, np.int64(-1), False
        length = patch(listing, _START, length, listing.size, data, first, last)
        listing[0] = _BLANK if short else mark
        time = epoch_time(listing, _START, length, short)
        flag, count = flag_and_count(listing, _START, length, short)
        sound = time > previous and 0 <= flag <= 1 and count >= 0 and not lost
        if not sound or not is_list(listing, at, length, count, form[DEFAULT]):
            note(counter, LOST, line)
            if not lost and previous >= 0:  # its lines may have been those of the damaged epoch
                counter[EPOCHS] -= 1
                k = EPOCH_COLUMNS * counter[EPOCHS] - 1
                counter[ROWS] = epoch[k] if k > 0 else 0
            line, lost = line + 1, True
            continue
        if line + 2 + count > end - (form[WHOLE_END] == 0):
            note(counter, CUT, line)
            return np.int64(end)
        p = take_numbers(
            data, start[line + 1], stop[line + 1], line + 1, _ONE, clock_arc, arcs, counter
        )
        if p < 0:
            order[clock_arc] = -1
        offset = number[0] / unit if order[clock_arc] >= 0 else np.nan
        clock[counter[EPOCHS]] = offset
        stamp, previous, line = stamp + 1, time, line + 2
        take_rows(lines, line, listing, at, count, stamp, seen, layout, cells, counter, arcs)
        close_epoch(time, flag, epoch, counter)
        line += count
    return np.int64(line)
