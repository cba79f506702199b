"""The columns of each Earth orientation file, as rows of numbers in SI.

Each function takes the lines of a file and returns (rows, notes), rows holding
``(mjd, pole x, pole y, UT1 - UTC, length of day excess, dX, dY)`` in days, radians and seconds.
"""

import math
import re

from ..fixed_columns import number

_ARCSECOND = math.pi / 648000.0
_NAN = math.nan
_FINALS_POLE = ((134, 144, 18, 27), (144, 154, 37, 46), (154, 165, 58, 68))
_FINALS_OFFSETS = ((165, 175, 97, 106), (175, 185, 116, 125))
_DATE = re.compile(r"^\s*\d{4}\s+\d{1,2}\s+\d{1,2}\s")


def _numbers(line):
    return [number(part) for part in line.split()]


def _row(mjd, pole, ut1_s, length_s, offsets, *, unit):
    """Return one row; ``unit`` turns the angles into radians."""
    angles = [value * unit for value in (*pole, *offsets)]
    return mjd, angles[0], angles[1], ut1_s, length_s, angles[2], angles[3]


def c04_old(lines, notes):
    """Year, month, day, MJD, x, y, UT1-UTC, LOD, then dX, dY or dPsi, dEps; arcsec and s."""
    celestial = any("dX" in line for line in lines[:20])
    rows = []
    for index, line in enumerate(lines):
        if not _DATE.match(line):
            continue
        v = _numbers(line)
        if len(v) < 10 or any(x != x for x in v[3:8]):
            notes.add(index + 1, "damaged line")
            continue
        offsets = v[8:10] if celestial else (_NAN, _NAN)
        rows.append(_row(v[3], v[4:6], v[6], v[7], offsets, unit=_ARCSECOND))
    if rows and not celestial:
        notes.add(0, "nutation given as dPsi, dEps: not used as dX, dY")
    return rows


def c04_new(lines, notes):
    """Year, month, day, hour, MJD, x, y, UT1-UTC, dX, dY, rates, LOD; arcsec and s."""
    rows = []
    for index, line in enumerate(lines):
        if not _DATE.match(line):
            continue
        v = _numbers(line)
        if len(v) < 13 or any(x != x for x in v[4:13]):
            notes.add(index + 1, "damaged line")
            continue
        rows.append(_row(v[4], v[5:7], v[7], v[12], v[8:10], unit=_ARCSECOND))
    return rows


def bulletin_b(lines, notes):
    """Section 1: year, month, day, MJD, x, y, UT1-UTC, dX, dY; mas and ms."""
    rows = []
    for index, line in enumerate(lines):
        if re.match(r"^\s*2\s+-\s", line):
            break
        if not _DATE.match(line):
            continue
        v = _numbers(line)
        if len(v) < 9 or any(x != x for x in v[3:9]):
            notes.add(index + 1, "damaged line")
            continue
        rows.append(_row(v[3], v[4:6], v[6] * 1e-3, _NAN, v[7:9], unit=_ARCSECOND * 1e-3))
    return rows


def finals(lines, notes):
    """Fixed columns; values of Bulletin B (columns 135-185) go before those of Bulletin A."""
    rows = []
    for index, line in enumerate(lines):
        if not line.strip():
            continue
        mjd = number(line[7:15])
        x, y, ut1 = (_first(line, *columns) for columns in _FINALS_POLE)
        if mjd != mjd or x != x or y != y or ut1 != ut1:
            known = mjd == mjd and not line[16:].strip()
            notes.add(index + 1, "day without values" if known else "damaged line")
            continue
        length_s = number(line[79:86]) * 1e-3
        offsets = [_first(line, *columns) * 1e-3 for columns in _FINALS_OFFSETS]
        rows.append(_row(mjd, (x, y), ut1, length_s, offsets, unit=_ARCSECOND))
    return rows


def _first(line, start, stop, other_start, other_stop):
    """Return the number in the first columns, in the other ones where those are blank."""
    value = number(line[start:stop])
    return number(line[other_start:other_stop]) if value != value else value


def igs(lines, notes):
    """IGS ERP version 2: MJD, x, y in 1e-6 arcsec, UT1-UTC and LOD in 1e-7 s (per day)."""
    rows = []
    for index, line in enumerate(lines):
        v = _numbers(line)
        if len(v) < 5 or v[0] != v[0]:
            continue
        if any(x != x for x in v[:5]):
            notes.add(index + 1, "damaged line")
            continue
        ut1_s, length_s = v[3] * 1e-7, v[4] * 1e-7
        rows.append(_row(v[0], v[1:3], ut1_s, length_s, (_NAN, _NAN), unit=_ARCSECOND * 1e-6))
    return rows
