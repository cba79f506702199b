"""Measured weather by the hour: holes, sensors that stand still, values that no air has.

What is missing is NaN and stays so; it is never zero and never filled.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_S
from ..errors import SettingsError

HOUR_NS = 3600 * NS_PER_S  # ns; definition
POSSIBLE = {
    "temperature_degC": (-95.0, 35.0),  # degC; lowest measured -89.2, WMO; own margin
    "wind_m_s": (0.0, 90.0),  # m/s; hourly means beyond are faults, own choice
    "pressure_hPa": (400.0, 1090.0),  # hPa; from 6000 m to the deepest high, own choice
    "cloud": (0.0, 1.0),  # -; share of the sky
    "humidity_percent": (0.0, 120.0),  # %; over water or ice, a sensor's error added, own choice
}
STILL_H = {
    "temperature_degC": 12,  # h; of one value to a tenth, own choice
    "wind_m_s": 12,  # h; of one value other than calm, own choice
    "pressure_hPa": 24,  # h; own choice
    "cloud": 10**9,  # h; a clear week is one value
    "humidity_percent": 10**9,  # h; fog is 100 % for days
}
CALM_H = 48  # h; of no wind at all: a frozen anemometer, own choice; 33 h are seen on the plateau


@dataclass(frozen=True)
class HourlyWeather:
    """Weather at whole hours (n,); NaN where missing.

    Attributes
    ----------
    start_ns : int
        GPS time of the first hour. [ns]
    temperature_degC, wind_m_s, pressure_hPa, cloud : array, shape (n,)
        All NaN for what was not measured.
    humidity_percent : array, shape (n,) or None
        Relative, over water; told only for the season of rime.
    measured_at_m : float
        Height of the wind above the surface.
    notes : tuple of str
        What was found wrong and taken out.
    """

    start_ns: int
    temperature_degC: np.ndarray
    wind_m_s: np.ndarray
    pressure_hPa: np.ndarray
    cloud: np.ndarray
    measured_at_m: float = 3.0
    notes: tuple = ()
    humidity_percent: np.ndarray | None = None

    @property
    def time_ns(self):
        """GPS times of the hours (n,). [ns]"""
        return self.start_ns + HOUR_NS * np.arange(self.temperature_degC.size)


def hourly_weather(time_ns, columns, measured_at_m=3.0):
    """Return the :class:`HourlyWeather` of rows in any order, checked.

    Parameters
    ----------
    time_ns : int64 array, shape (k,)
        GPS time; rows within half an hour of a whole one are its. Several are averaged.
    columns : dict of array, shape (k,)
        By name, of :data:`POSSIBLE`; a missing quantity is left out.
    measured_at_m : float

    Raises
    ------
    SettingsError
        Without rows, or without any temperature or wind.
    """
    time_ns = np.asarray(time_ns, np.int64)
    if time_ns.size == 0:
        raise SettingsError("weather: no rows; expected hourly temperature and wind")
    hour = (time_ns + HOUR_NS // 2) // HOUR_NS
    first = int(hour.min())
    count = int(hour.max()) - first + 1
    notes, found = [], {}
    for name in POSSIBLE:
        given = columns.get(name)
        values = np.full(count, np.nan) if given is None else _on_hours(hour - first, given, count)
        found[name] = _checked(name, values, notes)
    for name in ("temperature_degC", "wind_m_s"):
        if not np.isfinite(found[name]).any():
            raise SettingsError(f"weather: no {name} at all in {count} hours; expected some")
        notes.append(_missing_words(name, found[name]))
    return HourlyWeather(first * HOUR_NS, **found, measured_at_m=measured_at_m, notes=tuple(notes))


def _on_hours(index, values, count):
    """Return the mean of what falls to each hour (count,), NaN where nothing does."""
    values = np.asarray(values, float)
    there = np.isfinite(values)
    number = np.bincount(index[there], minlength=count)
    total = np.bincount(index[there], values[there], minlength=count)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def _checked(name, values, notes):
    """Return values without impossible ones and still runs; a sentence for each kind."""
    low, high = POSSIBLE[name]
    wrong = (values < low) | (values > high)
    if wrong.any():
        notes.append(
            f"{name}: {int(wrong.sum())} values outside {low:g} to {high:g} taken as missing, the "
            f"first {values[wrong][0]:g}"
        )
    values = np.where(wrong, np.nan, values)
    still = still_runs(values, STILL_H[name], CALM_H if name == "wind_m_s" else None)
    stuck = np.zeros(values.size, bool)
    for begin, end in still:
        stuck[begin:end] = True
    if still:
        longest = max(still, key=lambda run: run[1] - run[0])
        notes.append(
            f"{name}: {len(still)} times one value for hours, {int(stuck.sum())} h in all, taken "
            f"as missing; the longest {longest[1] - longest[0]} h of {values[longest[0]]:g}"
        )
    return np.where(stuck, np.nan, values)


def still_runs(values, hours, calm_hours=None):
    """Return (begin, end) of runs of one value for at least ``hours``.

    ``calm_hours``: of zero, where given, instead.
    """
    values = np.asarray(values, float)
    change = np.flatnonzero(~(values[1:] == values[:-1])) + 1
    begin = np.concatenate([[0], change])
    length = np.diff(np.concatenate([begin, [values.size]]))
    least = np.full(begin.size, float(hours))
    if calm_hours is not None:
        least[values[begin] == 0.0] = calm_hours
    long = (length >= least) & np.isfinite(values[begin])
    return [(int(b), int(b + n)) for b, n in zip(begin[long], length[long], strict=True)]


def _missing_words(name, values):
    missing = ~np.isfinite(values)
    gaps = np.diff(np.concatenate([[0], missing.astype(int), [0]]))
    lengths = np.flatnonzero(gaps == -1) - np.flatnonzero(gaps == 1)
    longest = int(lengths.max()) if lengths.size else 0
    return (
        f"{name}: {100.0 * missing.mean():.1f} % of {values.size} hours missing, longest gap "
        f"{longest} h"
    )
