"""Files about all lakes together: the catalogue of events, and all that hangs on it."""

import numpy as np

from .. import __version__
from ..campaign.folders import LAKES
from ..campaign.ledger import fingerprint
from ..campaign.store import json_text, sha256_file
from ..earth.projection import projection
from ..formats.map_features import Feature, write_features
from ..formats.plain_table import write_plain_table
from ..formats.series_netcdf import StationSeriesFile, write_series
from ..lakes.event_record import LEVEL
from ..time import from_iso
from .lakes_ground import lake_outlines
from .lakes_places import rule
from .lakes_results import JOINT, lake_result
from .lakes_reviews import reviewed
from .lakes_tables import FALSE, PHASE_NUMBERS, PHASE_TIMES, QUANTITIES, WORDS
from .lakes_words import lake_words
from .position import Outcome

RECORDS, TOGETHER = "lakes", "lakes-together"
_TIMES = tuple(f"{name}_{w}_gps" for name in ("onset", "peak", "end") for w in WORDS)
_NUMBERS = tuple(f"{key}_{w}" for key in QUANTITIES for w in WORDS)
_CURVES = {
    "level_m": "level of the ice surface since the first row",
    "stored_m3": "water below the ice since the first row",
    "outflow_m3_s": "discharge out of the lake",
}
_PASSES = {
    "passes_level_m": "mean level of the surface over the outline by passes, since the first",
    "passes_level_sigma_m": "its sigma",
    "both_level_m": "mean level of the surface over the outline by stations and passes",
    "both_level_sigma_m": "its sigma",
}
_PASSES |= {key: f"water of an event by stations and passes, at its median end, {w}"
            for key, w in zip(JOINT, WORDS, strict=True)}  # fmt: skip
_DECIMALS = {"change_m": 4, "roof_m": 4, "peak_rate_m_d": 4, "mean_rate_m_d": 4, "length_d": 3}


def together_part(doing):
    """Write the files of all lakes where out of date; return the Outcome.

    After the part on altimetry, whose volumes and levels they hold as well. Reviews that fit no
    event are its problems.
    """
    campaign, ledger, part = doing.campaign, doing.ledger, doing.campaign.settings.lakes
    ground = lake_outlines(campaign)
    names = [record.rpartition("/")[2] for record in ledger.tasks(RECORDS)]
    found = [lake_result(campaign, name) for name in names]
    results = [one for one in found if one is not None and one.lake in ground.lakes]
    if not results:
        ledger.forget(TOGETHER)
        return Outcome("")
    events = [event for result in results for event in result.told["events"]]
    said = reviewed(events, part.review)
    sums = {name: ledger.read(f"{RECORDS}/{name}")["outputs"] for name in names}
    passes = [sha256_file(path)[1] for result in results for path in result.satellite_files]
    reviews = [review.model_dump(mode="json") for review in part.review]
    key = fingerprint([__version__, sums, reviews, ground.files, passes])
    if ledger.up_to_date(TOGETHER, key):
        return Outcome("", said.unmatched)
    files = together_files(results, said, ground, part)
    ledger.finish(TOGETHER, key, {f"{LAKES}/{name}": data for name, data in files.items()})
    return Outcome("", said.unmatched, ("lakes together",))


def together_files(results, said, ground, part):
    """Return {name: bytes} of the files about all lakes.

    Parameters
    ----------
    results : sequence of LakeResult
    said : Reviewed
        Events of all lakes.
    ground : LakeOutlines
    part : LakesPart
    """
    summary = {
        "version": __version__,
        "time_scale": "GPS time",
        "interval": LEVEL,
        "rule": rule(part),
        "events": list(said.events),
        "reviews_without_event": list(said.unmatched),
        "lakes": {result.lake: result.told for result in results},
    }
    return {
        "events.csv": events_csv(said.events),
        "events.geojson": events_geojson(said.events, ground),
        "definitions.csv": definitions_csv(said.events),
        "volumes.csv": volumes_csv(results),
        "phases.csv": phases_csv(results),
        "lakes.nc": write_series(series_file(results, ground)),
        "summary.json": json_text(summary).encode("utf-8"),
        "summary.txt": _words(results, said, part).encode("utf-8"),
    }


def _words(results, said, part):
    """Return the summary in words."""
    lines = [f"Intervals hold {LEVEL:.0%}; times are GPS time. {rule(part)}", ""]
    for result in results:
        own = [event for event in said.events if event["lake"] == result.lake]
        lines += [*lake_words(result.told, own), ""]
    lines += [f"warning: {sentence}" for sentence in said.unmatched]
    return "\n".join(lines).rstrip() + "\n"


def _column(rows, key):
    return np.array([np.nan if row[key] is None else row[key] for row in rows], float)


def events_csv(events):
    """Return the catalogue: one line an event."""
    columns = {key: [event[key] for event in events] for key in ("event", "lake", "kind", "status")}
    columns |= {key: [event[key] for event in events] for key in _TIMES}
    columns |= {key: _column(events, key) for key in (*_NUMBERS, *JOINT)}
    columns["probability_real"] = _column(events, "probability_real")
    columns |= {key: [f"{event[key]:.3g}" for event in events] for key in FALSE}
    for key in ("onset_bound", "end_bound", "volume_note"):
        columns[key] = [event[key] for event in events]
    columns["reasons"] = ["; ".join(event["reasons"]) for event in events]
    columns |= {k: [event[k] for event in events] for k in ("reviewed_by", "reviewed_on")}
    decimals = {f"{key}_{w}": n for key, n in _DECIMALS.items() for w in WORDS}
    decimals |= {f"volume_m3_{w}": 0 for w in WORDS} | dict.fromkeys(JOINT, 0)
    return write_plain_table(columns, decimals | {"probability_real": 4})


def events_geojson(events, ground):
    """Return the outline of each event's lake, the event as its properties."""
    keys = ("event", "lake", "kind", "status", *_TIMES, *_NUMBERS, *JOINT, "probability_real",
            *FALSE, "onset_bound", "end_bound")  # fmt: skip
    features = []
    for event in events:
        outline = ground.lakes[event["lake"]][0]
        properties = {key: event[key] for key in keys}
        properties |= {"reasons": "; ".join(event["reasons"]), "area_m2": outline.area_m2}
        features.append(Feature("Polygon", rings_deg(outline), properties))
    return write_features(features)


def rings_deg(outline):
    """Return the rings of an outline as longitude and latitude. [deg]"""
    chart = projection(outline.epsg)
    return tuple(
        np.degrees(np.stack(chart.inverse(*ring.T)[::-1], axis=1)) for ring in outline.rings_m
    )


def definitions_csv(events):
    """Return when each event began, was fastest and ended, by each definition."""
    rows = [(event, one) for event in events for one in event["definitions"]]
    columns = {key: [event[key] for event, _ in rows] for key in ("event", "lake", "kind")}
    for key in ("what", "definition", "words", *(f"{w}_gps" for w in WORDS)):
        columns[key] = [one[key] for _, one in rows]
    return write_plain_table(columns)


def volumes_csv(results):
    """Return the range of volumes: by shape of the roof, by outline, by cause of doubt."""
    rows = [row for result in results for row in result.told["ranges"]]
    columns = {key: [row[key] for row in rows] for key in ("event", "what", "words")}
    for key in (*(f"volume_m3_{w}" for w in WORDS), "area_m2_median", "roof_m_median"):
        columns[key] = _column(rows, key)
    columns["surface_over_roof"] = [
        ", ".join(f"{name} {share:.3f}" for name, share in row["shares"].items()) for row in rows
    ]
    whole = [*(f"volume_m3_{w}" for w in WORDS), "area_m2_median"]
    return write_plain_table(columns, dict.fromkeys(whole, 0) | {"roof_m_median": 4})


def phases_csv(results):
    """Return what each lake did between its events, and changes too long to be events."""
    rows = [row for result in results for row in result.told["phases"]]
    columns = {key: [row[key] for row in rows]
               for key in ("lake", "kind", *PHASE_TIMES, "begin_by", "end_by")}  # fmt: skip
    columns |= {key: _column(rows, key) for key in PHASE_NUMBERS}
    decimals = dict.fromkeys(PHASE_NUMBERS, 0) | {"rate_m_d": 6, "sigma_m_d": 6}
    decimals |= {f"inflow_m3_s_{w}": 3 for w in WORDS} | {f"change_m_{w}": 4 for w in WORDS}
    return write_plain_table(columns, decimals)


def series_file(results, ground):
    """Return the curves of all lakes as :class:`StationSeriesFile`, a lake in place of a station.

    Places are the centres of the outlines; the height of a lake is not given.
    """
    more = [_satellite_rows(result) for result in results]
    times = [result.time_ns for result in results] + [t for one in more for t, _ in one.values()]
    every = np.unique(np.concatenate(times))
    names = [f"{key}_{w}" for key in _CURVES for w in WORDS]
    names += [key for key in _PASSES if any(key in one for one in more)]
    fields = {name: np.full((len(results), len(every)), np.nan) for name in names}
    for k, result in enumerate(results):
        own = {key: (result.time_ns, result.levels[key]) for key in names if key not in _PASSES}
        for key, (time_ns, values) in (own | more[k]).items():
            fields[key][k, np.searchsorted(every, time_ns)] = values
    centres = [ground.lakes[result.lake][0].centre_m for result in results]
    latitude, longitude = np.degrees(projection(ground.epsg).inverse(*np.array(centres).T))
    units = {"level_m": "m", "stored_m3": "m3", "outflow_m3_s": "m3 s-1"}
    units = {f"{key}_{w}": unit for key, unit in units.items() for w in WORDS}
    units |= {key: "m3" if "_m3" in key else "m" for key in names if key in _PASSES}
    words = {f"{key}_{w}": f"{text}, {w}" for key, text in _CURVES.items() for w in WORDS}
    words |= {key: text for key, text in _PASSES.items() if key in names}
    comment = (
        f"A lake stands for a station; its place is the centre of its outline. low and high hold "
        f"{LEVEL:.0%}. Missing values are gaps: nothing is interpolated"
    )
    return StationSeriesFile(
        every, tuple(result.lake for result in results), latitude, longitude,
        np.full(len(results), np.nan), fields, units, words,
        {"title": "Lakes below ice", "source": f"Stakeline {__version__}", "comment": comment},
    )  # fmt: skip


def _satellite_rows(result):
    """Return {variable: (times, values)} of levels by passes and of volumes by both, if any."""
    found = {}
    for key, (time_ns, level, sigma) in result.satellites.items():
        found |= {f"{key}_level_m": (time_ns, level), f"{key}_level_sigma_m": (time_ns, sigma)}
    told = [event for event in result.told["events"] if event[JOINT[0]] is not None]
    if told:
        time_ns = np.array([from_iso(event["end_median_gps"]) for event in told], np.int64)
        found |= {key: (time_ns, [event[key] for event in told]) for key in JOINT}
    return found
