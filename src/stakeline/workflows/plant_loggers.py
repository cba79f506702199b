"""Mistakes of power, sensors and loggers, as a logger's table shows them."""

import numpy as np

from ..simulate.campaign import DAY_S
from ..simulate.logger import MISSING
from ..simulate.logger_faults import (
    cold_collapse,
    no_charge_in_sun,
    no_turbine_in_wind,
    over_voltage,
    ripple,
    shifted_clock,
    stuck_sensor,
)
from .plant_desk import Case

TIME = "time_utc"
TURBINES = ("HV12", "HV07", "HV13", "HV14", "HV02")  # stations asked for a rotor, in this order


def _span(desk, first, last):
    """Return ISO times of two days of the campaign."""
    times = desk.invented.time_ns(np.array([first, last]) * DAY_S).view("datetime64[ns]")
    return tuple(f"{str(t)[:19]}Z" for t in times)


def _fault(name, first, last, what, fault):
    """Return a change that lets ``fault(desk, table, begin, end)`` alter a logger's table."""

    def change(desk):
        if not desk.has(name) or desk.invented.days < last:
            return None
        begin, end = _span(desk, first, last)
        path, rows = desk.edit_logger(name, lambda table: fault(desk, table, begin, end))
        return (name, path, f"days {first}-{last}: {what} ({rows} rows)") if rows else None

    return change


def _of_table(fault):
    return lambda desk, table, begin, end: fault(table, begin, end)


def _rippled(desk, table, begin, end):
    return ripple(desk.invented.stream("ripple"), table, begin, end)


def _set(table, rows, **columns):
    changed = {
        name: np.where(rows & (table[name] != MISSING), value, table[name])
        for name, value in columns.items()
    }
    return table | changed, int(rows.sum())


def _rows(table, begin, end):
    return (table[TIME] >= begin) & (table[TIME] < end)


def _tripped(table, begin, end):
    """The breaker trips: no rows at all."""
    rows = _rows(table, begin, end)
    return {name: values[~rows] for name, values in table.items()}, int(rows.sum())


def _modem_pulse(table, begin, end):
    hour = np.char.endswith(table[TIME].astype(str), "T12:00:00Z")
    return _set(table, _rows(table, begin, end) & hour, battery_V=10.4, load_A=6.2)


def _heater(table, begin, end):
    rows = _rows(table, begin, end)
    return _set(table, rows, load_A=np.round(table["load_A"] + 1.6, 3))


def _never_full(table, begin, end):
    rows = _rows(table, begin, end)
    return _set(table, rows, battery_V=np.minimum(table["battery_V"], 12.9))


def _millivolts(table, begin, end):
    rows = _rows(table, begin, end)
    return _set(table, rows, battery_V=1000.0 * table["battery_V"])


def _wet_box(table, begin, end):
    return _set(table, _rows(table, begin, end), humidity_percent=100.0)


def _clock(desk, table, begin, end):
    return shifted_clock(table, 2 * 3600 + 37, begin, end)


def _stuck(table, begin, end):
    return stuck_sensor(table, "air_degC", begin, end)


def _turbine_stands(desk):
    """Let the rotor of the first of some stations stand that has one."""
    with_one = (n for n in TURBINES if desk.has(n) and desk.invented.supply(n).design.turbine_W)
    name = next(with_one, None)
    if name is None:
        return None
    fault = _of_table(no_turbine_in_wind)
    return _fault(name, 120, 260, "turbine stands in the wind", fault)(desk)


LOGGER_CASES = (
    Case(
        12,
        "intake",
        "the supply ripples",
        _fault("HV05", 88, 121, "ripple on the supply", _rippled),
    ),
    Case(
        13,
        "intake",
        "more than a day",
        _fault("HV08", 110, 140, "breaker tripped, no rows", _of_table(_tripped)),
    ),
    Case(
        14,
        "intake",
        "voltage falls as a load starts",
        _fault("HV03", 60, 150, "voltage falls as the modem dials", _of_table(_modem_pulse)),
    ),
    Case(
        15,
        "intake",
        "load has grown",
        _fault("HV09", 120, 200, "heater on all day", _of_table(_heater)),
    ),
    Case(
        16,
        "intake",
        "panels give nothing",
        _fault("HV01", 20, 60, "no charge in the sun", _of_table(no_charge_in_sun)),
    ),
    Case(
        17,
        "intake",
        "too much voltage",
        _fault("HV10", 150, 300, "too much voltage in storms", _of_table(over_voltage)),
    ),
    Case(
        18,
        "intake",
        "turbine stands in the wind",
        _turbine_stands,
    ),
    Case(
        19,
        "intake",
        "voltage collapses in the cold",
        _fault("HV04", 200, 320, "voltage collapses in the cold", _of_table(cold_collapse)),
    ),
    Case(
        20,
        "intake",
        "never charged full",
        _fault("HV06", 330, 420, "never charged full", _of_table(_never_full)),
    ),
    Case(38, "intake", "time runs backwards", _fault("HV02", 40, 90, "clock ahead by 2 h", _clock)),
    Case(
        39,
        "intake",
        "its unit change",
        _fault("HV11", 30, 60, "battery in millivolts", _of_table(_millivolts)),
    ),
    Case(
        41,
        "intake",
        "water in the box",
        _fault("HV14", 60, 100, "water in the box", _of_table(_wet_box)),
    ),
    Case(
        38, "intake", "stands still", _fault("HV13", 20, 45, "temperature stuck", _of_table(_stuck))
    ),
)
