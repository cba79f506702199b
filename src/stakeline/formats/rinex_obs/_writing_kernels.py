"""Compiled writer of the satellite lines of plain observation records."""

import numpy as np

from ...compiling import njit

_BLANK, _ZERO, _POINT, _MINUS, _LINE_FEED = 32, 48, 46, 45, 10
_LETTERS = np.frombuffer(b"GRECJSI", np.uint8)
MISSING = np.int64(-(1 << 62))


@njit
def put_satellite(out, at, satellite):
    """Write a satellite's name, such as G05, at ``at``."""
    number = satellite % 100
    out[at] = _LETTERS[satellite // 100]
    out[at + 1], out[at + 2] = _ZERO + number // 10, _ZERO + number % 10


@njit
def put_thousandths(out, at, number):
    """Write ``number`` thousandths as F14.3 at ``at``; MISSING is left blank."""
    for k in range(at, at + 14):
        out[k] = _BLANK
    if number == MISSING:
        return
    left, k = abs(number), at + 13
    while k > at + 8 or left > 0:
        if k == at + 10:
            out[k] = _POINT
        else:
            out[k] = _ZERO + left % 10
            left //= 10
        k -= 1
    if number < 0:
        out[k] = _MINUS


@njit
def write_rows(satellite, size, number, lock, strength, out, row_end):
    """Write one line for each row; ``row_end`` receives the byte after each line feed."""
    at = 0
    for r in range(satellite.size):
        put_satellite(out, at, satellite[r])
        at += 3
        used = at
        for j in range(size[satellite[r] // 100]):
            put_thousandths(out, at, number[r, j])
            slip, bar = lock[r, j], strength[r, j]
            out[at + 14] = _ZERO + slip if slip else _BLANK
            out[at + 15] = _ZERO + bar if bar else _BLANK
            at += 16
            if bar:
                used = at
            elif slip:
                used = at - 1
            elif number[r, j] != MISSING:
                used = at - 2
        at = used
        out[at] = _LINE_FEED
        at += 1
        row_end[r] = at
