"""Melt by the weather: positive degree days from the tables of air temperature."""

import numpy as np

from ..campaign.folders import RAW
from ..constants import NS_PER_DAY
from ..errors import StakelineError
from ..formats.plain_table import NOT_A_TIME, read_plain_table
from ..time import gps_from_utc

MELT = "melt (positive degree days)"
WEATHER = f"{RAW}/weather"
LEAST_SHARE = 0.5  # of the days that must have a temperature; choice
TAKEN_OFF_SHARE = 0.9  # of the days with a temperature, from which melt is taken off; choice


def melt_index(campaign, axis):
    """Return (positive degree days (n,) at the days of ``axis`` or None, files read, sentences).

    The mean positive part of the air temperature within half a day, times one day [degC d]: what
    melts snow and ice, in proportion (Braithwaite 1995, J. Glaciol. 41, 153). Of several tables
    the warmest one that covers half of the days: water comes from where it melts. None where there
    is no temperature, or none that ever passes 0 degC.

    Parameters
    ----------
    campaign : Campaign
    axis : array (n,)
        Days since 1970, evenly spaced.
    """
    files = sorted(p for p in (campaign.root / WEATHER).glob("*") if p.is_file())
    found, used, said = [], [], []
    for path in files:
        try:
            table = read_plain_table(path)
        except StakelineError as problem:
            said.append(f"melt: {problem}; {campaign.relative(path)} is left aside")
            continue
        column = _temperature(table)
        if column is None or not table.scale:
            continue
        time_ns = table.time_ns
        if table.scale == "UTC":
            there = time_ns != NOT_A_TIME
            time_ns = np.where(there, gps_from_utc(np.where(there, time_ns, 0)), NOT_A_TIME)
        found.append(degree_days(time_ns, np.asarray(table.column(column), float), axis))
        used.append(path)
    covering = [melt for melt in found if np.isfinite(melt).sum() >= LEAST_SHARE * len(axis) > 0.0]
    melt = max(covering, key=np.nanmean, default=None)
    if melt is None or not np.nanmax(melt) > np.nanmin(melt):
        why = "melt: no table of air temperature in 0-raw/weather covers the record above 0 degC"
        return None, tuple(used), (*said, why)
    return melt, tuple(used), tuple(said)


def melt_columns(melt):
    """Return melt and that of the day before (n, 2): water takes a day or so to the bed.

    The first day's of the day before is its own.
    """
    return np.column_stack([melt, np.concatenate([melt[:1], melt[:-1]])])


def melt_taken_off(part, question):
    """Return the columns (n, 2) of melt that are taken off speeds; None where they are not.

    They are where the settings say so and the weather covers nearly all days, since a day without
    weather would be lost.
    """
    melt = question.causes.get(MELT)
    if not part.take_off_melt or melt is None or np.isfinite(melt).mean() < TAKEN_OFF_SHARE:
        return None
    return melt_columns(melt)


def _temperature(table):
    """Return the name of the column of air temperature; None where there is none."""
    for name, unit in zip(table.names, table.units, strict=True):
        if unit == "degC" and name.startswith(("temperature", "air_temperature")):
            return name
    return None


def degree_days(time_ns, temperature_degC, axis):
    """Return the mean of the positive temperature within half a step of each day (n,). [degC d]"""
    warm = np.maximum(temperature_degC, 0.0)
    return daily_means(time_ns, warm, axis)


def daily_means(time_ns, values, axis):
    """Return the mean of values within half a step of each day (n,); NaN where there is none."""
    step = axis[1] - axis[0] if len(axis) > 1 else 1.0
    keep = np.isfinite(values) & (time_ns != NOT_A_TIME)
    if not len(axis):
        return np.zeros(0)
    place = np.floor((time_ns[keep] / NS_PER_DAY - axis[0]) / step + 0.5).astype(int)
    inside = (place >= 0) & (place < len(axis))
    count = np.bincount(place[inside], minlength=len(axis))
    total = np.bincount(place[inside], values[keep][inside], minlength=len(axis))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
