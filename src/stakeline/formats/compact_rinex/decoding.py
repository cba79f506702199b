"""The checked door to the compiled decoder of compact observation records."""

import numpy as np

from .._observation_kernels import COLUMNS
from ._kernels import _ORDERS, walk_compact

HEADER_LINES = 2
_SATELLITES = 700


def decode(lines, line, end, form, layout, output):
    """Decode compact records into arrays; return the line where the decoder stopped.

    Parameters
    ----------
    lines : (uint8 array, int64 array, int64 array)
        Bytes of the file, first byte and end of each line.
    line, end : int
        First line to decode and the line after the last (from 0).
    form : int64 array
        Whether the records are those of RINEX 2; the index of the system that a satellite without
        a letter belongs to (-1: none); the number of columns; whether the last line is ended.
    layout : (int64 array (7,), float64 array (7 * columns,))
        Number of observables and divisors of the whole numbers by system.
    output : tuple
        Arrays of epochs, rows and events, and the counter: see ``rinex_obs.reading``.
    """
    room = _SATELLITES * int(form[COLUMNS]) + 1
    order, top = np.full(room, -1, np.int8), np.zeros(room, np.int8)
    difference, text = np.zeros(room * _ORDERS, np.int64), np.full(2 * room, 32, np.uint8)
    arcs = (order, top, difference, text, np.zeros(int(form[COLUMNS]) + 1, np.int64))
    work = (np.full(_SATELLITES, -9, np.int64), np.full(4096, 32, np.uint8))
    return walk_compact(lines, line, end, (form, *layout), *output, work, arcs)
