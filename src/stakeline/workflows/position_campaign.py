"""Positions of a whole campaign: by station and day, in arcs, only what is out of date."""

from datetime import date, timedelta

from .. import __version__
from ..campaign.folders import LEDGER, POSITION, STATIONS, open_or_find
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.store import clean_leftovers, json_text, only_one, parquet_bytes, read_table
from ..errors import StakelineError
from ..time import from_iso
from .arcs import NS_PER_H, plan_arcs, solve_arc
from .blending import blended
from .costs import cost_words
from .intake import take_in
from .midnights import TASK as MIDNIGHTS
from .midnights import midnight_between, write_midnights
from .pool import run_tasks
from .position import Outcome
from .position_choice import with_heights_of
from .position_relative import Chosen, Relative
from .position_tables import import_tables
from .product_index import scan
from .series import UNITS, columns_of, joined, metadata_of, positions_of
from .snow import day_bytes, write_snow

ARCS = f"{POSITION}/arcs"
SET_ASIDE = "raw files cannot be used; 'stakeline intake' says which and why"


def run(campaign=None, *, workers=1, progress=None):
    """Position every station and day of a campaign that is not up to date.

    Parameters
    ----------
    campaign : path, optional
        Its folder; None: the campaign around the folder we stand in.
    workers : int
    progress : callable, optional

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        Where there is no campaign, its files say something impossible, or another run holds it.
    """
    campaign = open_or_find(
        campaign, "give observation files (stakeline position OBS... --out FILE.csv)"
    )
    with only_one(campaign.folder(LEDGER) / "lock"):
        clean_leftovers(campaign.root)
        return _Run(campaign, workers, progress).everything()


class _Run:
    """One run: its campaign, its ledger and what went wrong so far."""

    def __init__(self, campaign, workers, progress):
        self.campaign, self.workers = campaign, workers
        self.progress = progress or (lambda done, total, text: None)
        self.ledger = Ledger(campaign.root, LEDGER)
        self.problems, self.costs, self.chosen = [], [], Chosen({}, {})
        self.midnights = ()

    def everything(self):
        """Take in, plan, solve, blend, take finished positions along; return the Outcome."""
        arcs = self.plan()
        stale = [arc for arc in arcs if not self.ledger.up_to_date(_arc_task(arc), arc.key)]
        failed = self.solve(stale)
        sound = [arc for arc in arcs if arc.name not in failed]
        self.forget_all_but("arcs", {_arc_task(arc) for arc in sound})
        self.chosen = Relative(self, sound).everything()
        self.problems += self.chosen.problems
        days, written = self.write_days(sound)
        self.midnights = write_midnights(self.campaign, self.ledger)
        snow = self.write_snow(sound)
        tables = import_tables(self.campaign, self.ledger, self.progress)
        self.problems += tables.problems
        counts = (len(arcs), len(arcs) - len(stale), len(stale) - len(failed), len(failed))
        return self.outcome(counts, (days, written), snow, tables)

    def outcome(self, arcs, days, snow, tables):
        """Return the Outcome; arcs: all, current, solved, failed; days: all, written."""
        lines = ["{} arcs: {} up to date, {} solved, {} failed".format(*arcs)]
        if self.costs:
            lines.append(cost_words(self.costs))
        lines.append(f"{days[0]} station-days in {POSITION}/")
        if tables.count:
            lines.append(
                f"positions of tables: {len(tables.done)} taken in, {len(tables.current)} up to "
                f"date, {len(tables.problems)} failed"
            )
        notes = (*self.chosen.notes, *tables.notes, *self.midnights, *snow.notes)
        lines += [f"note: {note}" for note in notes]
        done = ((arcs[2], "arcs solved"), (days[1], "station-days written"))
        done += ((len(tables.done), "stations' positions taken from tables"),)
        current = ((arcs[1], "arcs"), (days[0] - days[1], "station-days"))
        current += ((len(tables.current), "stations' positions of tables"),)
        told = [sentence for sentence in self.problems if not sentence.endswith(SET_ASIDE)]
        nothing = not (arcs[0] or tables.count or told)
        return Outcome(
            "\n".join(lines) + "\n",
            tuple(self.problems),
            tuple(f"{count} {what}" for count, what in done if count),
            tuple(f"{count} {what}" for count, what in current if count),
            ("no usable receiver file and no table of positions",) if nothing else (),
            notes,
        )

    def plan(self):
        """Return the arcs of all stations; a station that cannot be planned is a problem."""
        index = scan(self.campaign)
        histories = self.campaign.histories()
        report = take_in(self.campaign, self.workers, self.progress)
        if report.set_aside:
            self.problems.append(f"{len(report.set_aside)} {SET_ASIDE}")
        arcs = []
        for part in self.campaign.settings.station:
            own = [f for f in report.files if f.station == part.name and f.usable]
            if not own:
                continue
            if part.name not in histories:
                self.problems.append(
                    f"{part.name}: {STATIONS}/{part.name}.toml is missing; it is the only source "
                    "of antenna heights"
                )
                continue
            try:
                arcs += plan_arcs(self.campaign, own, histories[part.name], index)
            except StakelineError as problem:
                self.problems.append(f"{part.name}: {problem}")
        return arcs

    def solve(self, arcs):
        """Solve arcs and store them; return the names of those that failed.

        Day by day: stations share a day's products, which each process reads once.
        """
        failed = set()
        arcs = sorted(arcs, key=lambda arc: (arc.day, arc.station, arc.part))
        for done, (arc, result, sentence) in enumerate(run_tasks(solve_arc, arcs, self.workers), 1):
            if sentence:
                failed.add(arc.name)
                self.problems += [f"{arc.name}: {line}" for line in sentence.splitlines()]
            else:
                self.store_arc(arc, *result)
            self.progress(done, len(arcs), f"{arc.name} {'failed' if sentence else 'solved'}")
        return failed

    def store_arc(self, arc, columns, summary, cost, snow):
        """Write one arc's table, its summary inside, its height above the snow, and its record."""
        metadata = {"summary": summary, "inputs": _inputs(arc), "version": __version__}
        data = parquet_bytes(columns, UNITS, metadata)
        files = {_arc_file(arc): data, _snow_file(arc): day_bytes(snow)}
        self.ledger.finish(_arc_task(arc), arc.key, files, inputs=arc.inputs, **cost)
        self.costs.append(cost)

    def write_days(self, arcs):
        """Blend arcs to days, store those out of date; return how many there are, and were."""
        by_day = {}
        for arc in arcs:
            by_day.setdefault((arc.station, arc.day), []).append(arc)
        wanted, written = set(), 0
        for (station, day), own in sorted(by_day.items()):
            task = f"days/{station}_{day}"
            wanted.add(task)
            near = [arc for other in _near(day) for arc in by_day.get((station, other), [])]
            margin_h = self.campaign.settings.position.margin_h
            records = [self.ledger.read(_arc_task(arc)) for arc in (*own, *near)]
            parts = [__version__, margin_h, [r["outputs"] for r in records], MIDNIGHTS]
            parts += [self.relative_outputs(arc) for arc in (*own, *near)]
            key = fingerprint([part for part in parts if part])
            if not self.ledger.up_to_date(task, key):
                self.ledger.finish(task, key, self.day_files(station, day, own, near))
                written += 1
        self.forget_all_but("days", wanted)
        return len(wanted), written

    def write_snow(self, arcs):
        """Write heights above the snow of all stations, where out of date."""
        days = {}
        for arc in sorted(arcs, key=lambda arc: (arc.station, arc.window_ns)):
            days.setdefault(arc.station, []).append(_snow_file(arc))
        return write_snow(self.campaign, self.ledger, days, self.campaign.histories())

    def day_files(self, station, day, own, near):
        """Return {name: bytes} of the table and summary of one station-day."""
        ramp_ns = int(self.campaign.settings.position.margin_h * NS_PER_H / 2)
        begins_ns = from_iso(day)
        pieces, summaries, midnight = [], [], None
        for arc in own:
            positions, metadata = self.load(arc)
            words = self.chosen.words.get(arc.name)
            said = {"absolute or relative": words} if words else {}
            summaries.append(metadata["summary"] | said)
            if arc.settings.mode == "kinematic":
                sides = [self.neighbour(arc, near, before) for before in (True, False)]
                if sides[0] is not None and midnight is None:
                    midnight = midnight_between(sides[0], positions, begins_ns, ramp_ns)
                positions = blended(positions, (begins_ns, *sides), ramp_ns)
            pieces.append(positions)
        inputs = [item for arc in own for item in _inputs(arc)]
        unique = list({item["file"]: item for item in inputs}.values())
        settings = {"arcs": [summary_settings(arc) for arc in own], "ramp_h": ramp_ns / NS_PER_H}
        metadata = metadata_of(pieces, unique, settings)
        columns = joined([columns_of(positions) for positions in pieces])
        stem = f"{POSITION}/{station}/{station}_{day}"
        summary = {**metadata, "station": station, "day_gps": day, "arcs": summaries}
        summary |= {"midnight": midnight} if midnight else {}
        return {
            f"{stem}.parquet": parquet_bytes(columns, UNITS, metadata),
            f"{stem}.json": json_text(summary).encode("utf-8"),
        }

    def neighbour(self, arc, near, before):
        """Return the positions of the arc that touches this one at midnight; None without one."""
        for other in near:
            earlier = other.day < arc.day
            overlap = (
                other.window_ns[0] < arc.window_ns[1] and arc.window_ns[0] < other.window_ns[1]
            )
            if earlier == before and overlap:
                return self.load(other)[0]
        return None

    def relative_outputs(self, arc):
        """Return what the choice for an arc depends on; nothing where it is as without bases."""
        if arc.name not in self.chosen.words:
            return []
        record = self.ledger.read(f"relative/{arc.name}")
        heights = self.campaign.settings.position.relative_heights
        return [arc.name in self.chosen.files, record["outputs"], heights]

    def load(self, arc):
        """Return (Positions, metadata) of a stored arc: the relative solution where chosen.

        Its heights stay those of the absolute one unless the settings ask for the others.
        """
        absolute = self.stored(_arc_file(arc))
        name = self.chosen.files.get(arc.name)
        if name is None:
            return absolute
        relative, metadata = self.stored(name)
        if self.campaign.settings.position.relative_heights:
            return relative, metadata
        return with_heights_of(relative, absolute[0]), metadata

    def stored(self, name):
        """Return (Positions, metadata) of a file."""
        columns, metadata = read_table(self.campaign.root / name)
        return positions_of(columns, metadata["summary"]["frame"]), metadata

    def forget_all_but(self, prefix, wanted):
        """Drop results that no longer follow from any input."""
        for task in self.ledger.tasks(prefix):
            if task not in wanted:
                self.ledger.forget(task)


def summary_settings(arc):
    """Return the settings of an arc and its window, as kept with results."""
    return {"name": arc.name, "window_ns": list(arc.window_ns), **vars(arc.settings)}


def _near(day):
    middle = date.fromisoformat(day)
    return str(middle - timedelta(1)), str(middle + timedelta(1))


def _arc_task(arc):
    return f"arcs/{arc.name}"


def _arc_file(arc):
    return f"{ARCS}/{arc.station}/{arc.name}.parquet"


def _snow_file(arc):
    return f"{ARCS}/{arc.station}/{arc.name}_snow.json"


def _inputs(arc):
    return [{"role": role, "file": name, "sha256": checksum} for role, name, checksum in arc.inputs]
