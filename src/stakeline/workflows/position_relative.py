"""Relative positions of a campaign's rovers from its bases, and the choice between the two."""

from dataclasses import asdict, dataclass

import numpy as np

from .. import __version__
from ..campaign.folders import POSITION
from ..campaign.ledger import fingerprint
from ..campaign.store import parquet_bytes, read_table
from ..constants import NS_PER_DAY, NS_PER_S
from ..earth.ellipsoid import enu_from_xyz, geodetic_from_xyz
from ..positioning.base_audit import (
    BLOCK_H,
    BLOCK_SIGMA_M,
    FEWEST_DAYS,
    audit_base,
    common_motion,
    place_covariance,
)
from ..positioning.relative import solve_relative
from ..positioning.relative_input import Base
from ..positioning.relative_quality import NOT_USED
from .arcs import Arc, observations_of, summary_in_words
from .pool import run_tasks
from .position_choice import choose_solution
from .products import load_products
from .series import UNITS, columns_of, named, positions_of

RELATIVE = f"{POSITION}/relative"


@dataclass(frozen=True)
class KnownBase:
    """A base for one arc: its own arc, its marker as a point or a path, how well it is known."""

    arc: Arc
    time_ns: tuple
    position_m: tuple
    covariance_m2: tuple  # (3, 3) east, north, up


@dataclass(frozen=True)
class RelativeTask:
    """One piece of work: a rover's arc and its bases."""

    arc: Arc
    bases: tuple

    @property
    def name(self):
        """Return the arc's name."""
        return self.arc.name

    @property
    def key(self):
        """Return the fingerprint of all the result depends on."""
        known = [
            [b.arc.key, list(map(repr, b.time_ns)), repr(b.position_m), repr(b.covariance_m2)]
            for b in self.bases
        ]
        return fingerprint([__version__, "relative", self.arc.key, known])


@dataclass(frozen=True)
class Chosen:
    """What the choice gave: files to read by arc, words by arc, notes and problems of the run."""

    files: dict
    words: dict
    notes: tuple = ()
    problems: tuple = ()
    solved: int = 0


def solve_relative_arc(task):
    """Return (columns, summary) of a rover's arc from its bases; StakelineError where it fails."""
    arc = task.arc
    rover = observations_of(arc)
    products = load_products(arc.products, arc.station, np.array(arc.place_m))
    bases = [
        Base(
            base.arc.station,
            observations_of(base.arc),
            np.array(base.time_ns, np.int64),
            np.array(base.position_m, float),
            base.arc.settings.antenna_height_m,
            base.arc.settings.antenna_model,
            np.array(base.covariance_m2, float),
        )
        for base in task.bases
    ]
    positions = named(solve_relative(rover, bases, products, arc.settings), arc.station, products)
    summary = summary_in_words(arc, positions, products)
    if arc.before_ns:
        summary["warnings"].append(NOT_USED.format("sidereal_days"))
    return columns_of(positions), summary


class Relative:
    """The relative part of one run: audit, tasks, results, choice."""

    def __init__(self, run, arcs):
        self.run, self.arcs = run, arcs
        self.names = run.campaign.settings.position.bases
        self.still = []  # bases that stand on rock, by their audit
        self.notes, self.problems = [], []

    def everything(self):
        """Return :class:`Chosen`; without bases in the settings nothing is done."""
        if not self.names:
            self.run.forget_all_but("relative", set())
            return Chosen({}, {})
        if {arc.station for arc in self.arcs} <= set(self.names):
            self.notes.append("no receiver file of a rover: nothing is worked from the bases")
            self.run.forget_all_but("relative", set())
            return Chosen({}, {}, tuple(self.notes))
        audited = {name: self.audit(name) for name in self.names}
        self.tell_common_motion()
        tasks = self.tasks({name: known for name, known in audited.items() if known is not None})
        solved = self.solve(tasks)
        files, words = {}, {}
        for task in tasks:
            if task.name in solved:
                files[task.name], words[task.name] = self.choose(task)
        count = sum(file is not None for file in files.values())
        self.notes.append(f"relative positions: {len(solved)} of {len(tasks)} arcs, {count} chosen")
        kept = {name: file for name, file in files.items() if file is not None}
        return Chosen(kept, words, tuple(self.notes), tuple(self.problems), len(solved))

    def own_arcs(self, name):
        """Return the arcs of a station."""
        return [arc for arc in self.arcs if arc.station == name]

    def table(self, arc):
        """Return the absolute positions of an arc's own day."""
        positions = self.run.load(arc)[0]
        begin, end = arc.core_ns
        inside = (positions.time_ns >= begin) & (positions.time_ns < end)
        inside &= np.isfinite(positions.position_m).all(axis=1)
        return positions.time_ns[inside], positions.position_m[inside]

    def daily(self, name):
        """Return (days (d,) [ns], medians (d, 3)) of a station's absolute positions."""
        found = [(arc.core_ns[0], self.table(arc)[1]) for arc in self.own_arcs(name)]
        found = [(time, np.median(rows, axis=0)) for time, rows in found if len(rows)]
        return np.array([t for t, _ in found], np.int64), np.array([p for _, p in found])

    def audit(self, name):
        """Return how a base is to be taken: (place (1, 3), covariance), or 'path'; None: no arcs.

        A base that jumps or moves, or of which too little is known, is worked from its own path,
        and a note says so.
        """
        days, places = self.daily(name)
        if not len(days):
            self.problems.append(f"base {name}: has no positions of its own; it cannot be a base")
            return None
        sigma_m, few = None, ""
        if len(days) < FEWEST_DAYS:
            few = f" ({len(days)} days, judged by {BLOCK_H:g} h)"
            days, places = self.blocks(name)
            sigma_m = np.tile(BLOCK_SIGMA_M, (len(days), 1))
        latitude, longitude, _ = geodetic_from_xyz(places[0])
        local = enu_from_xyz(places - places[0], latitude, longitude)
        found = audit_base(days, local, sigma_m)
        self.notes.append(f"base {name}: {found.words}{few}")
        if found.verdict != "still":
            self.notes.append(f"base {name}: its own path is used, not one place")
            return "path"
        self.still.append(name)
        return np.median(places, axis=0)[None], place_covariance(days, local, found)

    def blocks(self, name):
        """Return (times (b,) [ns], medians (b, 3)) of a station's positions by some hours."""
        tables = [self.table(arc) for arc in self.own_arcs(name)]
        time_ns, places = (np.concatenate(part) for part in zip(*tables, strict=True))
        number = time_ns // int(BLOCK_H * 3600 * NS_PER_S)
        rows = [number == n for n in np.unique(number)]
        middle = np.array([np.median(time_ns[own]) for own in rows]).astype(np.int64)
        return middle, np.array([np.median(places[own], axis=0) for own in rows])

    def tell_common_motion(self):
        """Say whether all stations move alike from day to day, the rock too."""
        stations = sorted({arc.station for arc in self.arcs})
        daily = {name: self.daily(name) for name in stations}
        days = np.unique(np.concatenate([d for d, _ in daily.values()]) // NS_PER_DAY)
        table = np.full((len(stations), len(days), 3), np.nan)
        for row, name in enumerate(stations):
            own, places = daily[name]
            if len(own):
                latitude, longitude, _ = geodetic_from_xyz(places[0])
                local = enu_from_xyz(places - places[0], latitude, longitude)
                table[row, np.searchsorted(days, own // NS_PER_DAY)] = local
        on_rock = np.array([name in self.still for name in stations])
        self.notes.append(f"common motion: {common_motion(table, on_rock).words}")

    def tasks(self, known):
        """Return a task for each kinematic arc of a rover that a base's arc overlaps."""
        tasks = []
        for arc in self.arcs:
            if arc.station in self.names:
                continue
            bases = []
            for name, place in known.items():
                for own in self.own_arcs(name):
                    if own.day == arc.day and _overlap(own, arc):
                        bases.append(self.known_base(own, place))
            if bases:
                tasks.append(RelativeTask(arc, tuple(bases)))
        return tasks

    def known_base(self, arc, place):
        """Return the :class:`KnownBase` of a base's arc: a point, or the path of its own table.

        The path is as uncertain as its own positions usually are.
        """
        if not isinstance(place, str):
            point, covariance = place
            return KnownBase(arc, (0,), _nested(point), _nested(covariance))
        positions = self.run.load(arc)[0]
        sound = np.isfinite(positions.position_m).all(axis=1)
        usual = np.median(positions.covariance_m2[sound], axis=0)
        rows = _nested(positions.position_m[sound])
        return KnownBase(arc, tuple(positions.time_ns[sound].tolist()), rows, _nested(usual))

    def solve(self, tasks):
        """Solve what is out of date; return the names of the tasks that have a result."""
        ledger = self.run.ledger
        stale = [task for task in tasks if not ledger.up_to_date(_task_name(task), task.key)]
        failed = set()
        done = run_tasks(solve_relative_arc, stale, self.run.workers)
        for count, (task, result, sentence) in enumerate(done, 1):
            if sentence:
                failed.add(task.name)
                self.problems += [f"{task.name}, relative: {s}" for s in sentence.splitlines()]
            else:
                metadata = {"summary": result[1], "version": __version__}
                files = {_file(task): parquet_bytes(result[0], UNITS, metadata)}
                ledger.finish(_task_name(task), task.key, files)
            self.run.progress(count, len(stale), f"{task.name} relative")
        sound = {task.name for task in tasks if task.name not in failed}
        self.run.forget_all_but("relative", {_task_name(t) for t in tasks if t.name in sound})
        return sound

    def choose(self, task):
        """Return (file of the relative solution or None, what the choice rests on)."""
        absolute, _ = self.run.load(task.arc)
        columns, metadata = read_table(self.run.campaign.root / _file(task))
        relative = positions_of(columns, metadata["summary"]["frame"])
        choice = choose_solution(absolute, relative, task.arc.core_ns)
        words = {**asdict(choice), "bases": metadata["summary"].get("bases", [])}
        if choice.alarm:
            self.notes.append(f"{task.name}: {choice.reason}")
        return (_file(task) if choice.solution == "relative" else None), words


def _nested(values):
    """Return an array (n, m) as nested tuples."""
    return tuple(map(tuple, values.tolist()))


def _overlap(first, second):
    return first.window_ns[0] < second.window_ns[1] and second.window_ns[0] < first.window_ns[1]


def _task_name(task):
    return f"relative/{task.name}"


def _file(task):
    return f"{RELATIVE}/{task.arc.station}/{task.name}.parquet"
