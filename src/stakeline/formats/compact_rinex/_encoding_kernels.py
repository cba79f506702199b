"""Compiled encoder of the satellite lines of compact observation records."""

import numpy as np

from ...compiling import njit

_BLANK, _ZERO, _MINUS, _LINE_FEED, _AND = 32, 48, 45, 10, 38
_ORDER = 3
MISSING = np.int64(-(1 << 62))


@njit
def put_whole(out, at, number):
    """Write a whole number at ``at``; return the byte after it."""
    if number < 0:
        out[at] = _MINUS
        at += 1
    left, digits = abs(number), 1
    power = np.int64(10)
    while left >= power:
        power *= 10
        digits += 1
    for k in range(at + digits - 1, at - 1, -1):
        out[k] = _ZERO + left % 10
        left //= 10
    return at + digits


@njit
def put_difference(out, at, number, k, reached, difference):
    """Write ``number`` as the next difference of arc ``k``; return the byte after it."""
    if reached[k] < 0:
        out[at], out[at + 1] = _ZERO + _ORDER, _AND
        reached[k] = 0
        difference[k, 0] = number
        return put_whole(out, at + 2, number)
    reached[k] = min(reached[k] + 1, _ORDER)
    for i in range(reached[k]):
        before = difference[k, i]
        difference[k, i] = number
        number -= before
    difference[k, reached[k]] = number
    return put_whole(out, at, number)


@njit
def encode_rows(row, satellite, size, number, digits, arcs, out, row_end):
    """Write one line for each of the rows ``row[0]:row[1]``, epoch after epoch.

    ``row`` is (row_start, restart): where each epoch's rows start, and whether all arcs start anew
    at it. ``digits`` (rows, 2 * columns) are the characters of lock and strength; ``arcs`` is
    work space (order reached, differences, text of the flags).
    """
    row_start, restart = row
    reached, difference, text = arcs
    columns = number.shape[1]
    seen = np.full(700, -9, np.int64)
    at = np.int64(0)
    for e in range(restart.size):
        for r in range(row_start[e], row_start[e + 1]):
            s, arc = satellite[r], np.int64(satellite[r]) * columns
            if restart[e] or seen[s] != e - 1:
                reached[arc : arc + columns] = -1
                text[2 * arc : 2 * (arc + columns)] = _BLANK
            seen[s] = e
            used = at
            for j in range(size[s // 100]):
                if number[r, j] == MISSING:
                    reached[arc + j] = -1
                else:
                    at = put_difference(out, at, number[r, j], arc + j, reached, difference)
                    used = at
                out[at] = _BLANK
                at += 1
            for j in range(2 * size[s // 100]):
                new, old = digits[r, j], text[2 * arc + j]
                out[at] = _BLANK if new == old else (_AND if new == _BLANK else new)
                text[2 * arc + j] = new
                at += 1
                if new != old:
                    used = at
            at = used
            out[at] = _LINE_FEED
            at += 1
            row_end[r] = at
