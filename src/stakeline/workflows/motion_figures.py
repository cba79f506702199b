"""Figures of the verb ``motion``: from its tables to SVG files, only what is out of date."""

from dataclasses import dataclass

import numpy as np

from .. import __version__
from ..campaign.folders import LEDGER, MOTION, STATIONS
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.store import read_table, sha256_file
from ..report.style import svg_bytes
from .motion_ground import map_sheet
from .motion_network_figures import network_figures
from .motion_noise_figures import noise_figures
from .motion_results import station_results
from .motion_station_figures import station_figures
from .pool import run_tasks
from .position_tables import station_positions

FIGURES = f"{MOTION}/figures"
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
    ``_responses``; all together: ``map``, ``strain``, ``anomaly``, ``admittance``. A figure that
    has nothing to show is not written.

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
    drawing = _Drawing(campaign, Ledger(campaign.root, LEDGER))
    results = station_results(campaign)
    wanted = [r.station for r in results] + ([TOGETHER] if results else [])
    tasks = [(campaign, name) for name in wanted if drawing.is_stale(name, results)]
    for count, (task, outputs, sentence) in enumerate(run_tasks(sheet, tasks, workers), 1):
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
    """Return {path: bytes} of the figures of ``(campaign, station)``, or of all together."""
    campaign, name = task
    results = station_results(campaign)
    if name == TOGETHER:
        figures = _together(campaign, results)
    else:
        figures = _alone(campaign, next(r for r in results if r.station == name))
    return {f"{FIGURES}/{n}.svg": svg_bytes(figure) for n, figure in figures.items()}


def _record(name):
    return f"{RECORDS}/{name}"


class _Drawing:
    """One run: its campaign, its ledger, and what came of it so far."""

    def __init__(self, campaign, ledger):
        self.campaign, self.ledger = campaign, ledger
        self.done, self.current, self.problems = [], [], []
        self.keys = {}

    def is_stale(self, name, results):
        """Say whether figures are out of date; those that are not are noted."""
        files = _inputs(self.campaign, name, results)
        sums = [(self.campaign.relative(path), sha256_file(path)[1]) for path in files]
        gap_d = self.campaign.settings.motion.longest_gap_d
        self.keys[name] = fingerprint([__version__, gap_d, sums])
        current = self.ledger.up_to_date(_record(name), self.keys[name])
        if current:
            self.current.append(name)
        return not current

    def finish(self, name, outputs):
        """Write and record the figures of one task; those that it drew no more are deleted."""
        old = (self.ledger.read(_record(name)) or {"outputs": {}})["outputs"]
        for gone in set(old) - set(outputs):
            (self.campaign.root / gone).unlink(missing_ok=True)
        self.ledger.finish(_record(name), self.keys[name], outputs)
        self.done.append(name)


def _together_tables(campaign):
    return [campaign.folder(MOTION) / f"{name}.parquet" for name in ("network", "strain")]


def _inputs(campaign, name, results):
    """Return the files that figures follow from."""
    if name == TOGETHER:
        files = [file for result in results for file in result.files]
        files += [path for path in _together_tables(campaign) if path.is_file()]
        return [*files, *sorted(campaign.folder("maps").glob("*"))]
    own = campaign.folder(STATIONS) / f"{name}.toml"
    result = next(r for r in results if r.station == name)
    return [*result.files, *([own] if own.is_file() else [])]


def _alone(campaign, result):
    """Return the figures of one station."""
    history = campaign.histories().get(result.station)
    drawn = station_figures(result, campaign.settings.motion.longest_gap_d, history)
    if result.told:
        drawn |= noise_figures(result, formal_sigmas(campaign, result.station))
    return {f"{result.station}_{name}": figure for name, figure in drawn.items()}


def _together(campaign, results):
    """Return the figures of all stations together."""
    latitudes = [r.latitude_rad for r in results if np.isfinite(r.latitude_rad)]
    ground = map_sheet(campaign, latitudes[0] if latitudes else 1.0)
    tables = (read_table(p)[0] if p.is_file() else {} for p in _together_tables(campaign))
    return network_figures(results, ground, *tables, campaign.settings.campaign.name)


def formal_sigmas(campaign, station):
    """Return typical formal sigmas (2,), horizontal and up; NaN without positions. [m]"""
    columns = station_positions(campaign, station)
    if not len(columns["time_gps"]):
        return np.full(2, np.nan)
    east, north, up = (np.nanmedian(columns[f"sigma_{axis}_m"]) for axis in ("east", "north", "up"))
    return np.array([np.hypot(east, north) / np.sqrt(2.0), up])
