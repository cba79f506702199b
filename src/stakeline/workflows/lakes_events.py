"""The first part of the verb lakes: events and volumes of each lake, then of all together."""

from dataclasses import dataclass

import numpy as np

from .. import __version__
from ..campaign.folders import LAKES
from ..campaign.ledger import fingerprint
from ..campaign.store import sha256_file
from ..constants import NS_PER_DAY
from ..errors import SettingsError
from ..lakes.combined import LEAST_ROWS
from ..lakes.events import EventSettings
from ..lakes.volume import MEASURED
from .lakes_ground import ice_thickness, lake_outlines, measured_pattern
from .lakes_input import station_up, step_notes
from .lakes_parts import file_name, settle
from .lakes_places import CONTROL, OVER, roles, tracks
from .lakes_results import lake_result
from .lakes_reviews import reviewed
from .lakes_solve import LakeChoice, LakeProblem, solve
from .lakes_tables import lake_files
from .lakes_together import RECORDS
from .lakes_words import lake_summary
from .motion_results import station_results
from .position import Outcome

NO_OUTLINE = (
    "no outline of a lake in maps/*.geojson; lay one there (a polygon with a name, RFC 7946)"
)
NO_MOTION = "no motion; run 'stakeline motion' first"


@dataclass(frozen=True)
class LakeTask:
    """One lake's task: its folder's ``name``, ``key`` of all it follows from, the problem."""

    name: str
    key: str
    problem: LakeProblem
    facts: dict


def events_part(doing):
    """Work out events and volumes of the lakes that are out of date; return the Outcome."""
    campaign = doing.campaign
    ground = lake_outlines(campaign)
    if not ground.lakes:
        return Outcome("", skipped=(*ground.unread, NO_OUTLINE))
    _check_names(campaign, ground, doing.lakes)
    results = {r.station: r for r in station_results(campaign)}
    if not results:
        return Outcome("", skipped=(NO_MOTION,))
    desk = _Desk(doing, ground, results)
    done, current, problems = [], [], []
    order = _waves(campaign, ground.lakes)
    every = {file_name(lake) for wave in order for lake in wave}
    for wave in order:
        asked = [lake for lake in wave if doing.wants(lake)]
        tasks = [task for lake in asked if (task := desk.task(lake)) is not None]
        others = every - {file_name(lake) for lake in asked}
        said = settle(doing, RECORDS, solve_lake, tasks, keep=others)
        done += said.done
        current += said.current
        problems += said.problems
    return _outcome(done, current, problems, desk.skipped)


def _outcome(done, current, problems, skipped):
    """Return the Outcome, in words and in parts."""
    text = f"lakes: {len(current)} up to date, {len(done)} worked out, {len(problems)} failed\n"
    text += "".join(f"skipped: {sentence}\n" for sentence in skipped)
    text += f"in words: {LAKES}/summary.txt\n" if done or current else ""
    return Outcome(
        text,
        tuple(problems),
        (f"{len(done)} lakes",) * bool(done),
        (f"{len(current)} lakes",) * bool(current),
        tuple(skipped),
    )


def _check_names(campaign, ground, wanted):
    """Refuse lakes that no outline has; SettingsError lists those there are."""
    known = ", ".join(ground.lakes)
    part_ = campaign.settings.lakes
    named = [("--lake", name) for name in wanted]
    named += [("campaign.toml: [[lakes.lake]]", lake.name) for lake in part_.lake]
    named += [("campaign.toml: below", lake.below) for lake in part_.lake if lake.below]
    named += [("campaign.toml: [[lakes.review]]", review.lake) for review in part_.review]
    for where, name in named:
        if name not in ground.lakes:
            raise SettingsError(f"{where}: there is no lake '{name}'; outlines are of {known}")


def _waves(campaign, lakes):
    """Return lists of lakes, each after the lake whose water it gets.

    Raises SettingsError where lakes lie below each other in a ring.
    """
    below = {lake: campaign.settings.lakes.of(lake).below for lake in lakes}
    waves, placed = [], {""}
    while len(placed) <= len(below):
        wave = [lake for lake, above in below.items() if lake not in placed and above in placed]
        if not wave:
            ring = ", ".join(lake for lake in below if lake not in placed)
            raise SettingsError(f"campaign.toml: lakes {ring} lie below each other in a ring")
        waves.append(wave)
        placed |= set(wave)
    return waves


class _Desk:
    """What tasks are made from: outlines, motion, where stations were."""

    def __init__(self, doing, ground, results):
        self.doing, self.campaign, self.ground, self.results = (
            doing,
            doing.campaign,
            ground,
            results,
        )
        self.tracks = tracks(self.campaign, list(results), ground.epsg)
        self.skipped = list(ground.unread)

    def task(self, lake):
        """Return the :class:`LakeTask` of a lake; None, and a sentence, where it has none."""
        variants = self.ground.lakes[lake]
        every = [one for own in self.ground.lakes.values() for one in own]
        found = roles(self.campaign, lake, variants[0], every, self.tracks, self.results)
        over = [one.station for one in found if one.role == OVER]
        used = [one for one in found if one.role in (OVER, CONTROL)]
        if not over:
            near = ", ".join(f"{r.station} ({r.words})" for r in found[:2])
            self.skipped.append(f"{lake}: no station stands over it; nearest are {near}")
            return None
        stations = tuple(
            station_up(self.results[r.station], control=r.role == CONTROL) for r in used
        )
        if _means(stations) < LEAST_ROWS:
            self.skipped.append(
                f"{lake}: {_means(stations)} means of {_step_h():g} h over it; events need "
                f"{LEAST_ROWS}"
            )
            return None
        thickness, why = _thickness(self.campaign, variants[0])
        feeders, fed = self.feeders(lake)
        choice = _choice(self.campaign.settings.lakes, lake)
        pattern, lost = _pattern(self.campaign, lake, choice)
        problem = LakeProblem(
            lake, stations, {n: self.tracks[n] for n in over}, variants, thickness, why,
            choice, feeders, pattern, lost,
        )  # fmt: skip
        facts = self.facts(found, fed, used)
        told = [(r.station, r.role, r.words) for r in found]
        key = fingerprint([
            __version__, vars(problem.choice), thickness and vars(thickness), why, told, facts,
            pattern,
        ])  # fmt: skip
        return LakeTask(file_name(lake), key, problem, facts)

    def facts(self, found, fed, used):
        """Return what the summary tells of a lake's input; all of it is part of the key."""
        results = [self.results[r.station] for r in used]
        files = [path for result in results for path in result.files]
        return {
            "roles": [vars(one) for one in found],
            "step_notes": list(step_notes(results)),
            "fed_by": fed,
            "epsg": self.ground.epsg,
            "controls_within_km": self.campaign.settings.lakes.controls_within_km,
            "outline_notes": list(self.ground.notes),
            "inputs": [
                *(list(pair) for pair in self.ground.files),
                *([self.campaign.relative(path), sha256_file(path)[1]] for path in files),
            ],
        }

    def feeders(self, lake):
        """Return (drainings of the lake above, what is told of them)."""
        above = self.campaign.settings.lakes.of(lake).below
        if not above:
            return (), []
        result = lake_result(self.campaign, file_name(above))
        if result is None:
            self.skipped.append(f"{lake}: of {above} above it nothing is known; taken as not fed")
            return (), []
        said = reviewed(result.told["events"], self.campaign.settings.lakes.review).events
        kept = {e["event"] for e in said if e["kind"] == "drain" and e["status"] != "rejected"}
        pairs = zip(result.events(), result.told["events"], strict=True)
        record = self.doing.ledger.read(f"{RECORDS}/{file_name(above)}") or {"key": ""}
        return (
            tuple(event for event, told in pairs if told["event"] in kept),
            [record["key"], *sorted(kept)],
        )


def _means(stations):
    """Return the number of means that the stations over a lake give together."""
    step_ns = round(_step_h() * NS_PER_DAY / 24.0)
    rows = [s.time_ns[np.isfinite(s.up_m)] // step_ns for s in stations if not s.control]
    return len(np.unique(np.concatenate(rows)))


def _step_h():
    return EventSettings().step_h


def _thickness(campaign, outline):
    """Return (Thickness or None, why it is not known)."""
    try:
        return ice_thickness(campaign, outline), ""
    except SettingsError as problem:
        return None, str(problem)


def _pattern(campaign, lake, choice):
    """Return (measured pattern where the shape asks for it, why there is none)."""
    if choice.shape != MEASURED:
        return {}, ""
    try:
        return measured_pattern(campaign, lake), ""
    except SettingsError as problem:
        return {}, str(problem)


def _choice(part_, lake):
    names = LakeChoice.__dataclass_fields__
    return LakeChoice(**{name: part_.chosen(lake, name) for name in names})


def solve_lake(task):
    """Return {path: bytes} of one lake; for worker processes."""
    solution = solve(task.problem)
    told = lake_summary(task.name, task.problem, solution, task.facts)
    files = lake_files(task.name, task.problem, solution, told)
    return {f"{LAKES}/{path}": data for path, data in files.items()}
