"""Lines and fixed columns of the open text formats, and the list of what was read past.

The readers of this package see a file as :class:`Text`: its bytes with a table of lines, from
which whole columns of numbers are taken at once.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from ..errors import FormatError
from ..tables import PassedOver
from ._kernels import read_numbers, read_times
from .compression import open_bytes

_BLANK = 32
_LONGEST_LINE = 100_000


class Text:
    """The bytes of a text file and where its lines start and stop (without end-of-line marks).

    Parameters
    ----------
    data : bytes
    file : str
        Name for messages.
    """

    def __init__(self, data, file):
        self.file = str(file)
        self.raw = data
        self.data = np.frombuffer(data, np.uint8)
        ends = np.flatnonzero(self.data == 10)
        self.start = np.concatenate(([0], ends + 1)).astype(np.int64)
        self.stop = np.concatenate((ends, [self.data.size])).astype(np.int64)
        if self.start[-1] == self.data.size:
            self.start, self.stop = self.start[:-1], self.stop[:-1]
        if self.start.size:
            self.stop -= (self.stop > self.start) & (self.data[self.stop - 1] == 13)

    def __len__(self):
        return self.start.size

    def line(self, index):
        """Return line ``index`` (from 0) as text; bytes beyond ASCII read as Latin-1."""
        return self.raw[self.start[index] : self.stop[index]].decode("latin-1")

    def lines(self):
        """Return all lines as text."""
        return [self.line(index) for index in range(len(self))]

    def letters(self, rows, column):
        """Return the byte in ``column`` (from 0) of lines ``rows``; blank beyond their end."""
        at = self.start[rows] + column
        inside = at < self.stop[rows]
        return np.where(inside, self.data[np.where(inside, at, 0)], _BLANK).astype(np.uint8)

    def numbers(self, rows, columns, widths, shifts=0):
        """Return (values, well formed), each (rows, columns), of fixed fields.

        Parameters
        ----------
        rows : int array, shape (n,)
        columns, widths : int or sequence, shape (m,)
            First column (from 0) and width of each field; fields beyond the line's end are blank.
        shifts : int or sequence
            Powers of ten that turn the file's unit into ours, without rounding twice.

        A blank field is NaN and well formed; a damaged one is NaN and is not.
        """
        columns = np.atleast_1d(np.asarray(columns, np.int64))
        first = self.start[rows][:, None] + columns
        stop = np.minimum(first + np.asarray(widths, np.int64), self.stop[rows][:, None])
        shift = np.broadcast_to(np.asarray(shifts, np.int64), first.shape)
        value, good = np.empty(first.shape), np.empty(first.shape, np.bool_)
        read_numbers(
            self.data, first.ravel(), stop.ravel(), shift.ravel(), value.ravel(), good.ravel()
        )
        return value, good

    def times(self, rows, column, second_width):
        """Return calendar times ``I4,4I3,F`` from ``column`` of lines ``rows``; -1 damaged. [ns]"""
        first = self.start[rows] + column
        time_ns = np.full(len(first), -1, np.int64)
        whole_line = self.stop[rows] - first > 16
        stop = np.minimum(first + 16 + second_width, self.stop[rows])
        found = np.empty(np.count_nonzero(whole_line), np.int64)
        read_times(self.data, first[whole_line], stop[whole_line], found)
        time_ns[whole_line] = found
        return time_ns

    def satellites(self, rows, column):
        """Return satellite ids of the three characters at ``column``; 0 where there is none.

        A blank letter means GPS, as in files of one system.
        """
        letter, tens, units = (self.letters(rows, column + k) for k in range(3))
        number = _DIGIT[tens] * 10 + _DIGIT[units]
        good = (_SYSTEM[letter] >= 0) & (_DIGIT[tens] >= 0) & (_DIGIT[units] >= 0) & (units != 32)
        good &= number > 0
        return np.where(good, 100 * _SYSTEM[letter] + number, 0).astype(np.int16)


_DIGIT = np.full(256, -100, np.int64)
_DIGIT[48:58] = np.arange(10)
_DIGIT[_BLANK] = 0
_SYSTEM = np.full(256, -1, np.int64)
_SYSTEM[np.frombuffer(b"GRECJSI", np.uint8)] = np.arange(7)
_SYSTEM[_BLANK] = 0


class Notes:
    """Collects what is read past: the first line of each reason, and how often it occurred."""

    def __init__(self, file):
        self.file = str(file)
        self._first = {}

    def add(self, line, reason, count=1):
        """Note ``reason`` at ``line`` (from 1; 0: the whole file)."""
        known, before = self._first.get(reason, (line, 0))
        self._first[reason] = (known, before + count)

    def add_rows(self, rows, reason):
        """Note ``reason`` at the lines of index ``rows`` (from 0), if there are any."""
        if len(rows):
            self.add(int(rows[0]) + 1, reason, len(rows))

    def passed_over(self):
        """Return the notes as records, in the order of the file."""
        records = [
            PassedOver(self.file, line, reason, count)
            for reason, (line, count) in self._first.items()
        ]
        return tuple(sorted(records, key=lambda record: record.line))


def number(text, missing=math.nan):
    """Return the float in ``text`` (D or E exponents); ``missing`` where blank or damaged."""
    try:
        value = float(text.replace("D", "E").replace("d", "e").strip())
    except ValueError:
        return missing
    return value if math.isfinite(value) and "_" not in text else missing


def whole_number(text, missing=None):
    """Return the whole number in ``text``; ``missing`` where it is blank or damaged."""
    text = text.strip()
    return int(text) if text.lstrip("+-").isdecimal() and len(text) < 18 else missing


def only_member(path):
    """Return (name, bytes, notes on the packing) of the one file that ``path`` holds.

    Raises
    ------
    FormatError
        Where an archive holds none or several.
    """
    members = open_bytes(Path(path))
    if len(members) != 1:
        names = ", ".join(str(name) for name, _ in members[:5])
        raise FormatError(path, None, f"{len(members)} files ({names})", "one", "unpack it first")
    return (*members[0], members.passed_over)


def with_notes(record, notes):
    """Return ``record`` with ``notes`` put before its own ``passed_over``."""
    if not notes:
        return record
    return replace(record, passed_over=(*notes, *record.passed_over))
