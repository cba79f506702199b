"""The page of a lake: level, events, volume, altimetry, stations downstream."""

import numpy as np

from ..campaign.folders import LAKES, open_campaign
from ..campaign.store import read_table
from ..errors import SettingsError
from .lakes_parts import file_name
from .view_tables import json_of, number, numbers, plain, rows_of, text_of

BINS = 24  # of a distribution of some 400 samples; choice
MOST_POINTS = 3000  # of a curve; an hour is no shorter than what the level resolves
ENDS = ("low", "median", "high")
CHARTS = ("level", "volume", "outflow", "events", "altimetry")


def lake_names(root):
    """Return [(lake, number of its events)] of the lakes that were worked out, in order."""
    told = json_of(open_campaign(root).folder(LAKES) / "summary.json").get("lakes", {})
    return [(name, len(one.get("events", ()))) for name, one in told.items()]


def all_events(root):
    """Return [(lake, texts of an event)] of all lakes, in the order of their onsets."""
    rows = rows_of(open_campaign(root).folder(LAKES) / "events.csv")
    rows.sort(key=lambda row: row["onset_median_gps"])
    return [(row["lake"], _event(row)) for row in rows]


def levels_chart(root):
    """Return the levels of all lakes, drainings shaded, as a dict for a chart."""
    traces, spans = [], []
    for name, _ in lake_names(root):
        folder, own = _folder(root, name)
        columns, _ = read_table(own / f"{own.name}_levels.parquet")
        every = _thinned(columns)
        ink, time = len(traces), plain(columns["time_gps"][every])
        middle = plain(columns["level_m_median"][every])
        traces.append({"name": name, "ink": ink, "x": time, "y": middle})
        spans += [{"from": row["onset_median_gps"], "to": row["end_median_gps"]}
                  for row in rows_of(folder / "events.csv")
                  if (row["lake"], row["kind"]) == (name, "drain")]  # fmt: skip
    return {"x_kind": "time", "y_title": "level [m]", "traces": traces, "spans": spans}


def _thinned(columns):
    return slice(None, None, max(-(-len(columns["time_gps"]) // MOST_POINTS), 1))


def lake(root, name):
    """Return what the page of a lake shows, as a dict; SettingsError where there is none."""
    folder, own = _folder(root, name)
    told = json_of(folder / "summary.json")["lakes"][name]
    events = [row for row in rows_of(folder / "events.csv") if row["lake"] == name]
    downstream = [
        row
        for row in rows_of(folder / "routes.csv")
        if row["lake"] == name and (number(row["probability"]) or 0.0) > 0.0
    ]
    return {
        "area_km2": told["area_m2"] / 1e6,
        "stations": [(one["station"], one["role"], one["words"]) for one in told["roles"]],
        "notes": told.get("notes", []),
        "events": [_event(row) for row in events],
        "altimetry": text_of(own / "altimetry.txt"),
        "passes": (own / "altimetry_levels.csv").is_file(),
        "downstream": [
            (row["target"], row["kind"], row["probability"], row["along_m"], row["fastest_h"],
             row["slowest_h"])
            for row in sorted(downstream, key=lambda row: -float(row["probability"] or 0.0))
        ],
    }  # fmt: skip


def _event(row):
    def between(name):
        low, middle, high = (f"{float(row[f'{name}_{end}']):.2f}" for end in ENDS)
        return f"{middle} ({low} to {high})"

    def day(name):
        times = [
            row[f"{name}_{end}_gps"][:16].replace("T", " ") for end in ("median", "low", "high")
        ]
        return f"{times[0]} ({times[1]} to {times[2]})"

    million = [f"{float(row[f'volume_m3_{end}']) / 1e6:.1f}" if row[f"volume_m3_{end}"] else "?"
               for end in ("median", "low", "high")]  # fmt: skip
    return (row["kind"], row["status"], day("onset"), day("end"), between("change_m"),
            f"{million[0]} ({million[1]} to {million[2]})", row["probability_real"])  # fmt: skip


def lake_chart(root, name, chart):
    """Return a chart of a lake, as a dict for a chart; SettingsError where it is not there."""
    _, own = _folder(root, name)
    if chart not in CHARTS:
        raise SettingsError(f"there is no chart '{chart}' of a lake")
    if chart == "events":
        return _onsets(own)
    if chart == "altimetry":
        return _altimetry(own)
    columns, _ = read_table(own / f"{own.name}_levels.parquet")
    stem, title = {
        "level": ("level_m", "level [m]"),
        "volume": ("stored_m3", "water stored [m³]"),
        "outflow": ("outflow_m3_s", "net outflow [m³/s]"),
    }[chart]
    every = _thinned(columns)
    time = plain(columns["time_gps"][every])
    low, middle, high = (plain(columns[f"{stem}_{end}"][every]) for end in ENDS)
    traces = [{"kind": "band", "x": time, "low": low, "high": high},
              {"name": "fitted", "ink": 0, "x": time, "y": middle}]  # fmt: skip
    if chart == "level":
        measured = plain(columns["measured_m"][every])
        traces.append({"name": "measured", "ink": 1, "x": time, "y": measured, "wide": 1})
    return {"x_kind": "time", "y_title": title, "traces": traces}


def _onsets(own):
    """Return how the onset of each event is distributed around its median."""
    columns, _ = read_table(own / f"{own.name}_samples.parquet")
    traces = []
    for event in dict.fromkeys(columns["event"].tolist()):
        onset = columns["onset_gps"][columns["event"] == event].astype("datetime64[s]")
        hours = onset.astype(np.int64) / 3600.0
        count, edges = np.histogram(hours - np.median(hours), BINS, density=True)
        middle = 0.5 * (edges[1:] + edges[:-1])
        traces.append({"name": event, "x": plain(middle), "y": plain(count)})
    return {"x_title": "hours from the median onset", "y_title": "density [1/h]", "traces": traces}


def _altimetry(own):
    rows = rows_of(own / "altimetry_levels.csv")
    level, sigma = numbers(rows, "level_m"), numbers(rows, "sigma_m")
    ends = [[v + k * 1.96 * s if None not in (v, s) else None
             for v, s in zip(level, sigma, strict=True)] for k in (-1, 1)]  # fmt: skip
    return {"x_kind": "time", "y_title": "level from passes [m]", "traces": [
        {"kind": "points", "x": [row["time_gps"] for row in rows], "y": level,
         "low": ends[0], "high": ends[1]}]}  # fmt: skip


def _folder(root, name):
    folder = open_campaign(root).folder(LAKES)
    known = [lake for lake, _ in lake_names(root)]
    if name not in known:
        raise SettingsError(f"there is no lake '{name}' among {', '.join(known) or 'none'}")
    return folder, folder / file_name(name)
