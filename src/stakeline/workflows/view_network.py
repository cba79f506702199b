"""The network page: a map, the days on record, what is out of date, what health has found."""

from collections import Counter

import numpy as np

from ..campaign.folders import INTAKE, MOTION, open_campaign
from ..campaign.store import read_table
from .intake_results import csv_text
from .view_freshness import MOST_SAID, out_of_date
from .view_map import drawn_map
from .view_tables import number, rows_of, sheet_text

FULL_PERCENT = 95.0  # %; of the epochs expected, from which a day counts as whole; choice


def network(root):
    """Return all that the network page shows, as a dict."""
    campaign = open_campaign(root)
    drawing, trouble = drawn_map(campaign)
    return {
        "map": drawing,
        "trouble": trouble,
        "calendar": calendar(campaign),
        "stale": out_of_date(campaign),
        "alarms": [row for row in rows_of(campaign.folder(INTAKE) / "health.csv")
                   if row.get("holds") != "no"][:MOST_SAID],
    }  # fmt: skip


def calendar_table(root, positions):
    """Return the days on record as a CSV table: a row for each run of days of one kind."""
    found = calendar(open_campaign(root), positions)
    rows = [
        {"station": sheet_text(name), "kind": kind, "days": long,
         "first_day_gps": str(np.datetime64(found["first"]) + at)}
        for name, runs, _ in (found["rows"] if found else ()) for at, long, kind in runs
    ]  # fmt: skip
    return csv_text(rows, ("station", "first_day_gps", "days", "kind"))


def calendar(campaign, positions=True):
    """Return the days on record: first and last day, marks of months, runs of days by station.

    A day is ``whole`` or ``part`` by the epochs of its receiver files, ``positions`` where there
    are positions of it and no receiver file here, and ``positions`` asks for them.
    """
    days = {}
    path = campaign.folder(MOTION) / "network.parquet"
    if positions and path.is_file():
        columns, _ = read_table(path)
        there = np.isfinite(np.asarray(columns["speed_m_d"], float))
        for station, day in zip(
            columns["station"][there],
            columns["time_gps"][there].astype("datetime64[D]"),
            strict=True,
        ):
            days.setdefault(str(station), {})[day] = "positions"
    for row in rows_of(campaign.folder(INTAKE) / "days.csv"):
        day = np.datetime64(row["day_gps"][:10], "D")
        share = number(row.get("percent")) or 0.0
        days.setdefault(row["station"], {})[day] = "whole" if share >= FULL_PERCENT else "part"
    if not days:
        return None
    every = [day for one in days.values() for day in one]
    first, last = min(every), max(every)
    count = int((last - first).astype(int)) + 1
    months = np.arange(first.astype("datetime64[M]"), last.astype("datetime64[M]") + 1)
    return {
        "first": str(first), "last": str(last), "count": count,
        "months": [(int((m.astype("datetime64[D]") - first).astype(int)), str(m))
                   for m in months[:: max(len(months) // 12, 1)]],
        "rows": [(name, _runs(days[name], first), dict(Counter(days[name].values())))
                 for name in sorted(days)],
    }  # fmt: skip


def _runs(days, first):
    """Return [(first day, days, kind)] of days in a row of one kind."""
    runs = []
    for day in sorted(days):
        at = int((day - first).astype(int))
        if runs and runs[-1][2] == days[day] and runs[-1][0] + runs[-1][1] == at:
            runs[-1][1] += 1
        else:
            runs.append([at, 1, days[day]])
    return [tuple(run) for run in runs]
