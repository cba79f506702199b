"""A campaign's work in arcs: a day of a station with the hours around it, never over a step."""

import functools
import time
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from .. import __version__
from ..campaign.ledger import fingerprint
from ..campaign.settings import system_letters
from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SolutionError
from ..formats.rinex_obs import join, read_observations
from ..positioning import solve
from ..tables import Settings
from ..time import from_iso, iso
from .costs import StageTimes, peak_memory_bytes
from .file_place import history_place
from .observation_cut import cut, shifted
from .product_index import choose, files_of
from .products import ProductFiles, load_products, station_antenna
from .series import columns_of, named, summary_of
from .snow_passes import snow_day

NS_PER_H = 3600 * NS_PER_S
BEFORE_NS = NS_PER_H  # earlier days reach so much further: repeats come minutes earlier each day
_MAKES = "positions and height above the snow"  # of the fingerprint: what an arc's files hold


@dataclass(frozen=True)
class Arc:
    """One piece of work: observations of a window, solved as one."""

    station: str
    day: str
    part: int  # counts the pieces of a day that a step of the station cuts; 1 is the first
    window_ns: tuple  # half open
    files: tuple  # of (path, shift in ns)
    products: ProductFiles
    settings: Settings
    place_m: tuple
    inputs: tuple  # of (role, name in the campaign, sha256)
    root: str
    before_ns: tuple = ()  # half open: of earlier days, whose residuals foretell multipath

    @property
    def name(self):
        """Return the arc's name, such as ``HV01_2031-05-01`` or ``HV01_2031-05-01_part2``."""
        return f"{self.station}_{self.day}" + (f"_part{self.part}" if self.part > 1 else "")

    @property
    def names(self):
        """Return {path that was opened: name in the campaign}."""
        return {str(Path(self.root) / name): name for _, name, _ in self.inputs}

    @property
    def core_ns(self):
        """Return the part of the window that lies in the arc's own day, half open. [ns]"""
        begin_ns = int(from_iso(self.day))
        return max(begin_ns, self.window_ns[0]), min(begin_ns + NS_PER_DAY, self.window_ns[1])

    @property
    def key(self):
        """Return the fingerprint of all the arc's result depends on."""
        place = [repr(value) for value in self.place_m]
        parts = [__version__, _MAKES, self.station, self.window_ns, place, asdict(self.settings)]
        parts += [self.inputs, [shift for _, shift in self.files]]
        return fingerprint([*parts, *([self.before_ns] if self.before_ns else [])])


def plan_arcs(campaign, files, history, index):
    """Return the :class:`Arc` list of one station, in order of time.

    Parameters
    ----------
    campaign : Campaign
    files : list of TakenIn
        The station's usable files.
    history : StationHistory
        Cuts arcs at steps; gives heights and antennas.
    index : list of ProductEntry
    """
    settings = campaign.settings.position
    own = {part.name: part for part in campaign.settings.station}.get(history.station)
    mode = (own and own.mode) or settings.mode
    days = sidereal_days(settings, own, history.station, mode)
    margin_ns = 0 if mode == "static" else int(settings.margin_h * NS_PER_H)
    base = Settings(
        mode=mode,
        systems=system_letters(settings.systems),
        interval_s=settings.interval_s,
        mask_deg=settings.mask_deg,
        integers=settings.integers,
        estimate_walk=settings.estimate_walk,
        learn_weights=settings.learn_weights,
        switched_off=settings.switched_off,
    )
    arcs = []
    for day, pieces in _days(files, history).items():
        for part, (first, last) in enumerate(pieces, 1):
            edge = _standing(history, first)
            window = (max(first - margin_ns, edge[0]), min(last + margin_ns, edge[1]))
            place = (day, part, (first, last), window, _before(window, edge, days))
            arcs.append(_arc(campaign, files, history, index, base, place))
    return arcs


def sidereal_days(settings, own, station, mode):
    """Return over how many earlier days a station's multipath is looked for; 0: not at all.

    What is said of the station counts first; the rest only where surroundings stay as they are:
    for antennas that stand still and bases.
    """
    if own is not None and own.sidereal_days is not None:
        return own.sidereal_days
    still = mode == "static" or station in settings.bases
    return settings.sidereal_days if still else 0


def _before(window_ns, edge_ns, days):
    """Return the span of the earlier days, never over a step; empty where there is none. [ns]"""
    first = max(window_ns[0] - days * NS_PER_DAY - BEFORE_NS, edge_ns[0])
    last = window_ns[1] - NS_PER_DAY + BEFORE_NS  # satellites come back minutes earlier each day
    return (first, last) if days and first < last else ()


def _standing(history, time_ns):
    """Return the span around a time in which nothing of the station changed. [ns]"""
    far = np.iinfo(np.int64).max // 2
    marks = [history.begins_ns, *(step.time_ns for step in history.steps())]
    marks.append(history.ends_ns if history.ends_ns is not None else far)
    position = int(np.searchsorted(marks, time_ns, side="right"))
    return marks[position - 1], marks[position]


def _days(files, history):
    """Return {day: [(begin, end) of each piece between steps]} of days that hold epochs."""
    days = np.unique(np.concatenate([file.epochs_ns // NS_PER_DAY for file in files]))
    found = {}
    for day in days.tolist():
        begin, end = max(day * NS_PER_DAY, history.begins_ns), (day + 1) * NS_PER_DAY
        while begin < end and (history.ends_ns is None or begin < history.ends_ns):
            stop = min(end, _standing(history, begin)[1])
            if any(((f.epochs_ns >= begin) & (f.epochs_ns < stop)).any() for f in files):
                found.setdefault(iso(day * NS_PER_DAY)[:10], []).append((begin, stop))
            begin = stop
    return found


def _arc(campaign, files, history, index, base, place):
    """Return one arc with all it depends on."""
    day, part, core, window, before = place
    begin = min([window[0], *before[:1]])
    own = [f for f in files if f.span_ns[0] < window[1] and f.span_ns[1] >= begin]
    chosen = choose(index, begin, window[1], core)
    products = files_of(campaign, chosen)
    shift_ns = [int(f.shift_weeks) * 7 * NS_PER_DAY for f in own]
    paths = [str(campaign.root / f.raw.path) for f in own]
    inputs = [("observations", f.raw.path, f.raw.sha256) for f in own]
    inputs += [(kind, e.path, e.sha256) for kind, entries in chosen.items() for e in entries]
    antenna = history.antenna_at(window[0]).type or station_antenna(products, history.station)
    settings = replace(base, antenna_height_m=history.height_at(window[0]), antenna_model=antenna)
    pairs = tuple(zip(paths, shift_ns, strict=True))
    return Arc(
        history.station,
        day,
        part,
        window,
        pairs,
        products,
        settings,
        _place(history),
        tuple(inputs),
        str(campaign.root),
        before,
    )


def _place(history):
    place = history_place(history)
    return (np.nan,) * 3 if place is None else tuple(place.tolist())


@functools.lru_cache(maxsize=3)
def _read(path):
    return read_observations(path)


def observations_of(arc):
    """Return the observations in an arc's window; SolutionError where there are none."""
    found = _observations_in(arc, arc.window_ns)
    if found is None:
        raise SolutionError("no epoch stands in its window")
    return found


def _earlier(arc):
    """Return the observations of an arc's earlier days; None where none are asked for or there."""
    found = _observations_in(arc, arc.before_ns) if arc.before_ns else None
    return found if found is not None and found.time_ns[0] < arc.core_ns[0] else None


def _observations_in(arc, window_ns):
    """Return the observations of a window; None where there are none."""
    pieces = [shifted(_read(path), shift) for path, shift in arc.files]
    pieces = [piece for piece in (cut(piece, *window_ns) for piece in pieces) if len(piece)]
    if not pieces:
        return None
    return join(pieces) if len(pieces) > 1 else pieces[0]


def solve_arc(arc):
    """Return (columns, summary, cost, :class:`~.snow_passes.SnowDay`) of an arc.

    The cost is as :func:`.costs.cost_words` takes it, in seconds of a core, whatever else runs.
    Raises a StakelineError where the arc cannot be solved.
    """
    times = StageTimes("reading", time.process_time)
    observations = observations_of(arc)
    before = _earlier(arc)
    times("products")
    products = load_products(arc.products, arc.station, np.array(arc.place_m))
    found = solve(observations, products, arc.settings, times, before)
    positions = named(found, arc.station, products)
    times("height above the snow")
    place = np.median(positions.position_m, axis=0)
    snow = snow_day(observations, products, place, *arc.core_ns, arc.settings.systems)
    times("end")
    cost = {"seconds": times.seconds, "peak_memory_bytes": peak_memory_bytes()}
    return columns_of(positions), summary_in_words(arc, positions, products), cost, snow


def summary_in_words(arc, positions, products):
    """Return the summary of an arc's solution with antenna, height and orbits, without paths."""
    summary = summary_of(positions, with_seconds=False)
    summary["antenna"] = arc.settings.antenna_model or "not stated"
    height = dict(zip(("up", "east", "north"), arc.settings.antenna_height_m, strict=True))
    summary["antenna_height_m"] = height
    summary["antenna_height_source"] = f"stations/{arc.station}.toml"
    summary["orbits"] = "precise" if products.orbits is not None else "broadcast"
    return _without_paths(summary, arc.names)


def _without_paths(content, names):
    """Return the summary with names as seen from the campaign: results tell no machine's paths."""
    if isinstance(content, dict):
        return {key: _without_paths(value, names) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [_without_paths(value, names) for value in content]
    if isinstance(content, str):
        for path, name in names.items():
            content = content.replace(path, name)
    return content
