"""Figures of the verb ``motion``: from its tables to SVG files, only what is out of date."""

from dataclasses import dataclass

import numpy as np

from .. import __version__
from ..campaign.folders import LEDGER, MOTION, STATIONS
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.store import read_table, sha256_file
from ..errors import StakelineError
from ..report.style import svg_bytes
from .motion_ground import map_sheet
from .motion_network_figures import network_figures
from .motion_noise_figures import noise_figures
from .motion_results import station_results
from .motion_station_figures import station_figures
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


def draw_motion(campaign, progress=None):
    """Draw the figures of a campaign's motion that are out of date.

    Each station: ``STATION_displacement``, ``_speed``, ``_height``, ``_tides``, ``_spectrum``,
    ``_responses``; all together: ``map``, ``strain``, ``anomaly``, ``admittance``. A figure that
    has nothing to show is not written.

    Parameters
    ----------
    campaign : Campaign
        Held by the caller, as for every verb.
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
    histories = campaign.histories()
    for count, result in enumerate(results, 1):
        drawing.station(result, histories.get(result.station))
        if progress:
            progress(count, len(results) + 1, f"{result.station} drawn")
    if results:
        drawing.together(results)
    wanted = {_record(r.station) for r in results} | ({_record(TOGETHER)} if results else set())
    for task in drawing.ledger.tasks(RECORDS):
        if task not in wanted:
            drawing.ledger.forget(task)
    return Drawn(tuple(drawing.done), tuple(drawing.current), tuple(drawing.problems))


def _record(name):
    return f"{RECORDS}/{name}"


class _Drawing:
    """One run: its campaign, its ledger, and what came of it so far."""

    def __init__(self, campaign, ledger):
        self.campaign, self.ledger = campaign, ledger
        self.longest_gap_d = campaign.settings.motion.longest_gap_d
        self.done, self.current, self.problems = [], [], []

    def station(self, result, history):
        """Draw one station where out of date."""
        own = self.campaign.folder(STATIONS) / f"{result.station}.toml"
        files = [*result.files, *([own] if own.is_file() else [])]

        def figures():
            drawn = station_figures(result, self.longest_gap_d, history)
            if result.told:
                drawn |= noise_figures(result, formal_sigmas(self.campaign, result.station))
            return {f"{result.station}_{name}": figure for name, figure in drawn.items()}

        self.draw(result.station, files, figures)

    def together(self, results):
        """Draw what shows all stations, where out of date."""
        tables = [self.campaign.folder(MOTION) / f"{n}.parquet" for n in ("network", "strain")]
        files = [file for result in results for file in result.files]
        files += [path for path in tables if path.is_file()]
        maps = sorted(self.campaign.folder("maps").glob("*"))

        def figures():
            latitudes = [r.latitude_rad for r in results if np.isfinite(r.latitude_rad)]
            sheet = map_sheet(self.campaign, latitudes[0] if latitudes else 1.0)
            network, strain = (read_table(p)[0] if p.is_file() else {} for p in tables)
            name = self.campaign.settings.campaign.name
            return network_figures(results, sheet, network, strain, name)

        self.draw(TOGETHER, [*files, *maps], figures)

    def draw(self, name, files, figures):
        """Draw, write and record one task's figures; what cannot be drawn is a problem."""
        sums = [(self.campaign.relative(path), sha256_file(path)[1]) for path in files]
        key = fingerprint([__version__, self.longest_gap_d, sums])
        if self.ledger.up_to_date(_record(name), key):
            self.current.append(name)
            return
        try:
            outputs = {f"{FIGURES}/{n}.svg": svg_bytes(f) for n, f in figures().items()}
        except StakelineError as problem:
            self.problems.append(f"{name}: figures were not drawn: {problem}")
            return
        old = (self.ledger.read(_record(name)) or {"outputs": {}})["outputs"]
        for gone in set(old) - set(outputs):
            (self.campaign.root / gone).unlink(missing_ok=True)
        self.ledger.finish(_record(name), key, outputs)
        self.done.append(name)


def formal_sigmas(campaign, station):
    """Return typical formal sigmas (2,), horizontal and up; NaN without positions. [m]"""
    columns = station_positions(campaign, station)
    if not len(columns["time_gps"]):
        return np.full(2, np.nan)
    east, north, up = (np.nanmedian(columns[f"sigma_{axis}_m"]) for axis in ("east", "north", "up"))
    return np.array([np.hypot(east, north) / np.sqrt(2.0), up])
