"""Ionosphere coefficients in the records of version 4 (ION)."""

import numpy as np

_KLOBUCHAR = {"G": "GPS", "J": "QZS", "C": "BDS", "I": "IRN"}


def ionosphere(records, number, notes):
    """Return coefficients by the names of version 3 headers; the last message of a kind counts.

    Klobuchar: ``GPSA``/``GPSB`` and alike, four numbers each; ``GAL``: three; ``BDGIM``: nine.
    """
    found = {}
    for index in np.flatnonzero(records.what == "ION"):
        row, lines = int(records.row[index]), int(records.lines[index])
        letter, kind = records.letters()[index], records.kind[index]
        first = number[row, 1:4] if lines else np.empty(0)
        values = np.concatenate([first, number[row + 1 : row + lines].ravel()])
        values = values[: {2: 7, 3: 11}.get(lines, 0)]
        _store(found, letter, kind, values, row, notes)
    return found


def _store(found, letter, kind, values, row, notes):
    """Put one message's coefficients into ``found``, or note why not."""
    if letter == "E" and len(values) >= 3 and np.isfinite(values[:3]).all():
        found["GAL"] = (*map(float, values[:3]), 0.0)
    elif (letter, kind) == ("C", "CNVX") and len(values) >= 9 and np.isfinite(values[:9]).all():
        found["BDGIM"] = tuple(map(float, values[:9]))
    elif letter in _KLOBUCHAR and kind != "L1NV" and _eight(values):
        found[f"{_KLOBUCHAR[letter]}A"] = tuple(map(float, values[:4]))
        found[f"{_KLOBUCHAR[letter]}B"] = tuple(map(float, values[4:8]))
    else:
        notes.add(row, "ionosphere record not used")


def _eight(values):
    return len(values) >= 8 and bool(np.isfinite(values[:8]).all())
