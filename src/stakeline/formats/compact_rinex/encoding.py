"""Encode observation records in the compact form, version 3."""

import numpy as np

from ._encoding_kernels import MISSING, encode_rows

_SATELLITES = 700
_CLOCK_UNIT_S = 1e-12
_ORDER = 3
HEAD = (
    f"{'3.0':20}{'COMPACT RINEX FORMAT':40}CRINEX VERS   / TYPE\n",
    f"{'stakeline':40}{'':20}CRINEX PROG / DATE\n",
)
"""The two lines before the header proper."""


def encode(row_start, restart, satellite, size, number, lock, strength):
    """Return (bytes, end of each row's line) of the satellite lines of all epochs.

    Parameters
    ----------
    row_start : int64 array, shape (epochs + 1,)
    restart : bool array, shape (epochs,)
        Epochs that are written in full, as after an event.
    satellite : int array, shape (rows,)
    size : int64 array, shape (7,)
        Number of observables by system.
    number : int64 array, shape (rows, columns)
        Values in thousandths, ``MISSING`` where there is none.
    lock, strength : uint8 array, shape (rows, columns)
        Digits; 0 is blank.
    """
    rows, columns = number.shape
    digits = np.stack((lock, strength), axis=2).reshape(rows, 2 * columns)
    digits = np.where(digits > 0, digits + np.uint8(48), np.uint8(32))
    arcs = (
        np.full(_SATELLITES * columns, -1, np.int64),
        np.zeros((_SATELLITES * columns, _ORDER + 1), np.int64),
        np.full(2 * _SATELLITES * columns, 32, np.uint8),
    )
    out, row_end = np.empty(rows * (24 * columns + 2) + 1, np.uint8), np.empty(rows, np.int64)
    encode_rows((row_start, restart), satellite, size, number, digits, arcs, out, row_end)
    return out[: row_end[-1] if rows else 0].tobytes(), row_end


def epoch_differences(lines, restart):
    """Return the epoch lines with every line but those of ``restart`` as differences."""
    found, before = [], ""
    for line, full in zip(lines, restart, strict=True):
        if full:
            found.append(line)
        else:
            wide, old = line.ljust(len(before)), before.ljust(len(line))
            pairs = zip(wide, old, strict=True)
            changed = "".join(" " if n == o else ("&" if n == " " else n) for n, o in pairs)
            found.append(changed.rstrip())
        before = line
    return found


def clock_lines(offset_s, restart):
    """Return the line of the receiver clock offset of each epoch; blank where it is NaN."""
    lines, arc = [], []
    for offset, full in zip(offset_s, restart, strict=True):
        if np.isnan(offset):
            lines.append("")
            arc = []
            continue
        number = round(float(offset) / _CLOCK_UNIT_S)
        if full or not arc:
            lines.append(f"{_ORDER}&{number}")
            arc = [number]
            continue
        new = [number]
        for before in arc[:_ORDER]:
            new.append(new[-1] - before)
        lines.append(str(new[-1]))
        arc = new
    return lines


__all__ = ["HEAD", "MISSING", "clock_lines", "encode", "epoch_differences"]
