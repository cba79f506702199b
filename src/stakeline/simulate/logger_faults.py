"""Mistakes of loggers and of what they watch, put into a logger's table.

Each function takes a table as :func:`stakeline.simulate.logger.logger_table` gives it and returns
(new table, number of rows that are changed); the table given stays as it is. ``begin`` and ``end``
are UTC in ISO 8601 as the column ``time_utc`` holds it; the end is left out.
"""

import numpy as np

from ..errors import SettingsError
from .logger import MISSING

TIME = "time_utc"
ALWAYS = ("0000", "9999")


def stuck_sensor(table, column, begin, end):
    """Repeat the last reading before ``begin`` until ``end``; SettingsError for no such column."""
    if column not in table or column == TIME:
        names = ", ".join(name for name in table if name != TIME)
        raise SettingsError(f"no column '{column}' in the logger's table; there are {names}")
    rows = _rows(table, begin, end)
    values = table[column].copy()
    if rows.any():
        values[rows] = values[max(int(np.argmax(rows)) - 1, 0)]
    return _changed(table, {column: values})


def shifted_clock(table, seconds, begin=ALWAYS[0], end=ALWAYS[1]):
    """Let the logger's clock be ahead by whole seconds: its times read more by so many."""
    rows = _rows(table, begin, end)
    text = np.char.rstrip(table[TIME], "Z").astype("datetime64[s]")
    late = np.where(rows, text + np.timedelta64(int(seconds), "s"), text)
    moved = np.char.add(np.datetime_as_string(late, unit="s"), "Z")
    return _changed(table, {TIME: moved})


def over_voltage(table, begin, end, volts=17.2, from_m_s=15.0):
    """Let the turbine's regulator fail: wind from ``from_m_s`` drives the bank to ``volts``."""
    rows = _rows(table, begin, end) & (table["wind_m_s"] >= from_m_s)
    return _changed(table, {"battery_V": np.where(rows, volts, table["battery_V"])})


def no_charge_in_sun(table, begin, end):
    """Let the panels be buried or their cable be broken: no current, whatever the sun."""
    rows = _rows(table, begin, end) & (table["panel_A"] != MISSING)
    return _changed(table, {"panel_A": np.where(rows, 0.0, table["panel_A"])})


def no_turbine_in_wind(table, begin, end):
    """Let the turbine stand, by rime or a broken bearing: no current, whatever the wind."""
    rows = _rows(table, begin, end) & (table["turbine_A"] != MISSING)
    return _changed(table, {"turbine_A": np.where(rows, 0.0, table["turbine_A"])})


def cold_collapse(table, begin, end, below_degC=-25.0, fall_V_K=0.15):
    """Let a weak bank collapse in the cold: less by ``fall_V_K`` for each degree of the box below.

    The voltage goes no lower than 8 V.
    """
    box, volts = table["box_degC"], table["battery_V"]
    rows = _rows(table, begin, end) & (box != MISSING) & (volts != MISSING) & (box < below_degC)
    fallen = np.maximum(volts - fall_V_K * (below_degC - box), 8.0)
    return _changed(table, {"battery_V": np.where(rows, np.round(fallen, 2), volts)})


def ripple(rng, table, begin, end, ripple_V=1.0):
    """Let the regulator's ripple reach the meter: it samples a sine at chance phases.

    ``ripple_V`` is the root mean square of the sine. Only while there is charge; rows without
    wind and sun stay clean.
    """
    charge = np.maximum(table["panel_A"], 0.0) + np.maximum(table["turbine_A"], 0.0)
    rows = _rows(table, begin, end) & (charge > 0.1) & (table["battery_V"] != MISSING)
    phase = rng.uniform(0.0, 2.0 * np.pi, rows.size)
    seen = table["battery_V"] + np.sqrt(2.0) * ripple_V * np.sin(phase)
    return _changed(table, {"battery_V": np.where(rows, np.round(seen, 2), table["battery_V"])})


def _rows(table, begin, end):
    """Return which rows lie within [begin, end): ISO 8601 texts sort as times do."""
    return (table[TIME] >= begin) & (table[TIME] < end)


def _changed(table, columns):
    """Return (table with columns replaced, number of rows in which one of them differs)."""
    differs = np.zeros(len(table[TIME]), bool)
    for name, values in columns.items():
        differs |= values != table[name]
    return table | columns, int(differs.sum())
