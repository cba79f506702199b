"""Figures of the verb ``motion``: from its tables to SVG files, only what is out of date."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from .. import __version__
from ..campaign.folders import LEDGER, MOTION, STATIONS
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.store import read_table, sha256_file
from ..report.style import svg_bytes
from .motion_ground import map_sheet
from .motion_network_figures import network_figures
from .motion_noise_figures import noise_figures
from .motion_results import csv_rows, results_in
from .motion_station_figures import station_figures
from .pool import run_tasks

BELOW = "figures"
FIGURES = f"{MOTION}/{BELOW}"
RECORDS = "motion-figures"
TOGETHER = "all"


@dataclass(frozen=True)
class Drawn:
    """What was drawn: names of tasks done and up to date, and sentences about what failed."""

    done: tuple = ()
    current: tuple = ()
    problems: tuple = ()


def draw_motion(campaign, workers=1, progress=None):
    """Draw the figures of a campaign's motion that are out of date.

    Each station: ``STATION_displacement``, ``_speed``, ``_height``, ``_tides``, ``_spectrum``,
    ``_responses``; all together: ``map``, ``strain``, ``anomaly``, ``coherence``, ``admittance``. A
    figure that has nothing to show is not written.

    Parameters
    ----------
    campaign : Campaign
        Held by the caller, as for every verb.
    workers : int
    progress : callable, optional
        Called as ``progress(done, total, text)``.

    Returns
    -------
    Drawn

    Raises
    ------
    SettingsError
        Where a table of the results cannot be read.
    """
    gap_d = campaign.settings.motion.longest_gap_d
    place = _Place(campaign.root, f"{MOTION}/", gap_d, campaign)
    return _draw(place, workers, progress)


def draw_tables(root, longest_gap_d, workers=1, progress=None):
    """Draw the figures of each station whose motion lies in a folder of its own, outside campaigns.

    Parameters
    ----------
    root : path
        Held by the caller; figures go to ``figures`` below it.
    longest_gap_d : float
        Rows further apart are not joined. [d]

    Returns
    -------
    Drawn
    """
    return _draw(_Place(Path(root), "", longest_gap_d, None), workers, progress)


@dataclass(frozen=True)
class _Place:
    """Where results and figures lie: below ``prefix`` of ``root``; its campaign, or None."""

    root: Path
    prefix: str
    longest_gap_d: float
    campaign: object

    @property
    def folder(self):
        """Folder of the results."""
        return self.root / self.prefix


def _draw(place, workers, progress):
    """Draw what is out of date in one place; return the :class:`Drawn`."""
    drawing = _Drawing(place, Ledger(place.root, LEDGER))
    results = results_in(place.folder)
    wanted = [r.station for r in results] + [TOGETHER] * bool(results and place.campaign)
    tasks = [(place, name) for name in wanted if drawing.is_stale(name, results)]
    drawn = run_tasks(sheet, tasks, workers, compile_first=False)
    for count, (task, outputs, sentence) in enumerate(drawn, 1):
        if sentence:
            drawing.problems.append(f"{task[1]}: figures were not drawn: {sentence}")
        else:
            drawing.finish(task[1], outputs)
        if progress:
            progress(count, len(tasks), f"{task[1]} drawn")
    for task in drawing.ledger.tasks(RECORDS):
        if task not in map(_record, wanted):
            drawing.ledger.forget(task)
    done = [name for name in wanted if name in drawing.done]
    return Drawn(tuple(done), tuple(drawing.current), tuple(drawing.problems))


def sheet(task):
    """Return {path: bytes} of the figures of ``(place, station)``, or of all together."""
    place, name = task
    below = f"{place.prefix}{BELOW}"
    return {f"{below}/{n}.svg": svg_bytes(figure) for n, figure in _figures(place, name).items()}


def motion_figures(campaign, name):
    """Return {name: Figure} of a station of a campaign, or of :data:`TOGETHER`."""
    gap_d = campaign.settings.motion.longest_gap_d
    return _figures(_Place(campaign.root, f"{MOTION}/", gap_d, campaign), name)


def _figures(place, name):
    results = results_in(place.folder)
    if name == TOGETHER:
        return _together(place.campaign, results)
    return _alone(place, next(r for r in results if r.station == name))


def _record(name):
    return f"{RECORDS}/{name}"


class _Drawing:
    """One run: its place, its ledger, and what came of it so far."""

    def __init__(self, place, ledger):
        self.place, self.ledger = place, ledger
        self.done, self.current, self.problems = [], [], []
        self.keys = {}

    def is_stale(self, name, results):
        """Say whether figures are out of date; those that are not are noted."""
        root, files = self.place.root, _inputs(self.place.campaign, name, results)
        sums = [(path.relative_to(root).as_posix(), sha256_file(path)[1]) for path in files]
        self.keys[name] = fingerprint([__version__, self.place.longest_gap_d, sums])
        current = self.ledger.up_to_date(_record(name), self.keys[name])
        if current:
            self.current.append(name)
        return not current

    def finish(self, name, outputs):
        """Write and record the figures of one task; those that it drew no more are deleted."""
        old = (self.ledger.read(_record(name)) or {"outputs": {}})["outputs"]
        for gone in set(old) - set(outputs):
            (self.place.root / gone).unlink(missing_ok=True)
        self.ledger.finish(_record(name), self.keys[name], outputs)
        self.done.append(name)


def _together_tables(campaign):
    names = ("network.parquet", "strain.parquet", "coherence.csv")
    return [campaign.folder(MOTION) / name for name in names]


def _inputs(campaign, name, results):
    """Return the files that figures follow from."""
    if name == TOGETHER:
        files = [file for result in results for file in result.files]
        files += [path for path in _together_tables(campaign) if path.is_file()]
        return [*files, *sorted(campaign.folder("maps").glob("*"))]
    result = next(r for r in results if r.station == name)
    own = campaign.folder(STATIONS) / f"{name}.toml" if campaign else None
    return [*result.files, *([own] if own and own.is_file() else [])]


def _alone(place, result):
    """Return the figures of one station."""
    history = place.campaign.histories().get(result.station) if place.campaign else None
    drawn = station_figures(result, place.longest_gap_d, history)
    if result.told:
        drawn |= noise_figures(result)
    return {f"{result.station}_{name}": figure for name, figure in drawn.items()}


def _together(campaign, results):
    """Return the figures of all stations together."""
    latitudes = [r.latitude_rad for r in results if np.isfinite(r.latitude_rad)]
    ground = map_sheet(campaign, latitudes[0] if latitudes else 1.0)
    *tables, pairs = _together_tables(campaign)
    tables = (read_table(path)[0] if path.is_file() else {} for path in tables)
    name = campaign.settings.campaign.name
    return network_figures(results, ground, *tables, csv_rows(pairs), name)
