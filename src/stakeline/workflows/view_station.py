"""What else the page of a station shows beside its motion: power, health, forecast, visits."""

import numpy as np

from ..campaign.folders import INTAKE, open_campaign
from ..campaign.store import read_table
from ..errors import SettingsError
from ..time import iso
from .health import FOLDER
from .view_tables import number, plain, rows_of

NORMAL_95 = 1.96  # -, of a normal distribution, two-sided 95 %
CHARTS = {
    "charge": ("Charge of the bank, by what the logger says", "of full",
               "Found from voltage and currents; band: 95 %."),
    "capacity": ("What the bank still holds", "Ah", "When full; band: 95 %."),
    "load": ("Load", "W", "Mean of the ten days before, without the heater."),
    "share": ("Panels by clean ones", "%",
              "Rime, snow, dirt and shade make it less; band: 90 %. Gaps: it cannot be told."),
    "unexplained": ("Energy that is not explained", "W h/d",
                    "Bank by its voltage, less what the meters leave for it; band: 95 %."),
    "chance": ("Chance of going dark, as told day by day", "%",
               "Within the year ahead, from years of weather like those here."),
}  # fmt: skip
NEXT = ("rank", "lost_days", "until", "risk", "reason", "before")
DAILY = {"charge": "charge", "capacity": "capacity_Ah", "load": "load_W", "share": "panel_share",
         "unexplained": "balance_unexplained_Wh_d"}  # fmt: skip
SIGMAS = {"charge": "charge_sigma", "capacity": "capacity_sigma_Ah", "load": "load_sigma_W",
          "unexplained": "balance_sigma_Wh_d"}  # fmt: skip


def station_health(root, station):
    """Return what intake and the station's history say of its health, as a dict."""
    campaign = open_campaign(root)
    folder = campaign.folder(INTAKE)
    return {
        "charts": _drawable(campaign, station),
        "findings": [(row["finding"], row["since"], row["last"], row["holds"], row["why"])
                     for row in _own(folder / "health.csv", station)],
        "energy": [tuple(row[name] for name in ("what", "is", "from", "to", "unit", "days", "said"))
                   for row in _own(folder / "energy.csv", station)],
        "forecast": _forecast(_own(folder / "forecasts.csv", station)),
        "next_visit": [tuple(row.get(name, "") for name in NEXT)
                       for row in _own(folder / "visits.csv", station)],
        "visits": _visits(campaign.histories().get(station)),
    }  # fmt: skip


def health_chart(root, station, name):
    """Return a chart of a station's health by day; SettingsError for one that is not there."""
    campaign = open_campaign(root)
    if name not in _drawable(campaign, station):
        raise SettingsError(f"there is no chart '{name}' of the health of '{station}'")
    unit = CHARTS[name][1]
    if name == "chance":
        rows = _own(campaign.folder(INTAKE) / "forecasts.csv", station)
        told = [100.0 * (number(row["chance"]) or 0.0) for row in rows]
        traces = [{"kind": "points", "size": 6, "x": [row["told"] for row in rows], "y": told}]
    else:
        columns, _ = read_table(_daily(campaign, station))
        time = plain(columns["day_gps"])
        low, value, high = _course(columns, name)
        traces = [{"kind": "band", "ink": 0, "x": time, "low": plain(low), "high": plain(high)},
                  {"ink": 0, "x": time, "y": plain(value)}]  # fmt: skip
    return {"x_kind": "time", "y_title": unit, "traces": traces}


def _course(columns, name):
    """Return (lower end, value, upper end) of a daily figure."""
    value = columns[DAILY[name]]
    if name == "share":
        return tuple(100.0 * columns[f"panel_share{end}"] for end in ("_low", "", "_high"))
    off = NORMAL_95 * columns[SIGMAS[name]]
    return value - off, value, value + off


def _daily(campaign, station):
    return campaign.root / FOLDER / f"{station}.parquet"


def _drawable(campaign, station):
    """Return the part of CHARTS for which a station has figures."""
    path, there = _daily(campaign, station), set()
    if path.is_file():
        columns = read_table(path)[0]
        there |= {name for name, column in DAILY.items()
                  if column in columns and np.isfinite(columns[column]).any()}  # fmt: skip
    if _own(campaign.folder(INTAKE) / "forecasts.csv", station):
        there.add("chance")
    return {name: said for name, said in CHARTS.items() if name in there}


def _own(path, station):
    """Return the rows of a table that are of a station."""
    return [row for row in rows_of(path) if row.get("station") == station]


def _forecast(rows):
    """Return the last forecast in words; '' without one."""
    if not rows:
        return ""
    last = rows[-1]
    chance = 100.0 * (number(last["chance"]) or 0.0)
    said = f"Told on {last['told']}: {chance:.0f} % chance of going dark in the year ahead"
    ends = {"1 year in 20": "early", "half of them": "median", "19 in 20": "late"}
    dates = [f"{share} by {last[name]}" for share, name in ends.items() if last[name]]
    return f"{said}{': ' if dates else ''}{', '.join(dates)}."


def _visits(history):
    """Return [(time, kind, who, note)] of a station's visits, newest first."""
    visits = history.content.visit if history else ()
    return [(iso(one.time_ns)[:16].replace("T", " "), one.kind, one.by, one.note)
            for one in reversed(visits)]  # fmt: skip
