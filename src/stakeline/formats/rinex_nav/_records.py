"""Cutting the body of a navigation file into records and their epochs."""

from dataclasses import dataclass

import numpy as np

from ...constants import NS_PER_DAY
from ...tables import SYSTEMS
from ._layouts import DEFAULT_KIND

_GEO_BEIDOU = (*range(1, 6), *range(59, 64))  # BeiDou ICD B1I 3.0, section 5.1: D2 messages
_GALILEO_F = 2  # bit 1 of the data sources: F/NAV E5a; RINEX 3.05, table A8


@dataclass
class Records:
    """One entry for each record: what it is, its satellite, its first line and their number."""

    what: np.ndarray  # EPH, ION, STO, EOP
    kind: np.ndarray
    satellite: np.ndarray
    row: np.ndarray  # index of the epoch line
    lines: np.ndarray

    def take(self, chosen):
        """Return the records that ``chosen`` (mask or index) selects."""
        return Records(*(part[chosen] for part in vars(self).values()))

    def letters(self):
        """Return the system letter of each record."""
        return np.array(list(SYSTEMS))[self.satellite // 100]


def split(text, header, notes):
    """Return the :class:`Records` of the body; satellites of no known system are noted."""
    rows = np.arange(header.body, len(text))
    if header.version >= 4.0:
        return _split_4(text, rows, notes)
    filled = text.stop[rows] > text.start[rows]
    starts = rows[filled & (_lead(text, rows, header) != 32)]
    satellite = _satellites(text, header, starts)
    notes.add_rows(starts[satellite == 0], "record of no known satellite")
    ends = np.append(starts[1:], _last_filled(text, rows) + 1)
    kind = np.array([DEFAULT_KIND[SYSTEMS[s // 100]] for s in satellite], "U4")
    what = np.full(len(starts), "EPH", "U3")
    return Records(what, kind, satellite, starts, ends - starts).take(satellite > 0)


def _lead(text, rows, header):
    """Return the byte that is blank in continuation lines only."""
    return text.letters(rows, 0 if header.version >= 3.0 else 1)


def _last_filled(text, rows):
    filled = rows[text.stop[rows] - text.start[rows] > 3]
    return int(filled[-1]) if filled.size else len(text) - 1


def _satellites(text, header, starts):
    if header.version >= 3.0:
        return text.satellites(starts, 0)
    number, good = text.numbers(starts, 0, 2)
    number = np.where(good[:, 0] & (number[:, 0] >= 1), number[:, 0], 0).astype(np.int16)
    if header.system == "S":  # two digits of version 2: the number less 100
        number %= 100
    return np.where(number > 0, number + 100 * SYSTEMS.index(header.system), 0).astype(np.int16)


def _split_4(text, rows, notes):
    starts = rows[text.letters(rows, 0) == ord(">")]
    notes.add_rows(rows[: int(starts[0] - rows[0])] if starts.size else rows, "line of no record")
    satellite = text.satellites(starts, 6)
    words = [text.line(index)[2:].split() for index in starts]
    what = np.array([w[0] if w else "" for w in words], "U3")
    kind = np.array([w[2] if len(w) > 2 else "" for w in words], "U4")
    ends = np.append(starts[1:], _last_filled(text, rows) + 1)
    lost = (satellite == 0) & ~np.isin(what, ("STO", "EOP"))  # these may name a system only
    notes.add_rows(starts[lost], "record of no known satellite")
    return Records(what, kind, satellite, starts + 1, ends - starts - 1).take(~lost)


def name_kinds(records, version, sources):
    """Name Galileo and BeiDou messages of versions 2 and 3 by what they say of themselves."""
    if version >= 4.0:
        return
    letters = records.letters()
    galileo = letters == "E"
    f_nav = galileo & ((np.nan_to_num(sources).astype(np.int64) & _GALILEO_F) != 0)
    records.kind[f_nav] = "FNAV"
    records.kind[(letters == "C") & np.isin(records.satellite % 100, _GEO_BEIDOU)] = "D2"


def epochs(text, header, rows):
    """Return the epoch of each first line in its own time scale, -1 where damaged. [ns]"""
    if header.version >= 3.0:
        columns, widths = [4, 8, 11, 14, 17, 20], [4, 3, 3, 3, 3, 3]
    else:
        columns, widths = [2, 5, 8, 11, 14, 17], [3, 3, 3, 3, 3, 5]
    value, _ = text.numbers(rows, columns, widths)
    whole = np.nan_to_num(value[:, :5], nan=-1.0)
    year, month, day, hour, minute = np.clip(whole, -1, 9999).astype(np.int64).T
    if header.version < 3.0:
        year = np.where(year < 80, year + 2000, np.where(year < 100, year + 1900, year))
    good = (year >= 1980) & (year <= 2200) & (month >= 1) & (month <= 12) & (day >= 1)
    good &= (hour >= 0) & (hour <= 24) & (minute >= 0) & (minute <= 60)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0).astype("datetime64[M]")
    start = months.astype("datetime64[D]").astype(np.int64)
    good &= day <= (months + 1).astype("datetime64[D]").astype(np.int64) - start
    good &= (value[:, 5] >= 0.0) & (value[:, 5] < 61.0)
    second_ns = np.round(np.where(good, value[:, 5], 0.0) * 1e9).astype(np.int64)
    time_ns = (start + day - 1) * NS_PER_DAY + (hour * 60 + minute) * 60 * 10**9 + second_ns
    return np.where(good, time_ns, -1)
