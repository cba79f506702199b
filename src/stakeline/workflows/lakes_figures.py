"""Figures of the verb ``lakes``: from its tables to SVG files, only what is out of date."""

from dataclasses import dataclass, replace

import numpy as np

from .. import __version__
from ..campaign.folders import LAKES, open_campaign
from ..campaign.ledger import fingerprint
from ..campaign.store import sha256_file
from ..earth.projection import projection
from ..lakes.response import Ice
from ..lakes.surface import share_map
from ..report.lake_figures import (
    EventMark,
    LakeLevel,
    LakeMap,
    LakeWater,
    StationHeight,
    draw_lake_events,
    draw_lake_level,
    draw_lake_map,
    draw_lake_water,
)
from ..report.style import svg_bytes
from .lakes_ground import lake_outlines
from .lakes_parts import settle
from .lakes_places import CONTROL, NEITHER, OVER
from .lakes_results import lake_result, lake_results
from .lakes_reviews import reviewed
from .lakes_solve import BEDS
from .motion_ground import map_sheet
from .motion_results import ns
from .position import Outcome

RECORDS = "lakes-figures"
GAP_D = 1.0  # d, rows further apart are not joined; choice
ROOM_KM, ROOM_SHARE = 1.0, 0.12  # about what a map shows, least and of its longer side; choice


@dataclass(frozen=True)
class FigureTask:
    """The figures of one lake."""

    name: str
    key: str
    campaign: object


def figures_part(doing):
    """Draw the figures that are out of date; return the Outcome."""
    campaign = doing.campaign
    maps = [(campaign.relative(path), sha256_file(path)[1])
            for path in sorted(campaign.folder("maps").glob("*")) if path.is_file()]  # fmt: skip
    reviews = [one.model_dump(mode="json") for one in campaign.settings.lakes.review]
    tasks = []
    for result in lake_results(campaign):
        sums = [sha256_file(path)[1] for path in result.files]
        key = fingerprint([__version__, sums, maps, reviews])
        tasks.append(FigureTask(result.name, key, campaign.root))
    said = settle(doing, RECORDS, draw_lake, tasks, "drawn")
    return Outcome(
        "",
        said.problems,
        (f"figures of {len(said.done)} lakes",) * bool(said.done),
        (f"figures of {len(said.current)} lakes",) * bool(said.current),
    )


def draw_lake(task):
    """Return {path below the campaign: bytes} of the figures of one lake."""
    figures = lake_figures(open_campaign(task.campaign), task.name)
    return {f"{LAKES}/figures/{name}.svg": svg_bytes(figure) for name, figure in figures.items()}


def lake_figures(campaign, name):
    """Return {name: Figure} of one lake; what has nothing to show is not drawn."""
    result = lake_result(campaign, name)
    title = f"{campaign.settings.campaign.name}: {result.lake}"
    events = event_marks(result, campaign.settings.lakes.review)
    level = level_record(result, events, title)
    figures = {"level": draw_lake_level(level), "events": draw_lake_events(level)}
    water = water_record(result, events, title)
    if water is not None:
        figures["water"] = draw_lake_water(water)
    ground = lake_outlines(campaign)
    figures["map"] = draw_lake_map(map_record(campaign, result, ground, title))
    return {f"{name}_{kind}": figure for kind, figure in figures.items() if figure is not None}


def event_marks(result, reviews):
    """Return the :class:`EventMark` of each event."""
    status = {e["event"]: e["status"] for e in reviewed(result.told["events"], reviews).events}
    pairs = zip(result.events(), result.told["events"], strict=True)
    return tuple(
        EventMark(
            told["event"], event.kind, event.time_ns(event.onset_days()),
            event.time_ns(event.end_days()), status[told["event"]] == "rejected",
        )
        for event, told in pairs
    )  # fmt: skip


def level_record(result, events, title):
    """Return the :class:`LakeLevel` of a lake."""
    stations = []
    for role in (OVER, CONTROL):
        names = result.stations["station"][result.stations["role"] == role]
        for name in dict.fromkeys(names):
            pick = (result.stations["station"] == name) & (result.stations["role"] == role)
            up = result.stations["up_m"][pick]
            time_ns = ns(result.stations["time_gps"][pick])
            stations.append(StationHeight(str(name), role, time_ns, up - np.nanmedian(up)))
    note = (
        "Level: mean of the stations over the lake less what the controls do; band: 95 %. "
        "Shaded from median onset to median end; blue: draining, yellow: filling, grey: rejected."
    )
    return LakeLevel(
        f"{title}, level", result.time_ns, result.levels["measured_m"], result.curve("level_m"),
        events, tuple(stations), GAP_D, note,
    )  # fmt: skip


def water_record(result, events, title):
    """Return the :class:`LakeWater` of a lake; None where volumes could not be judged."""
    stored = result.curve("stored_m3")
    if not np.isfinite(stored).any():
        return None
    note = "Bands: 95 %, with outline, thickness and the ice's answer. " + (
        "Water that runs through while the level stays is not in it."
    )
    return LakeWater(
        f"{title}, water and discharge", result.time_ns, stored, result.curve("outflow_m3_s"),
        events, GAP_D, note,
    )  # fmt: skip


def map_record(campaign, result, ground, title):
    """Return the :class:`LakeMap` of a lake."""
    variants = ground.lakes[result.lake]
    outline = variants[0]
    shown = [r for r in result.told["roles"] if r["role"] != NEITHER or r["inside_share"] > 0.0]
    stations = tuple((r["station"], r["role"], r["x_m"] / 1e3, r["y_m"] / 1e3) for r in shown)
    x_km, y_km, share = _share(result, outline)
    latitude, longitude = (float(v) for v in projection(ground.epsg).inverse(*outline.centre_m))
    sheet = map_sheet(campaign, latitude)
    others = tuple(lake for lake in sheet.ground.lakes if lake[0] != result.lake)
    note = _map_note(result)
    return LakeMap(
        f"{title}, what stations see", sheet.name, tuple(o.ring_m / 1e3 for o in variants),
        x_km, y_km, share, stations, _corners(variants, stations), outline.scale,
        float(sheet.chart.convergence(longitude)), replace(sheet.ground, lakes=others), note,
    )  # fmt: skip


def outline_record(campaign, variants, ground, stations=()):
    """Return the :class:`LakeMap` of a lake of which nothing but its outlines is known.

    ``stations``: (name, role, x, y) of places that are shown. [km]
    """
    outline, none = variants[0], np.zeros(0)
    latitude, longitude = (float(v) for v in projection(ground.epsg).inverse(*outline.centre_m))
    sheet = map_sheet(campaign, latitude)
    others = tuple(lake for lake in sheet.ground.lakes if lake[0] != outline.name)
    return LakeMap(
        outline.name, sheet.name, tuple(o.ring_m / 1e3 for o in variants), none, none,
        np.zeros((0, 0)), tuple(stations), _corners(variants, stations), outline.scale,
        float(sheet.chart.convergence(longitude)), replace(sheet.ground, lakes=others),
    )  # fmt: skip


def _corners(variants, stations):
    """Return the corners of a map that holds outlines and stations. [km]"""
    points = [o.ring_m / 1e3 for o in variants] + [np.reshape([s[2:] for s in stations], (-1, 2))]
    points = np.concatenate(points)
    low, high = points.min(axis=0), points.max(axis=0)
    room = max(ROOM_KM, ROOM_SHARE * float((high - low).max()))
    return low - room, high + room


def _share(result, outline):
    """Return (x [km], y [km], share (y, x)) of the surface over the roof; empty where unknown."""
    ice = result.told["ice"]
    if "unknown" in ice:
        return np.zeros(0), np.zeros(0), np.zeros((0, 0))
    body = Ice(ice["thickness_m"], ice["viscosity_Pa_s"])
    drawn = [share_map(outline, body, flow) for flow in BEDS[result.told["settings"]["bed"]]]
    share = np.mean([one[2] for one in drawn], axis=0)
    east, north = drawn[0][:2]
    scale, (x, y) = outline.scale, outline.centre_m
    return (x + scale * east) / 1e3, (y + scale * north) / 1e3, share.T


def _map_note(result):
    words = "Filled marks stand over the lake, squares are controls, dots neither."
    if "unknown" in result.told["ice"]:
        return f"{words} The thickness of the ice is not known: no share is drawn."
    bed = result.told["settings"]["bed"]
    bed = "mean of a stuck and a sliding bed" if bed == "either" else f"{bed} bed"
    return f"{words} Share of the surface over the roof for slow changes: {bed}."
