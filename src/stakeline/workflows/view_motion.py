"""The first page of motion: every station's mean, and all speeds beside the drainages."""

import numpy as np

from ..campaign.folders import LAKES, MOTION, open_campaign
from ..campaign.store import read_table
from .view_kept import once
from .view_series import stations_with_results
from .view_tables import json_of, plain, rows_of

COLUMNS = ("station", "from", "to", "speed, m/d", "m/a", "toward, deg", "nine tenths, m/d",
           "in gaps", "steps", "remarks")  # fmt: skip
DAY_D = 1.0  # of the windows that are drawn


def motion_stations(root):
    """Return [texts by :data:`COLUMNS`] of all stations; empty after the name: no motion yet."""
    return [_row(station, json_of(_path(root, station, "summary.json")))
            for station in stations_with_results(root)]  # fmt: skip


def speeds_chart(root):
    """Return the daily speeds of all stations less their medians, drainages shaded, as a dict."""
    traces = []
    for station in stations_with_results(root):
        path = _path(root, station, "windows.parquet")
        if path.is_file():
            days, percent = _daily(str(path), path.stat().st_mtime_ns)
            if days:
                traces.append({"name": station, "ink": len(traces), "x": days, "y": percent})
    return {"x_kind": "time", "y_title": "speed, from its median [%]", "traces": traces,
            "spans": _drainages(root), "height": 420}  # fmt: skip


def _path(root, station, end):
    return open_campaign(root).folder(MOTION) / station / f"{station}_{end}"


def _row(station, told):
    if not told:
        return (station, *[""] * (len(COLUMNS) - 2), "no motion yet")
    speed, sigma = told["mean_speed_m_d"], told["mean_speed_sigma_m_d"]
    remarks = len(told.get("warnings", ())) + len(told.get("notes", ()))
    return (
        station,
        told["first_gps"][:10],
        told["last_gps"][:10],
        f"{speed:.4f} ±{max(sigma, 1e-4):.4f}",
        f"{told['mean_speed_m_a']:.1f}",
        f"{told['azimuth_deg']:.1f}",
        f"{told['slowest_m_d']:z.3f} to {told['fastest_m_d']:z.3f}",
        f"{told['share_in_gaps']:.0%}",
        str(len(told.get("steps", ()))),
        str(remarks),
    )


@once(256)
def _daily(path, _changed_ns):
    """Return (days, speeds in % from their median) of a station's daily windows along the flow."""
    columns = read_table(path)[0]
    mine = (columns["window_d"] == DAY_D) & (columns["axis"] == "along")
    speed = np.asarray(columns["velocity_m_d"][mine], float)
    usual = np.nanmedian(speed) if np.isfinite(speed).any() else np.nan
    if not usual > 0.0:
        return [], []
    return plain(columns["mean_gps"][mine]), plain(np.round(100.0 * (speed / usual - 1.0), 3))


def _drainages(root):
    """Return the spans of all drainings that nobody rejected."""
    rows = rows_of(open_campaign(root).folder(LAKES) / "events.csv")
    return [{"from": row["onset_median_gps"], "to": row["end_median_gps"]} for row in rows
            if row["kind"] == "drain" and row["status"] != "rejected"]  # fmt: skip
