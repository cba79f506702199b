"""Tables of station health: each day's figures, the list of findings, forecasts."""

import numpy as np

from ..constants import NS_PER_DAY
from ..station.telemetry import DAY_H

_MEANS = (
    *("battery_V", "box_degC", "air_degC", "wind_m_s", "humidity_percent", "snow_distance_m"),
    "tilt_deg",
)
_SUMS = {"panel_Ah": "panel_A", "turbine_Ah": "turbine_A", "load_Ah": "load_A"}


def daily_table(hours, health=None):
    """Return each day's figures as columns (d,): means, sums, and the bank's where fitted."""
    days = (hours.first_day + np.arange(hours.days, dtype=np.int64)) * NS_PER_DAY
    columns = {"day_gps": days.view("datetime64[ns]")}
    columns["hours"] = (hours.rows > 0).reshape(-1, DAY_H).sum(axis=1)
    for name in _MEANS:
        columns[name] = _by_day(hours.by_day(name), np.nanmean)
    columns["lowest_V"] = _by_day(hours.low_V.reshape(-1, DAY_H), np.nanmin)
    for name, source in _SUMS.items():
        columns[name] = _by_day(hours.by_day(source), np.nansum)
    if health is not None:
        course = health.bank
        columns |= {
            "charge": course.charge,
            "charge_sigma": course.charge_sigma,
            "capacity_Ah": course.capacity_Ah,
            "capacity_sigma_Ah": course.capacity_sigma_Ah,
            "misfit_V": course.misfit_V,
        }
        if health.cover is not None:
            names = {"panel_share": "share", "panel_share_low": "low", "panel_share_high": "high"}
            columns |= {name: getattr(health.cover, part) for name, part in names.items()}
        columns |= health.energy
    return columns


def _by_day(rows, function):
    out = np.full(len(rows), np.nan)
    for day in np.flatnonzero(np.isfinite(rows).any(axis=1)):
        out[day] = function(rows[day])
    return out


_UNITS = {"Ah": "Ah", "Wh": "W h", "V": "V", "W": "W", "degC": "degC", "deg": "deg", "percent": "%"}
_ENDS = {"_Wh_d": "W h/d", "_W_K": "W/K", "_m_s": "m/s", "_days": "d", "snow_distance_m": "m"}


def daily_units(columns):
    """Return {column: unit} of :func:`daily_table`."""
    return {"day_gps": "GPS time", "hours": "h"} | {
        name: next((unit for end, unit in _ENDS.items() if name.endswith(end)),
                   _UNITS.get(name.rsplit("_", 1)[-1], "1"))
        for name in columns
        if name not in ("day_gps", "hours")
    }  # fmt: skip


def finding_rows(stations):
    """Return rows of all findings, newest first by station."""
    return [
        {
            "station": one.station,
            "finding": f.kind,
            "since": one.date(f.begins),
            "told": one.date(f.told),
            "last": one.date(f.last),
            "holds": "yes" if f in one.holding else "no",
            "why": f.why,
        }
        for one in stations
        for f in one.findings
    ]


def forecast_rows(stations):
    """Return a row for each day on which a forecast was told, by station and day."""
    return [
        {
            "station": one.station,
            "told": one.date(told["day"] - 1),
            "chance": f"{told['chance']:.3f}",
            **{
                name: "" if told[name] is None else one.date(told[name] - one.first_day)
                for name in ("early", "median", "late")
            },
        }
        for one in stations
        for told in one.forecasts
    ]


FORECAST_COLUMNS = ("station", "told", "chance", "early", "median", "late")
FINDING_COLUMNS = ("station", "finding", "since", "told", "last", "holds", "why")
