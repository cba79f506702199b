"""Tables of station health: each day's figures, the list of findings, visits by risk."""

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
VISIT_COLUMNS = ("rank", "station", "risk", "lost_days", "reason", "before")
SEVERITY = {
    "panels give nothing": 0.6,
    "one group of panels gives nothing": 0.3,
    "turbine stands in the wind": 0.3,
    "load has grown": 0.5,
    "bank holds less than it did": 0.6,
    "too much voltage": 0.5,
    "fake low battery: the supply ripples": 0.3,
    "voltage falls as a load starts": 0.2,
    "went dark with a bank that was not empty": 0.8,
    "never charged full": 0.2,
    "water in the box": 0.4,
    "voltage collapses in the cold": 0.7,
    "mast leans": 0.4,
    "awake but recording nothing": 0.9,
}
"""Chance by which each finding that holds is taken to cost the next half-year; own choice."""


def visit_rows(stations):
    """Return the next visits, the most urgent first.

    Risk: one less the product of the chances that each thing that holds costs nothing, with the
    forecast's chance of going dark among them. ``lost_days``: what would be lost of the year ahead.
    """
    rows = []
    for one in stations:
        chances = {f.kind: SEVERITY.get(f.kind, 0.2) for f in one.holding}
        reasons = [f"{f.kind} since {one.date(f.begins)}" for f in one.holding]
        before, lost = "", 0.0
        if one.forecasts:
            told = one.forecasts[-1]
            chances["dark"] = told["chance"]
            if told["chance"] >= 0.05:
                reasons.append(f"{100 * told['chance']:.0f} % chance of going dark")
            if told["early"] is not None:
                before = one.date(told["early"] - one.first_day)
                gone = told["median"] if told["median"] is not None else told["early"]
                lost = max(one.first_day + one.days + 365.0 - gone, 0.0) * told["chance"]
        buried = [d[0] for d in (one.snow or {}).get("buried", {}).values() if d[0] is not None]
        if buried and min(buried) < one.first_day + one.days + 365:
            reasons.append(f"snow may bury a part from {one.date(min(buried) - one.first_day)}")
            chances["snow"] = 0.3
            before = min(filter(None, (before, one.date(min(buried) - one.first_day))))
        risk = 1.0 - float(np.prod([1.0 - c for c in chances.values()])) if chances else 0.0
        words = "; ".join(reasons) or one.problem
        rows.append((risk, max(lost, 183.0 * risk), one.station, words, before))
    rows.sort(key=lambda row: (-row[1], -row[0], row[2]))
    return [
        {
            "rank": place,
            "station": name,
            "risk": f"{risk:.2f}",
            "lost_days": f"{lost:.0f}",
            "reason": reason or "nothing found",
            "before": before,
        }
        for place, (risk, lost, name, reason, before) in enumerate(rows, 1)
    ]
