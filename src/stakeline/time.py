"""Time scales. Inside, every time is GPS time as int64 nanoseconds.

The count starts at 1970-01-01T00:00:00 of the GPS calendar, so that
``time_ns.view("datetime64[ns]")`` reads as the GPS calendar date: no leap second is ever inside.
"""

import functools

import erfa
import numpy as np

from .constants import BDT_MINUS_GPS_S, NS_PER_DAY, NS_PER_S, TAI_MINUS_GPS_S, TT_MINUS_TAI_S
from .errors import TimeError

GPS_EPOCH_NS = int(np.datetime64("1980-01-06", "ns").astype(np.int64))
MJD_UNIX_EPOCH = 40587.0  # d; definition of the modified Julian date
_GLONASS_MINUS_UTC_S = 0.0  # RINEX writes GLONASS time without its 3 h: RINEX 3.05, section 4.1.2


def from_calendar(year, month, day, hour=0, minute=0, second=0.0):
    """Return the time of a calendar date and time of day, same scale. [ns]

    Works on numbers; ``second`` may be fractional and is kept to 0.1 ns rounded to 1 ns.
    Raises TimeError when a field is outside the calendar.
    """
    if not (1 <= month <= 12 and 1 <= day <= 31 and 0 <= hour <= 24 and 0 <= minute < 60):
        raise TimeError(f"{year}-{month}-{day} {hour}:{minute} is no calendar date")
    if not (0 <= second < 61 and 1902 <= year <= 2200):
        raise TimeError(f"year {year}, second {second}: outside 1902-2200 or 0-61 s")
    try:
        date = np.datetime64(f"{year:04d}-{month:02d}-{day:02d}", "ns")
    except ValueError:
        raise TimeError(f"{year}-{month}-{day} is no calendar date") from None
    return int(date.astype(np.int64)) + (hour * 3600 + minute * 60) * NS_PER_S + round(second * 1e9)


def from_gps_week(week, seconds_of_week):
    """Return GPS time of a full week number and seconds of the week. [ns]"""
    return GPS_EPOCH_NS + int(week) * 7 * NS_PER_DAY + round(seconds_of_week * 1e9)


def gps_week(time_ns):
    """Return (full week number, seconds of the week) of GPS times."""
    since = np.asarray(time_ns, np.int64) - GPS_EPOCH_NS
    week = since // (7 * NS_PER_DAY)
    return week, (since - week * 7 * NS_PER_DAY) / NS_PER_S


def iso(time_ns):
    """Return the ISO 8601 text of one time, in its own scale, without trailing zeros."""
    text = str(np.int64(time_ns).view("datetime64[ns]"))
    return text.rstrip("0").rstrip(".") if "." in text else text


def from_iso(text):
    """Return the time of an ISO 8601 text, in the scale the text is meant in. [ns]"""
    try:
        value = np.datetime64(text.strip().rstrip("Z"), "ns")
    except ValueError:
        raise TimeError(f"'{text}' is no ISO 8601 time such as 2020-06-25T12:00:00") from None
    return int(value.astype(np.int64))


def day_of_year(time_ns):
    """Return (year, day of the year from 1) of times."""
    date = np.asarray(time_ns, np.int64).view("datetime64[ns]")
    year = date.astype("datetime64[Y]")
    day = (date.astype("datetime64[D]") - year.astype("datetime64[D]")).astype(int) + 1
    return year.astype(int) + 1970, day


@functools.lru_cache(maxsize=1)
def _leap_table():
    """Return (UTC times from which it holds [ns], TAI - UTC [s]) from the library's table."""
    rows = [row for row in erfa.leap_seconds.get() if row["year"] >= 1972]
    start = [from_calendar(int(r["year"]), int(r["month"]), 1) for r in rows]
    return np.array(start, np.int64), np.array([float(r["tai_utc"]) for r in rows])


def last_leap_second():
    """Return (UTC from which it holds [ns], GPS - UTC [s]) of the last one the list knows."""
    start, tai_utc = _leap_table()
    return int(start[-1]), float(tai_utc[-1] - TAI_MINUS_GPS_S)


def gps_minus_utc_s(utc_ns):
    """Return GPS - UTC at UTC times, from the IERS list of leap seconds. [s]"""
    start, tai_utc = _leap_table()
    index = np.searchsorted(start, np.asarray(utc_ns, np.int64), side="right") - 1
    return tai_utc[np.maximum(index, 0)] - TAI_MINUS_GPS_S


def gps_from_utc(utc_ns):
    """Return GPS time of UTC times. [ns]"""
    utc_ns = np.asarray(utc_ns, np.int64)
    return utc_ns + (gps_minus_utc_s(utc_ns) * NS_PER_S).astype(np.int64)


def utc_from_gps(time_ns):
    """Return UTC of GPS times (a leap second itself reads as the second after it). [ns]"""
    time_ns = np.asarray(time_ns, np.int64)
    guess = time_ns - (gps_minus_utc_s(time_ns) * NS_PER_S).astype(np.int64)
    return time_ns - (gps_minus_utc_s(guess) * NS_PER_S).astype(np.int64)


def to_gps(time_ns, system, file="", line=None):
    """Return GPS time of times given in a RINEX, SP3 or clock file's time system. [ns]

    Parameters
    ----------
    time_ns : int or array
        Calendar reading in ``system``.
    system : str
        GPS, GAL, QZS, IRN (equal to GPS time), UTC, GLO (UTC as the files write it), BDT, TAI, TT.

    Raises
    ------
    TimeError
        For any other name; it lists the names there are.
    """
    time_ns = np.asarray(time_ns, np.int64)
    offset_s = {"GPS": 0.0, "GAL": 0.0, "QZS": 0.0, "IRN": 0.0, "TAI": -TAI_MINUS_GPS_S}
    offset_s |= {"BDT": -BDT_MINUS_GPS_S, "TT": -TAI_MINUS_GPS_S - TT_MINUS_TAI_S}
    if system in ("UTC", "GLO"):
        return gps_from_utc(time_ns)
    if system not in offset_s:
        known = ", ".join(sorted([*offset_s, "UTC", "GLO"]))
        where = f"{file}:{line}: " if file else ""
        raise TimeError(f"{where}time system '{system}' is not known; known are {known}")
    return time_ns + round(offset_s[system] * NS_PER_S)


def mjd(time_ns):
    """Return the modified Julian date in the scale of ``time_ns``, as float (0.6 us). [d]"""
    time_ns = np.asarray(time_ns, np.int64)
    day = time_ns // NS_PER_DAY
    return MJD_UNIX_EPOCH + day + (time_ns - day * NS_PER_DAY) / NS_PER_DAY


def from_mjd(mjd_d):
    """Return the time of a modified Julian date, in the same scale. [ns]"""
    return np.round((np.asarray(mjd_d, float) - MJD_UNIX_EPOCH) * 86400e3).astype(np.int64) * 10**6


def julian_tt(time_ns):
    """Return TT as a two-part Julian date (day, fraction) of GPS times, for erfa."""
    day = 2400000.5 + MJD_UNIX_EPOCH + np.asarray(time_ns, np.int64) // NS_PER_DAY
    seconds = (np.asarray(time_ns, np.int64) % NS_PER_DAY) / NS_PER_S
    return day, (seconds + TAI_MINUS_GPS_S + TT_MINUS_TAI_S) / 86400.0


def julian_utc(time_ns):
    """Return UTC as a two-part Julian date (day, fraction) of GPS times, for erfa."""
    utc = utc_from_gps(time_ns)
    return 2400000.5 + MJD_UNIX_EPOCH + utc // NS_PER_DAY, (utc % NS_PER_DAY) / NS_PER_DAY


def decimal_year(time_ns):
    """Return the decimal year in the scale of ``time_ns``. [a]"""
    year, _ = day_of_year(time_ns)
    start = (np.asarray(year) - 1970).astype("datetime64[Y]").astype("datetime64[ns]")
    end = (np.asarray(year) - 1969).astype("datetime64[Y]").astype("datetime64[ns]")
    start, end = start.astype(np.int64), end.astype(np.int64)
    return year + (np.asarray(time_ns, np.int64) - start) / (end - start)
