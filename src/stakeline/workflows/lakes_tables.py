"""What was found for one lake as tables that people and programs read."""

import numpy as np

from .. import __version__
from ..campaign.store import json_text, parquet_bytes
from ..constants import NS_PER_S
from ..lakes.event_record import LEVEL, interval
from ..time import iso
from .motion_tables import times

QUANTITIES = {
    "change_m": "change of the surface, mean of the stations over the lake",
    "peak_rate_m_d": "greatest rate of the surface",
    "mean_rate_m_d": "change over length",
    "length_d": "from onset to end",
    "volume_m3": "water that left or came",
    "roof_m": "mean change of the lake's roof",
    "mean_m3_s": "volume over length",
    "peak_m3_s": "greatest discharge",
}
"""Quantities of an event, each with low, median and high in a catalogue."""

FALSE = (
    "false_per_year",
    "false_limit_per_year",
    "false_per_station_year",
    "false_limit_per_station_year",
)
"""False alarms of an event and what they had to stay below, a year of the lake and of a station."""

WORDS = ("low", "median", "high")
FITTED = "the fitted change"
_MINUTE_NS = 60 * NS_PER_S


def event_name(event):
    """Return the name of an event: its lake, the day of its onset, what it is."""
    day = iso(int(event.time_ns(np.median(event.onset_days()))))[:10]
    return f"{event.lake} {day} {event.kind}"


def minutes(time_ns):
    """Return a time rounded to the minute. [ns]"""
    return round(int(time_ns) / _MINUTE_NS) * _MINUTE_NS


def lake_files(name, problem, solution, told):
    """Return {end of the path: bytes} of all tables of one lake; ``told`` is its summary."""
    metadata = {"version": __version__, "lake": problem.lake, "time_scale": "GPS time",
                "inputs": told["inputs"]}  # fmt: skip
    files = {
        "samples.parquet": _samples(solution, metadata),
        "levels.parquet": _levels(solution, metadata),
        "stations.parquet": _stations(solution, metadata),
        "summary.json": json_text(told).encode("utf-8"),
    }
    if any(v is not None for v in solution.volumes):
        files["volumes.parquet"] = _volume_samples(solution, metadata)
    return {f"{name}/{name}_{end}": data for end, data in files.items()}


def _samples(solution, metadata):
    """Return the samples of all events; each row is one draw of one event."""
    events = solution.history.events
    columns = {
        "event": _each(events, lambda e: np.full(len(e.onset_d), event_name(e), object), object),
        "draw": _each(events, lambda e: np.arange(len(e.onset_d)), int),
    }
    for word in ("onset", "peak", "end"):
        columns[f"{word}_gps"] = times(
            _each(events, lambda e, w=word: e.time_ns(getattr(e, f"{w}_days")()), np.int64)
        )
    for key in ("onset_d", "length_d", "rise", "fall", "change_m"):
        columns[key] = _each(events, lambda e, k=key: getattr(e, k), float)
    for station in sorted({name for event in events for name in event.station_m}):
        columns[f"{station}_m"] = _each(
            events, lambda e, s=station: e.station_m.get(s, np.full(len(e.onset_d), np.nan)), float
        )
    origins = {event_name(e): int(e.origin_ns) for e in events}
    units = {name: "GPS time" for name in columns if name.endswith("_gps")}
    units |= {name: name.rpartition("_")[2] for name in columns if name.endswith(("_d", "_m"))}
    return parquet_bytes(columns, units, {**metadata, "origin_ns": origins})


def _each(events, values, kind):
    """Return values of all events in one array."""
    parts = [np.asarray(values(event)) for event in events]
    return np.concatenate(parts) if parts else np.zeros(0, kind)


def _volume_samples(solution, metadata):
    pairs = [(e, v) for e, v in zip(solution.history.events, solution.volumes, strict=True)
             if v is not None]  # fmt: skip
    columns = {"event": np.concatenate([np.full(len(v.volume_m3), event_name(e), object)
                                        for e, v in pairs])}  # fmt: skip
    units = {"volume_m3": "m3", "roof_m": "m", "area_m2": "m2"}
    units |= {"mean_m3_s": "m3/s", "peak_m3_s": "m3/s"}
    for key in units:
        columns[key] = np.concatenate([getattr(v, key) for _, v in pairs])
    return parquet_bytes(columns, units, metadata)


def _levels(solution, metadata):
    """Return the curves of level, stored water and outflow."""
    curves = solution.curves
    columns = {
        "time_gps": times(curves.time_ns),
        "measured_m": curves.measured_m,
        "measured_sigma_m": curves.sigma_m,
    }
    gone = np.full((3, len(curves.time_ns)), np.nan)
    for key, values in (("level_m", curves.level_m), ("stored_m3", curves.stored_m3),
                        ("outflow_m3_s", curves.outflow_m3_s)):  # fmt: skip
        for word, row in zip(WORDS, gone if values is None else values, strict=True):
            columns[f"{key}_{word}"] = row
    units = {"time_gps": "GPS time"}
    units |= {name: "m3/s" if "m3_s" in name else "m3" if "m3" in name else "m"
              for name in columns if name != "time_gps"}  # fmt: skip
    return parquet_bytes(columns, units, {**metadata, "interval": LEVEL, "note": curves.note})


def _stations(solution, metadata):
    """Return the heights of each station over and beside the lake, as means over the step."""
    series = solution.history.series
    columns = {"time_gps": [], "station": [], "role": [], "up_m": [], "sigma_m": []}
    for role, own in (("over", series.own), ("control", series.controls)):
        for name, up, sigma, _ in own:
            row = np.flatnonzero(np.isfinite(up))
            columns["time_gps"].append(times(series.time_ns(row * series.step_d)))
            columns["station"].append(np.full(len(row), name, object))
            columns["role"].append(np.full(len(row), role, object))
            columns["up_m"].append(up[row])
            columns["sigma_m"].append(sigma[row])
    joined = {key: np.concatenate(parts) for key, parts in columns.items()}
    return parquet_bytes(joined, {"time_gps": "GPS time", "up_m": "m", "sigma_m": "m"}, metadata)


def event_told(event, volume, why, history):
    """Return what is told of one event of a :class:`LakeHistory`, as JSON holds it."""
    stations, limit = len(history.series.own), history.false_limit_per_year
    row = {"event": event_name(event), "lake": event.lake, "kind": event.kind,
           "status": event.status}  # fmt: skip
    for name in ("onset", "peak", "end"):
        days = getattr(event, f"{name}_days")()
        for word, value in zip(WORDS, interval(days), strict=True):
            row[f"{name}_{word}_gps"] = iso(minutes(event.time_ns(value)))
    samples = {"change_m": event.change_m, "peak_rate_m_d": event.peak_rate_m_d(),
               "mean_rate_m_d": event.mean_rate_m_d(), "length_d": event.length_d}  # fmt: skip
    if volume is not None:
        samples |= {k: getattr(volume, k) for k in QUANTITIES if hasattr(volume, k)}
    for key in QUANTITIES:
        found = interval(samples[key]) if key in samples else (np.nan,) * 3
        row |= {f"{key}_{word}": v for word, v in zip(WORDS, found, strict=True)}
    return row | {
        "probability_real": event.probability_real,
        "false_per_year": event.false_per_year,
        "false_limit_per_year": limit,
        "false_per_station_year": event.false_per_year / stations,
        "false_limit_per_station_year": limit / stations,
        "onset_bound": event.onset_bound,
        "end_bound": event.end_bound,
        "reasons": list(event.reasons),
        "volume_note": why or "; ".join(volume.notes),
        "stations": {n: float(np.median(v)) for n, v in event.station_m.items()},
        "station_sigmas": {n: float(np.std(v)) for n, v in event.station_m.items()},
        "quality": event.quality,
        "definitions": [
            {"what": what, "definition": name, "words": words,
             **{f"{w}_gps": iso(minutes(event.time_ns(d)))
                for w, d in zip(WORDS, days, strict=True)}}
            for what, name, words, *days in event.definitions()
        ],
    }  # fmt: skip


def range_told(events, row):
    """Return one line of the range of volumes."""
    number, what, words, volume = row
    low, middle, high = interval(volume.volume_m3)
    return {
        "event": event_name(events[number]), "what": what, "words": words,
        "volume_m3_low": low, "volume_m3_median": middle, "volume_m3_high": high,
        "area_m2_median": float(np.median(volume.area_m2)),
        "roof_m_median": float(np.median(volume.roof_m)),
        "shares": {name: float(np.median(v)) for name, v in volume.share.items()},
    }  # fmt: skip


PHASE_TIMES = tuple(f"{edge}_{w}_gps" for edge in ("begin", "end") for w in WORDS)
PHASE_NUMBERS = (
    "rate_m_d",
    "sigma_m_d",
    *(f"{key}_{w}" for key in ("inflow_m3_s", "change_m", "volume_m3") for w in WORDS),
)


def phase_told(phase, inflow_m3_s):
    """Return what is told of one phase between events; its inflow (3,): low, median, high."""
    row = {"lake": phase.lake, "kind": phase.kind, "begin_by": phase.begin_by,
           "end_by": phase.end_by}  # fmt: skip
    row |= _edges(phase.begin_ns, phase.end_ns) | dict.fromkeys(PHASE_NUMBERS, np.nan)
    row |= {"rate_m_d": float(phase.rate_m_d), "sigma_m_d": float(phase.sigma_m_d)}
    return row | _three("inflow_m3_s", inflow_m3_s)


def slow_told(event, volume):
    """Return what is told of a change that lasts too long for an event, as of a phase."""
    row = {"lake": event.lake, "kind": f"long {event.kind}"}
    row |= {"begin_by": event.onset_bound or FITTED, "end_by": event.end_bound or FITTED}
    begin, end = (event.time_ns(interval(d)) for d in (event.onset_days(), event.end_days()))
    row |= _edges(begin, end) | dict.fromkeys(PHASE_NUMBERS, np.nan)
    rate = event.mean_rate_m_d()
    row |= {"rate_m_d": float(np.median(rate)), "sigma_m_d": float(np.std(rate))}
    row |= _three("change_m", interval(event.change_m))
    if volume is None:
        return row
    row |= _three("volume_m3", interval(volume.volume_m3))
    return row | _three(
        "inflow_m3_s", interval(volume.mean_m3_s * (1.0 if event.kind == "fill" else -1.0))
    )


def _edges(begin_ns, end_ns):
    times_ns = (*begin_ns, *end_ns)
    return {key: iso(minutes(t)) for key, t in zip(PHASE_TIMES, times_ns, strict=True)}


def _three(key, values):
    return {f"{key}_{w}": float(v) for w, v in zip(WORDS, values, strict=True)}
