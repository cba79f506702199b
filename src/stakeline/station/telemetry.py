"""What a station's logger tells, on a grid of hours: the input of its health."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SettingsError

HOUR_NS = 3600 * NS_PER_S
DAY_H = 24
LEAST = {  # lowest and highest reading that a sound sensor gives; common practice, no source
    "battery_V": (0.0, 80.0),
    "panel_A": (-2.0, 200.0),
    "turbine_A": (-2.0, 200.0),
    "load_A": (-2.0, 200.0),
    "box_degC": (-80.0, 90.0),
    "air_degC": (-95.0, 50.0),
    "wind_m_s": (0.0, 100.0),
    "humidity_percent": (0.0, 105.0),
    "pressure_hPa": (400.0, 1100.0),
    "snow_distance_m": (0.2, 20.0),
    "tilt_deg": (0.0, 180.0),
}
QUANTITIES = tuple(LEAST)
"""Columns of a logger's table that health reads; each may be missing."""


@dataclass(frozen=True)
class Hours:
    """Means by hour, from the first day's beginning to the last day's end.

    Attributes
    ----------
    first_day : int
        Number of the first day since the epoch of GPS-time days. [d]
    columns : dict of array, shape (24 d,)
        Of :data:`QUANTITIES`; NaN where there is none.
    low_V : array, shape (24 d,)
        Lowest reading of the battery within the hour.
    rows : int array, shape (24 d,)
        Readings in the hour; 0: the logger was silent.
    read_ns : int64 array, shape (24 d,)
        Mean of the times of the hour's readings, its middle where there is none: of a reading on
        the full hour, light is that of the full hour. [ns]
    """

    first_day: int
    columns: dict
    low_V: np.ndarray
    rows: np.ndarray
    read_ns: np.ndarray

    def __getattr__(self, name):
        """Return a column by its name."""
        columns = self.__dict__.get("columns", {})
        if name in columns:
            return columns[name]
        raise AttributeError(name)

    @property
    def days(self):
        """Number of days."""
        return self.rows.size // DAY_H

    @property
    def time_ns(self):
        """Middle of each hour. [ns]"""
        hours = np.arange(self.rows.size, dtype=np.int64)
        return self.first_day * NS_PER_DAY + HOUR_NS * hours + HOUR_NS // 2

    @property
    def net_A(self):
        """Current into the bank: panels and turbine less load; what is not metered counts 0."""
        parts = self.panel_A, self.turbine_A, self.load_A
        known = np.isfinite(self.load_A) | np.isfinite(self.panel_A)
        panel, turbine, load = (np.nan_to_num(part) for part in parts)
        return np.where(known, panel + turbine - load, np.nan)

    def by_day(self, name):
        """Return a column as (days, 24)."""
        return np.asarray(getattr(self, name)).reshape(-1, DAY_H)

    def until(self, day):
        """Return the hours of the first ``day`` days."""
        end = day * DAY_H
        columns = {name: values[:end] for name, values in self.columns.items()}
        parts = self.low_V[:end], self.rows[:end], self.read_ns[:end]
        return Hours(self.first_day, columns, *parts)


def day_medians(rows, least=1):
    """Return the median of what is known in each row (d,); NaN with fewer than ``least`` values."""
    ordered = np.sort(rows, axis=1)  # NaN go last
    count = np.isfinite(rows).sum(axis=1)
    low, high = np.maximum(count - 1, 0) // 2, np.minimum(count // 2, rows.shape[1] - 1)
    place = np.stack([low, high], axis=1)
    middle = np.take_along_axis(ordered, place, axis=1).mean(axis=1)
    return np.where(count >= max(least, 1), middle, np.nan)


def hours_of(time_ns, columns):
    """Return the :class:`Hours` of a logger's table.

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
        GPS time, in any order. [ns]
    columns : dict of array, shape (n,)
        By names of :data:`QUANTITIES`; NaN missing. Others are passed over, and so are readings
        outside the range of a sound sensor.

    Raises
    ------
    SettingsError
        Without any time, or for a column of another length.
    """
    time_ns = np.asarray(time_ns, np.int64)
    if time_ns.size == 0:
        raise SettingsError("a logger's table without rows; expected at least one reading")
    first = int(time_ns.min() // NS_PER_DAY)
    last = int(time_ns.max() // NS_PER_DAY)
    count = (last - first + 1) * DAY_H
    hour = (time_ns - first * NS_PER_DAY) // HOUR_NS
    means = {}
    for name, (low, high) in LEAST.items():
        values = np.asarray(columns.get(name, np.full(time_ns.size, np.nan)), float)
        if values.shape != time_ns.shape:
            raise SettingsError(f"{name}: {values.size} values for {time_ns.size} times")
        good = np.isfinite(values) & (values >= low) & (values <= high)
        number = np.bincount(hour[good], minlength=count)
        total = np.bincount(hour[good], values[good], minlength=count)
        means[name] = np.where(number > 0, total / np.maximum(number, 1), np.nan)
    lowest = np.full(count, np.inf)
    volts = np.asarray(columns.get("battery_V", np.full(time_ns.size, np.nan)), float)
    known = np.isfinite(volts) & (volts > 0.0)
    np.minimum.at(lowest, hour[known], volts[known])
    rows = np.bincount(hour, minlength=count)
    begin = first * NS_PER_DAY + HOUR_NS * np.arange(count, dtype=np.int64)
    within = np.bincount(hour, time_ns - begin[hour], minlength=count) / np.maximum(rows, 1)
    read = begin + np.where(rows > 0, within, HOUR_NS / 2).astype(np.int64)
    return Hours(first, means, np.where(np.isfinite(lowest), lowest, np.nan), rows, read)
