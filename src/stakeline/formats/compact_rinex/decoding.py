"""The checked door to the compiled decoder of compact observation records."""

import numpy as np

from ._kernels import walk_compact

HEADER_LINES = 2
_HIGHEST_ORDER = 9


def decode(lines, line, end, whole_end, form, layout, output):
    """Decode compact records into arrays; return the line where the decoder stopped.

    Parameters
    ----------
    lines : (uint8 array, int64 array, int64 array)
        Bytes of the file, first byte and end of each line.
    line, end : int
        First line to decode and the line after the last (from 0).
    whole_end : bool
        Whether the last line of the file is ended by a line feed.
    form : (bool, int)
        Whether the records are those of RINEX 2, and the index of the system that a satellite
        without a letter belongs to (-1: none).
    layout : (int64 array (7,), float64 array (7, columns))
        Number of observables and divisors of the whole numbers by system.
    output : tuple
        Epoch arrays, row arrays, events, issues, counts of what is used: see ``rinex_obs``.
    """
    columns = layout[1].shape[1]
    order = np.full((700, columns), -1, np.int8)
    arcs = (
        order,
        np.zeros((700, columns), np.int8),
        np.zeros((700, columns, _HIGHEST_ORDER + 1), np.int64),
        np.full((700, 2 * columns), 32, np.uint8),
    )
    return walk_compact(lines, line, end, whole_end, form, layout, arcs, output)
