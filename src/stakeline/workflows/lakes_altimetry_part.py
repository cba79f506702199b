"""The part ``altimetry`` of the verb ``lakes``: what satellites saw, beside the stations."""

from dataclasses import astuple, dataclass, replace

import numpy as np

from .. import __version__
from ..campaign.folders import LAKES, MOTION, POSITION, open_campaign
from ..campaign.ledger import fingerprint
from ..campaign.store import sha256_file
from ..errors import SettingsError
from ..lakes.combined import combined_series
from ..lakes.response import Ice
from .altimetry_input import FOLDER, altimetry_points
from .lakes_altimetry import lake_altimetry
from .lakes_altimetry_heights import heights_files, heights_words, station_heights
from .lakes_altimetry_tables import altimetry_files, word
from .lakes_altimetry_words import altimetry_figures, altimetry_words
from .lakes_ground import ice_thickness, lake_outlines
from .lakes_input import station_up
from .lakes_overflights import (
    FIGURE,
    overflight_map,
    overflight_words,
    overflights_csv,
    station_overflights,
)
from .lakes_overflights import TABLE as OVERFLIGHTS
from .lakes_parts import file_name, settle
from .lakes_places import CONTROL, OVER
from .lakes_results import lake_result
from .lakes_reviews import reviewed
from .lakes_sites import sites
from .lakes_volume_together import BY_BOTH, TABLE, together_table, together_words, volumes_together
from .motion_ground import grid_files
from .motion_results import station_results
from .position import Outcome

RECORDS = "lakes-altimetry"
WORDS = "altimetry.txt"


@dataclass(frozen=True)
class AltimetryTask:
    """The altimetry of one lake."""

    name: str
    key: str
    campaign: object
    lake: str


def altimetry_part(doing):
    """Work out what altimetry tells of each lake, where that is out of date."""
    campaign = doing.campaign
    ground = lake_outlines(campaign)
    files = [p for p in sorted(campaign.folder(FOLDER).rglob("*")) if p.is_file()]
    lakes = ground.lakes if files else {}
    common = [__version__, ground.epsg, ground.files, _sums(campaign, files)]
    common.append(_sums(campaign, [*grid_files(campaign), *_of_heights(campaign)]))
    common += [campaign.settings.lakes.heights_within_m, list(map(astuple, sites(campaign)))]
    tasks = []
    for lake in filter(doing.wants, lakes):
        name = file_name(lake)
        result = lake_result(campaign, name)
        stands = (result.files, result.told["inputs"]) if result else ((), ())
        settings = campaign.settings.lakes
        chosen = [settings.of(lake).thickness_m, *_reviews(settings, lake)]
        key = fingerprint([*common, lake, chosen, _sums(campaign, stands[0]), stands[1]])
        tasks.append(AltimetryTask(name, key, campaign.root, lake))
    others = {file_name(lake) for lake in lakes} - {task.name for task in tasks}
    said = settle(doing, RECORDS, solve_altimetry, tasks, keep=others)
    return Outcome(
        _volumes_said(campaign, [task.name for task in tasks if task.name not in said.failed]),
        said.problems,
        (f"altimetry of {len(said.done)} lakes",) * bool(said.done),
        (f"altimetry of {len(said.current)} lakes",) * bool(said.current),
    )  # fmt: skip


def _volumes_said(campaign, names):
    """Return the lines on volumes of stations and passes together, of all lakes named."""
    paths = [campaign.folder(LAKES) / name / WORDS for name in names]
    lines = [line for path in paths for line in path.read_text(encoding="utf-8").splitlines()]
    return "".join(f"{line}\n" for line in lines if BY_BOTH in line)


def _sums(campaign, paths):
    return [(campaign.relative(path), sha256_file(path)[1]) for path in paths]


def _of_heights(campaign):
    """Return files that tell where the surface lies below an antenna, and motion, which follows."""
    snow = sorted(campaign.folder(POSITION).glob("*/*_snow.parquet"))
    return [*snow, *sorted(campaign.folder(MOTION).glob("*/*_motion.parquet"))]


def _reviews(settings, lake):
    return [one.model_dump(mode="json") for one in settings.review if one.lake == lake]


def solve_altimetry(task):
    """Return {path below the campaign: bytes} of one lake; for worker processes."""
    campaign = open_campaign(task.campaign)
    ground = lake_outlines(campaign)
    altimetry = altimetry_points(campaign, ground.epsg)
    variants = ground.lakes[task.lake]
    others = [own[0] for lake, own in ground.lakes.items() if lake != task.lake]
    result = lake_result(campaign, task.name)
    stations, places, told, how = _stood(campaign, result)
    events = _kept(result, told)
    found = lake_altimetry(
        altimetry, variants, stations, places, events, _ice(campaign, variants[0]), others
    )
    volumes = ()
    if result is not None and found.levels is not None:
        volumes = volumes_together(campaign, result, told, variants, found.levels)
    source = word(found.first) if found.sides else ""
    datum = (f"datum of the passes: {altimetry.datum.words}",)
    datum *= altimetry.points is not None and not altimetry.datum.missing  # else it is told there
    heights, missed = station_heights(campaign, variants[0], altimetry)
    notes = (f"note: {note}" for note in (*datum, *altimetry.notes, *missed, *how))
    near = station_overflights(campaign, variants[0], altimetry)
    flown = overflight_words(near, altimetry.track_names)
    words = (*altimetry_words(found), *together_words(task.lake, volumes, source), *flown)
    words += (*heights_words(heights), *notes)
    files = {f"{task.name}/{name}": data for name, data in altimetry_files(found).items()}
    files[f"{task.name}/{WORDS}"] = ("\n".join(words) + "\n").encode("utf-8")
    files |= {f"{task.name}/{name}": data for name, data in heights_files(heights).items()}
    if volumes:
        files[f"{task.name}/{TABLE}"] = together_table(volumes, source)
    if near:
        files[f"{task.name}/{OVERFLIGHTS}"] = overflights_csv(near, altimetry.track_names)
    figures = altimetry_figures(found)
    drawn = overflight_map(campaign, result, ground, altimetry, task.lake)
    figures |= {FIGURE: drawn} if drawn else {}
    files |= {f"figures/{task.name}_{name}": data for name, data in figures.items()}
    return {f"{LAKES}/{path}": data for path, data in files.items()}


def _ice(campaign, outline):
    """Return the :class:`Ice` above a lake; None where its thickness is not known."""
    try:
        return Ice(ice_thickness(campaign, outline).value_m)
    except SettingsError:
        return None


def _stood(campaign, result):
    """Return (StationUp of stations over a lake, their places, events told, how); maybe empty."""
    if result is None:
        return (), {}, (), ()
    roles = [r for r in result.told["roles"] if r["role"] in (OVER, CONTROL)]
    motion = {one.station: one for one in station_results(campaign)}
    stations = [station_up(motion[r["station"]], control=r["role"] == CONTROL) for r in roles]
    places = {r["station"]: (r["x_m"], r["y_m"]) for r in roles if r["role"] == OVER}
    told = reviewed(result.told["events"], campaign.settings.lakes.review).events
    stations, notes = _beside_controls(stations)
    return stations, places, told, notes


def _kept(result, told):
    """Return the events that nobody has rejected."""
    if result is None:
        return ()
    pairs = zip(result.events(), told, strict=True)
    return tuple(event for event, one in pairs if one["status"] != "rejected")


def _beside_controls(stations):
    """Return (stations over the lake, what controls do taken off, notes).

    Passes tell the lake from the ground around it; so must heights beside them.
    """
    series = combined_series(stations)
    time_ns = series.time_ns(series.day)
    over = []
    for one in (s for s in stations if not s.control):
        beside = np.interp(one.time_ns, time_ns, series.beside_m, left=np.nan, right=np.nan)
        over.append(replace(one, up_m=one.up_m - beside))
    return tuple(over), tuple(f"stations: {note}" for note in series.notes)
