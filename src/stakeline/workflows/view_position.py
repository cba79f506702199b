"""The pages of position: how sure, from what, what was rejected, what became of ambiguities."""

import json
from collections import Counter
from pathlib import Path

import numpy as np

from ..campaign.folders import INTAKE, POSITION, open_campaign
from ..errors import SettingsError
from .position_tables import day_files, station_positions
from .report_chapters import warned
from .run import SUMMARY_FILE
from .view_kept import once
from .view_series import need_station, stations_with_results
from .view_tables import plain, rows_of, text_of

MOST_LISTED = 60  # sentences or days of one kind; choice
OF_TABLES = "tables"
CHARTS = {
    "level": ("How surely: level", "Median of each day's standard deviations, east and north."),
    "up": ("How surely: up", "Median of each day's standard deviations."),
    "phase": ("Misfit of phases", "Root mean square of the residuals of each day's solution."),
    "code": ("Misfit of codes", "Root mean square of the residuals of each day's solution."),
}
REJECTED = {
    "slips found": "slips",
    "in arcs too short": "measurements in arcs too short",
    "phase outlier": "phases out of line",
    "code outlier": "codes out of line",
}
_RESIDUALS = {"phase": "phase residual rms m", "code": "code residual rms m"}


def positions(root):
    """Return what the page of all stations shows, as a dict; ``there`` is False before any."""
    campaign = open_campaign(root)
    rows, said, integers = [], [], []
    for station in stations_with_results(root):
        arcs = station_arcs(campaign, station)
        imported = (campaign.folder(POSITION) / station / f"{station}_imported.parquet").is_file()
        if not arcs and not imported:
            continue
        rows.append(_station_row(station, arcs, imported))
        said += [(station, one) for _, arc in arcs for one in arc.get("warnings", ())
                 if not one.startswith("integers: ")]  # fmt: skip
        integers.append((station, ambiguities(arcs)))
    return {
        "there": bool(rows),
        "stations": rows,
        "missing": _missing(campaign),
        "failed": _failed(text_of(campaign.root / SUMMARY_FILE))[:MOST_LISTED],
        "integers": integers,
        "warnings": warned(said)[:MOST_LISTED],
        "charts": CHARTS,
    }


def station_days(root, station):
    """Return the days of a station that were solved, for its page; newest last.

    Raises
    ------
    SettingsError
        Where there is no such station.
    """
    need_station(root, station)
    campaign = open_campaign(root)
    arcs = station_arcs(campaign, station)
    days = [(day, arc["first_epoch_gps"][11:16], arc["last_epoch_gps"][11:16], arc["rows"],
             _states(arc), arc["orbits"], _metres(arc, "phase"), _metres(arc, "code"),
             *(arc.get("rejected", {}).get(kind, 0) for kind in REJECTED))
            for day, arc in arcs]  # fmt: skip
    return {
        "days": days[-MOST_LISTED * 6 :],
        "integers": ambiguities(arcs),
        "choices": [(day, *_choice(arc["absolute or relative"])) for day, arc in arcs
                    if arc.get("absolute or relative")][-MOST_LISTED:],
        "warnings": warned([(day, one) for day, arc in arcs for one in arc.get("warnings", ())]),
    }  # fmt: skip


def position_chart(root, name):
    """Return a chart by day of all stations; SettingsError for one that is not there."""
    if name not in CHARTS:
        raise SettingsError(f"there is no chart '{name}' of positions")
    campaign, traces = open_campaign(root), []
    for station in stations_with_results(root):
        if name in _RESIDUALS:
            arcs = station_arcs(campaign, station)
            days = [day for day, _ in arcs]
            values = [arc.get(_RESIDUALS[name]) for _, arc in arcs]
        else:
            days, level, up = _sigmas(campaign, station)
            values = level if name == "level" else up
        if any(value is not None for value in values):
            traces.append({"name": station, "kind": "points", "size": 5, "ink": len(traces),
                           "x": days, "y": values})  # fmt: skip
    return {"x_kind": "time", "y_title": "m", "traces": traces}


def station_arcs(campaign, station):
    """Return [(day, summary)] of the arcs that a station's days were solved in, in order."""
    found = []
    for path in day_files(campaign, station):
        path = path.with_suffix(".json")
        if path.is_file():
            arcs = _arcs_in(str(path), path.stat().st_mtime_ns)
            found += [(path.stem.rpartition("_")[2], arc) for arc in arcs]
    return found


@once(8192)
def _arcs_in(path, _changed_ns):
    """Return the summaries in a day's file, without what is by satellite."""
    told = json.loads(Path(path).read_text("utf-8"))
    return [{key: value for key, value in arc.items() if "by satellite" not in key}
            for arc in told.get("arcs", ())]  # fmt: skip


def ambiguities(arcs):
    """Return what became of a station's ambiguities, in words."""
    rows = Counter()
    for _, arc in arcs:
        rows.update(arc.get("rows_by_state", {}))
    total = sum(rows.values())
    if not total:
        return ["Positions came as a table; how they were made is not known here."]
    shares = [f"{100.0 * count / total:.1f} % {state}" for state, count in rows.most_common()]
    lines = [f"{total} positions: {', '.join(shares)}."]
    if set(rows) == {"float"}:
        lines.append("Ambiguities were left as real numbers: whole cycles were not asked for.")
    said = Counter(one.removeprefix("integers: ") for _, arc in arcs
                   for one in arc.get("warnings", ()) if one.startswith("integers: "))  # fmt: skip
    return lines + [f"{words} ({count} arcs)" for words, count in said.most_common(5)]


def _station_row(station, arcs, imported):
    days = [day for day, _ in arcs]
    frames = sorted({str(arc.get("frame")) for _, arc in arcs})
    orbits = Counter(arc.get("orbits") for _, arc in arcs)
    rejected = Counter()
    for _, arc in arcs:
        rejected.update(arc.get("rejected", {}))
    middle = [_middle([arc.get(key) for _, arc in arcs]) for key in _RESIDUALS.values()]
    return {
        "name": station,
        "days": f"{len(set(days))}, {days[0]} to {days[-1]}" if days else "none",
        "imported": "yes" if imported else "no",
        "frame": ", ".join(frames),
        "orbits": ", ".join(f"{kind} {count}" for kind, count in orbits.most_common()),
        "phase": middle[0], "code": middle[1],
        "rejected": ", ".join(f"{rejected[kind]} {words}" for kind, words in REJECTED.items()
                              if rejected[kind]),
    }  # fmt: skip


def _middle(values):
    values = [value for value in values if value is not None]
    return f"{np.median(values):.3g}" if values else ""


def _metres(arc, kind):
    value = arc.get(_RESIDUALS[kind])
    return "" if value is None else f"{value:.3g}"


def _states(arc):
    return ", ".join(f"{count} {state}" for state, count in arc.get("rows_by_state", {}).items())


def _choice(told):
    return told.get("solution", ""), told.get("reason", ""), "yes" if told.get("alarm") else "no"


def _missing(campaign):
    """Return [(station, days)] with files of observations and without a solved day."""
    days = {}
    for row in rows_of(campaign.folder(INTAKE) / "days.csv"):
        path = (
            campaign.folder(POSITION) / row["station"] / f"{row['station']}_{row['day_gps'][:10]}"
        )
        if not path.with_suffix(".parquet").is_file():
            days.setdefault(row["station"], []).append(row["day_gps"][:10])
    return [
        (name, ", ".join(own[:6]) + (f" and {len(own) - 6} more" if len(own) > 6 else ""))
        for name, own in sorted(days.items())
    ]


def _failed(text):
    """Return the sentences on what the last run of all verbs could not position."""
    inside, found = "", []
    for line in text.splitlines():
        if not line.startswith(" "):
            inside = line
        elif inside == "position" and line.startswith("    "):
            found.append(line.strip())
    return found


def _sigmas(campaign, station):
    """Return (days, median level sigma, median sigma up) by day; lists for a chart. [m]"""
    names = [campaign.folder(POSITION) / station / f"{station}_imported.parquet"]
    names += day_files(campaign, station)
    stamp = tuple((p.name, p.stat().st_mtime_ns) for p in names if p.is_file())
    return _sigmas_of(str(campaign.root), station, stamp) if stamp else ([], [], [])


@once(256)
def _sigmas_of(root, station, _stamp):
    names = ("time_gps", "sigma_east_m", "sigma_north_m", "sigma_up_m")
    columns = station_positions(open_campaign(root), station, names)
    day = np.asarray(columns["time_gps"]).astype("datetime64[D]")
    level = np.hypot(columns["sigma_east_m"], columns["sigma_north_m"])
    each, begins = np.unique(day, return_index=True)
    ends = [*begins[1:], len(day)]
    medians = [
        [np.nanmedian(values[a:b]) if np.isfinite(values[a:b]).any() else np.nan
         for a, b in zip(begins, ends, strict=True)]
        for values in (level, np.asarray(columns["sigma_up_m"], float))
    ]  # fmt: skip
    return (np.datetime_as_string(each, unit="D").tolist(), *map(plain, medians))
