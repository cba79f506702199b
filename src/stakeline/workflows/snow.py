"""Snow below the antennas of a campaign: one height a day, a table, a figure, and what to do."""

import json
from dataclasses import asdict, dataclass, field

import numpy as np

from .. import __version__
from ..campaign.folders import POSITION, STATIONS
from ..campaign.ledger import fingerprint
from ..campaign.store import json_text, parquet_bytes, sha256_file
from ..constants import NS_PER_DAY
from ..formats.series_netcdf import StationSeriesFile, write_series
from ..report.snow_figure import SnowHeights, draw_snow
from ..report.style import svg_bytes
from ..signals.snow_height import (
    BURIED_M,
    PHASE_CENTRE_M,
    burial,
    contradictions,
    recent_trend,
)
from .snow_words import buried_words, contradiction_words, nothing_words, trend_words

WIDE = 1.96  # sigmas, half of a 95 % interval of a normal distribution
ENDING = "snow"
UNITS = {
    "time_gps": "GPS time",
    "station": "",
    "antenna_above_snow_m": "m",
    "sigma_m": "m",
    "passes": "1",
    "used": "1",
    "arcs": "1",
    "signals": "1",
    "antenna_height_m": "m",
    "snow_above_marker_m": "m",
    "said": "",
}
"""The table's columns in order, and their units."""
WORDS = {
    "antenna_above_snow_m": "height of the antenna above the snow, by reflections",
    "sigma_m": "standard deviation of it by the scatter of passes",
    "passes": "passes of satellites with a height",
    "used": "passes that agree",
    "arcs": "arcs with a height, each signal counted",
    "signals": "signals with a height",
    "antenna_height_m": "height of the antenna reference point above the marker, by the log",
    "snow_above_marker_m": "height of the snow above the marker as it stands",
}


@dataclass
class Snow:
    """What was written for which stations, and what is said about them."""

    done: list = field(default_factory=list)
    current: list = field(default_factory=list)
    notes: list = field(default_factory=list)


def write_snow(campaign, ledger, days, histories):
    """Write table, summary, CF-NetCDF and figure of each station, where out of date.

    Parameters
    ----------
    campaign : Campaign
    ledger : Ledger
    days : dict of str to list of str
        By station, files of :func:`day_bytes` as named in the campaign, in order of time.
    histories : dict of str to StationHistory

    Returns
    -------
    Snow
    """
    snow, wanted = Snow(), set()
    for station, files in sorted(days.items()):
        task = f"{ENDING}/{station}"
        wanted.add(task)
        names = [*files, f"{STATIONS}/{station}.toml"]
        sums = [(name, sha256_file(campaign.root / name)[1]) for name in names]
        key = fingerprint([__version__, sums])
        if ledger.up_to_date(task, key):
            snow.current.append(station)
        else:
            texts = [(campaign.root / name).read_text(encoding="utf-8") for name in files]
            outputs, notes = _station(histories[station], [json.loads(text) for text in texts])
            ledger.finish(task, key, outputs, notes=notes)
            snow.done.append(station)
        snow.notes += (ledger.read(task) or {"notes": []})["notes"]
    for task in ledger.tasks(ENDING):
        if task not in wanted:
            ledger.forget(task)
    return snow


def day_bytes(day):
    """Return a :class:`~.snow_passes.SnowDay` as the bytes of a small JSON file."""
    return json_text(asdict(day)).encode("utf-8")


def standings(history):
    """Return (begin of each standing of the antenna [ns], height above the first marker [m]).

    A visit that moves neither antenna nor marker begins none.
    """
    begins, above, marker = [], [], 0.0
    for visit in history.content.visit:
        moved = visit.marker_moved.up_m if visit.marker_moved is not None else 0.0
        marker += moved
        height = marker + history.height_at(visit.time_ns)[0]
        if not begins or visit.height is not None or moved:
            begins.append(visit.time_ns)
            above.append(height)
    return np.array(begins, np.int64), np.array(above)


def table_of(history, days):
    """Return the table of a station's days as a dict of arrays, in order of time."""
    days = sorted(days, key=lambda day: day["time_ns"])
    time_ns = np.array([day["time_ns"] for day in days], np.int64)
    figures = {
        key: np.array([np.nan if day[key] is None else day[key] for day in days], float)
        for key in ("height_m", "sigma_m")
    }
    logged = np.array([history.height_at(max(t, history.begins_ns))[0] for t in time_ns])
    counts = {key: np.array([day[key] for day in days], np.int16) for key in WORDS if key in days[0]
              and key not in ("sigma_m", "signals")}  # fmt: skip
    values = {
        "time_gps": time_ns.view("datetime64[ns]"),
        "station": np.full(len(days), history.station, object),
        "antenna_above_snow_m": figures["height_m"],
        "sigma_m": figures["sigma_m"],
        **counts,
        "signals": np.array([len(day["signals"]) for day in days], np.int16),
        "antenna_height_m": logged,
        "snow_above_marker_m": logged - figures["height_m"],
        "said": np.array(["; ".join(day["said"]) for day in days], object),
    }
    return {key: values[key] for key in UNITS}


def _station(history, days):
    """Return ({name: bytes}, notes) of all that follows from a station's days."""
    columns, station = table_of(history, days), history.station
    stem = f"{POSITION}/{station}/{station}_{ENDING}"
    time_ns = columns["time_gps"].view(np.int64)
    height = columns["antenna_above_snow_m"]
    begins, above = standings(history)
    trend = recent_trend(time_ns, height, begins[-1])
    notes = [f"{station}: {text}" for text in _said(columns, history, begins, above, trend)]
    about = {"point": "antenna phase centre", "time_scale": "GPS", "version": __version__}
    summary = {
        **about,
        "station": station,
        "days": len(time_ns),
        "days_with_a_height": int(np.isfinite(height).sum()),
        "signals": sorted({name for day in days for name in day["signals"]}),
        "warnings": notes,
        "trend": None if trend is None else asdict(trend),
        "without_a_height": _reasons(columns["said"][np.isnan(height)]),
        "not_in_sigma": f"a slope of the snow, waves that reach below its surface, and the phase "
        f"centre, which lies up to {PHASE_CENTRE_M} m above the reference point",
    }
    outputs = {
        f"{stem}.parquet": parquet_bytes(columns, UNITS, about),
        f"{stem}.json": json_text(summary).encode("utf-8"),
    }
    if np.isfinite(height).any():
        outputs[f"{stem}.nc"] = _netcdf(columns, history)
        outputs[f"{stem}.svg"] = _figure(columns, history, trend)
    return outputs, notes


def _reasons(said):
    """Return {reason: days} of days without a height."""
    reasons, counts = np.unique(said.astype(str), return_counts=True)
    return {str(reason): int(count) for reason, count in zip(reasons, counts, strict=True)}


def _said(columns, history, begins, above, trend):
    """Return the sentences that a person should read."""
    time_ns, height = columns["time_gps"].view(np.int64), columns["antenna_above_snow_m"]
    good = np.flatnonzero(np.isfinite(height))
    if not good.size:
        return [nothing_words(_reasons(columns["said"]))]
    found = contradictions(time_ns, height, columns["sigma_m"], begins, above)
    said = [contradiction_words(one, history.station) for one in found]
    last = good[-1]
    if height[last] < BURIED_M:
        half = WIDE * columns["sigma_m"][last]
        said.append(buried_words(time_ns[last], height[last], half))
    elif trend is not None and (when := burial(trend)) is not None:
        said.append(trend_words(trend, when))
    return said


def _netcdf(columns, history):
    """Return the table as a CF time series of one station."""
    place = history.content
    names = [name for name in WORDS if name in columns]
    fields = {name: np.asarray(columns[name], float)[None] for name in names}
    nowhere = np.nan
    return write_series(
        StationSeriesFile(
            columns["time_gps"].view(np.int64),
            (history.station,),
            np.array([nowhere if place.latitude_deg is None else place.latitude_deg]),
            np.array([nowhere if place.longitude_deg is None else place.longitude_deg]),
            np.array([nowhere if place.height_m is None else place.height_m]),
            fields,
            {name: UNITS[name] for name in names},
            WORDS,
            {"title": f"{history.station}: snow below the antenna", "version": __version__},
        )
    )


def _figure(columns, history, trend):
    """Return the figure as SVG; the line is carried on until it is warned, 60 days at most."""
    time_ns = columns["time_gps"].view(np.int64)
    line_ns, line_m = np.array([], np.int64), np.array([])
    if trend is not None:
        days = np.array([-trend.span_d, 0.0])
        when = burial(trend)
        if when is not None:
            days = np.append(days, min((when.time_ns - trend.last_ns) / NS_PER_DAY, 60.0))
        line_ns = trend.last_ns + np.round(days * NS_PER_DAY).astype(np.int64)
        line_m = trend.at(days)[0]
    visits = np.array([visit.time_ns for visit in history.content.visit], np.int64)
    inside = (visits >= time_ns[0] - NS_PER_DAY) & (visits <= time_ns[-1] + NS_PER_DAY)
    record = SnowHeights(
        f"{history.station}: height of the antenna above the snow", time_ns,
        columns["antenna_above_snow_m"], WIDE * columns["sigma_m"], columns["antenna_height_m"],
        visits[inside], BURIED_M, line_ns, line_m,
        "Slope and roughness of the snow are not in the intervals.",
    )  # fmt: skip
    return svg_bytes(draw_snow(record))
