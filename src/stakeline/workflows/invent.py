"""An invented campaign on disk: what receivers, loggers and satellites would have brought back.

The truth goes to ``truth/``, which no verb reads.
"""

import gzip
from dataclasses import asdict, dataclass
from pathlib import Path

from ..campaign.folders import FOLDERS, PLANS, PRODUCTS, RAW, SETTINGS_FILE, STATIONS
from ..campaign.store import json_text, write_bytes
from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SettingsError, SolutionError
from ..formats.antex import write_antex
from ..formats.rinex_clk import write_clocks
from ..formats.rinex_nav import write_navigation
from ..formats.rinex_obs import write_observations
from ..formats.sp3 import write_sp3
from ..simulate.campaign import DAYS, Invented
from ..simulate.chance import stream
from ..simulate.messages import messages_of
from ..simulate.observe import make_world, observe
from ..simulate.products import antennas_of, clocks_of, make_errors, orbits_of
from ..simulate.scenario import SCENARIOS, scenario_of
from ..time import day_of_year
from .invented_ground import ground_files
from .invented_histories import campaign_text, history_text, plan_text
from .invented_tables import table_files
from .invented_truth import TRUTH, raw_truth_files, truth_files
from .observation_cut import cut
from .plant import plant
from .pool import run_tasks

SCENARIO_NAMES = tuple(SCENARIOS)


@dataclass(frozen=True)
class Order:
    """What to invent.

    Attributes
    ----------
    seed : int
    scenario : str
        A name of ``simulate.scenario.SCENARIOS``.
    days, stations : int
        Length, and stations on the ice.
    raw_days, raw_stations : int
        Days and stations with receiver files; all else is at position level.
    interval_s : float
        Between positions at position level. [s]
    """

    seed: int = 2031
    scenario: str = "flood-fast"
    days: int = DAYS
    stations: int = 14
    raw_days: int = 4
    raw_stations: int = 4
    interval_s: float = 3600.0

    def __post_init__(self):
        scenario_of(self.scenario)
        limits = {"days": (1, 1100), "stations": (1, 14), "raw_days": (0, 30)}
        for name, (least, most) in limits.items():
            if not least <= getattr(self, name) <= most:
                given = f"{name.replace('_', '-')} is {getattr(self, name)}"
                raise SettingsError(f"{given}; it must be from {least} to {most}")
        if self.raw_days > self.days:
            raise SettingsError(
                f"{self.raw_days} days of receiver files do not fit in a campaign of "
                f"{self.days} days"
            )

    def invented(self):
        """Return the :class:`Invented` campaign of this order."""
        return Invented(self.seed, scenario_of(self.scenario), self.days, self.stations)

    def raw_names(self, invented):
        """Return the stations with receiver files, the base on rock last."""
        if not self.raw_days:
            return []
        base = [name for name, site in invented.sites.items() if site.on_rock]
        return [*invented.raw_names(min(self.raw_stations, self.stations)), *base]


def build(folder, order, workers=1, progress=None):
    """Write a whole campaign and its truth; return the :class:`Invented`.

    Parameters
    ----------
    folder : path
        Must not hold a campaign.
    order : Order
    workers : int
    progress : callable, optional
        Called as ``progress(done, total, text)``.

    Raises
    ------
    SettingsError
        Where the folder holds anything.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise SettingsError(f"{folder}: is not empty; give the name of a new folder")
    invented = order.invented()
    for name in (*FOLDERS, PRODUCTS, STATIONS, PLANS):
        (folder / name).mkdir(parents=True, exist_ok=True)
    tasks = [("setting", order, ""), *(("record", order, name) for name in invented.sites)]
    if order.raw_days:
        tasks += [("products", order, "")]
        tasks += [("receiver", order, name) for name in order.raw_names(invented)]
    for done, (task, files, sentence) in enumerate(run_tasks(make, tasks, workers), 1):
        if sentence:
            raise SolutionError(f"inventing {task[0]} {task[2]}: {sentence}")
        for name, data in files.items():
            write_bytes(folder / name, data)
        if progress:
            progress(done, len(tasks), f"{task[2] or 'Halvard Glacier'}: {task[0]}")
    if invented.scenario.wrecked:
        plant(folder, invented, order.raw_names(invented))
    return invented


def make(task):
    """Return {path in the campaign: bytes} of ``(kind, order, station)``."""
    kind, order, name = task
    return _MAKERS[kind](order, order.invented(), name)


def _setting(order, invented, _):
    """Return settings, histories, one plan, maps, altimetry, and the truth of the lakes."""
    raw = order.raw_names(invented)
    files = {SETTINGS_FILE: campaign_text(invented, raw).encode("utf-8")}
    for name in invented.sites:
        files[f"{STATIONS}/{name}.toml"] = history_text(invented, name).encode("utf-8")
    planned = next(name for name, site in invented.sites.items() if not site.on_rock)
    files[f"{PLANS}/{planned}.toml"] = plan_text(invented, planned).encode("utf-8")
    files |= ground_files(invented)
    about = asdict(order) | {"scenario_words": invented.scenario.words, "receiver_files": raw}
    files[f"{TRUTH}/campaign.json"] = json_text(about).encode("utf-8")
    return files | truth_files(invented)


def _record(order, invented, name):
    """Return a station's tables at position level, logger, weather, and its hourly truth."""
    window = invented.raw_window(order.raw_days) if name in order.raw_names(invented) else None
    return table_files(invented, name, order.interval_s, window)


def _world(order, invented):
    window = invented.raw_window(order.raw_days)
    start_ns = int(invented.time_ns(window.begin_s))
    return window, make_world(stream(order.seed, "world"), start_ns, window.end_s - window.begin_s)


def _midnights(world):
    """Return (first, end) of each day of a world. [ns]"""
    start = world.sky.start_ns
    end = start + round(world.duration_s * NS_PER_S)
    return [(t, min(t + NS_PER_DAY, end)) for t in range(start, end, NS_PER_DAY)]


def _receiver(order, invented, name):
    """Return a station's receiver files by day, and the truth of the same epochs."""
    window, world = _world(order, invented)
    station = invented.station(name, window)
    observations, truth = observe(stream(order.seed, name, "receiver"), world, station)
    files = raw_truth_files(name, station, truth)
    for first_ns, end_ns in _midnights(world):
        piece = cut(observations, first_ns, end_ns)
        if len(piece):
            year, day = day_of_year(first_ns)
            path = f"{RAW}/{name}/{name}00XXX_R_{year}{day:03d}0000_01D_30S_MO.crx.gz"
            files[path] = _packed(write_observations(piece, compact=True))
    return files


def _products(order, invented, _):
    """Return daily orbits (of the days around too), clocks, navigation; antennas once."""
    _, world = _world(order, invented)
    errors = make_errors(stream(order.seed, "products"), world)
    spans = _midnights(world)
    files = {f"{PRODUCTS}/antennas.atx": write_antex(antennas_of(world))}
    first, last = spans[0][0] - NS_PER_DAY, spans[-1][0] + NS_PER_DAY
    for day_ns in range(first, last + 1, NS_PER_DAY):
        orbits = orbits_of(world, errors, day_ns, day_ns + NS_PER_DAY - 900 * NS_PER_S)
        files[_product_path(day_ns, "15M_ORB.SP3.gz")] = _packed(write_sp3(orbits))
    for first_ns, end_ns in spans:
        clocks = clocks_of(world, errors, first_ns, end_ns - 30 * NS_PER_S)
        files[_product_path(first_ns, "30S_CLK.CLK.gz")] = _packed(write_clocks(clocks))
        chance = stream(order.seed, "messages", str(first_ns))
        messages = messages_of(world, chance, first_ns, end_ns)
        year, day = day_of_year(first_ns)
        path = f"{PRODUCTS}/HALB00XXX_R_{year}{day:03d}0000_01D_MN.rnx.gz"
        files[path] = _packed(write_navigation(messages))
    return files


def _product_path(first_ns, ending):
    year, day = day_of_year(first_ns)
    return f"{PRODUCTS}/HAL0OPSFIN_{year}{day:03d}0000_01D_{ending}"


def _packed(data):
    return gzip.compress(data, compresslevel=6, mtime=0)


_MAKERS = {
    "setting": _setting,
    "record": _record,
    "products": _products,
    "receiver": _receiver,
}
