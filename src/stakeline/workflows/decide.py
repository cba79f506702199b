"""The verb decide: does the ice change speed when a lake drains? Only what is out of date."""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

import numpy as np

from .. import __version__
from ..campaign.folders import DECIDE, LEDGER, open_or_find
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.store import clean_leftovers, json_text, only_one, sha256_file, write_text
from ..errors import SettingsError
from ..report.style import svg_bytes
from .decide_figures import decide_figures
from .decide_plan import PLAN, check_plan, plan_text, planned
from .decide_power import trials_of
from .decide_record import questions
from .decide_since import made_from
from .decide_station import solve_placebo, solve_station
from .decide_tables import decide_files
from .decide_together import solve_lake, why_not
from .decide_verdict import decisions
from .decide_words import decide_text, decide_told
from .motion_results import station_results
from .pool import run_tasks
from .position import Outcome

VERDICT = "verdict.json"
FIGURES = "figures"
RECORD = "decide/decide"
MADE = "decide_first/verdict"  # that a verdict was made once; outlives the verdict
OTHERWISE = "give a campaign (stakeline decide --campaign FOLDER)"
NO_MOTION = "no motion; run 'stakeline motion' first"
REMOVED = f"the old verdict in {DECIDE}/ was removed: what it rested on is no longer there"
NO_LAKES = "no lake with results in 6-lakes; run 'stakeline lakes' first"


@dataclass(frozen=True)
class SeriesTask:
    """One station's part: ``function((part, question, index))``; ``place`` of its question."""

    place: int
    function: object
    argument: tuple
    name: str


def run(campaign=None, *, workers=1, progress=None):
    """Decide on a campaign's drainages and speeds where that is out of date.

    Parameters
    ----------
    campaign : path, optional
        Its folder; None: the campaign around the folder we stand in.
    workers : int
    progress : callable, optional
        Called as ``progress(done, total, text)``.

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        Where there is no campaign, its settings name what is not there, or another run holds it.
    """
    campaign = open_or_find(campaign, OTHERWISE)
    with only_one(campaign.folder(LEDGER) / "lock"):
        clean_leftovers(campaign.folder(DECIDE))
        ledger = Ledger(campaign.root, LEDGER)
        results = station_results(campaign)
        if not results:
            return _without(ledger, NO_MOTION)
        asked, files = questions(campaign, results)
        if not asked:
            return _without(ledger, NO_LAKES)
        inputs = [(campaign.relative(path), sha256_file(path)[1]) for path in files]
        return _decided(campaign, ledger, asked, inputs, workers, progress)


def _without(ledger, why):
    """Forget what no longer follows from any input, and say so."""
    gone = ledger.read(RECORD) is not None
    ledger.forget(RECORD)
    return Outcome("", skipped=(why, *((REMOVED,) if gone else ())))


def _decided(campaign, ledger, asked, inputs, workers, progress):
    """Return the Outcome of a run; write what is out of date."""
    part = campaign.settings.decide
    plan = _checked_plan(campaign, ledger, asked)
    left_out = [q.left_out for q in asked]
    name = campaign.settings.campaign.name
    key = fingerprint([__version__, part.model_dump(), vars(plan), inputs, left_out, name])
    where = f"in words: {DECIDE}/verdict.txt\n"
    if ledger.up_to_date(RECORD, key):
        return Outcome(where, up_to_date=(f"{len(asked)} lakes",))
    outputs, sentence, problems = solve(name, part, asked, plan, inputs, workers, progress)
    old = (ledger.read(RECORD) or {"outputs": {}})["outputs"]
    files = {f"{DECIDE}/{path}": data for path, data in outputs.items()}
    if ledger.read(MADE) is None:
        ledger.finish(MADE, "", {}, verdict_on=_now(), made_from=made_from(campaign))
    ledger.finish(RECORD, key, files)
    for gone in set(old) - set(files):
        (campaign.root / gone).unlink(missing_ok=True)
    text = f"{sentence}\n{plan.sentence}\n{where}"
    return Outcome(text, tuple(problems), (f"{len(asked)} lakes",), notes=(sentence,))


def _checked_plan(campaign, ledger, asked):
    """Return the PlanCheck of what is about to be decided."""
    stations = {q.lake: [s.station for s in q.responding] for q in asked}
    first = (ledger.read(MADE) or {}).get("made_from")
    path = campaign.folder(DECIDE) / PLAN
    return check_plan(path, campaign.settings.decide, stations, made_from(campaign), first)


def _now():
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%MZ")


def solve(name, part, asked, plan, inputs, workers=1, progress=None):
    """Return ({path: bytes} of all results, the verdict's sentence, what went wrong).

    Parameters
    ----------
    name : str
        Of the campaign.
    part : DecidePart
    asked : sequence of Question
    plan : PlanCheck
    inputs : sequence of (file, sha256)
    """
    lakes, problems = solve_questions(part, asked, workers, progress)
    every, each = decisions(part, lakes)
    files = decide_files(lakes, every, each, plan)
    files["verdict.txt"] = decide_text(name, lakes, every, each, plan).encode("utf-8")
    told = decide_told(name, lakes, every, each, plan, inputs)
    files[VERDICT] = json_text(told).encode("utf-8")
    for figure, drawn in decide_figures(part, lakes, every, each, name).items():
        files[f"{FIGURES}/{figure}.svg"] = svg_bytes(drawn)
    return files, every.sentence, problems


def solve_questions(part, asked, workers=1, progress=None):
    """Return (a LakeFound of each question, sentences about what stopped a station)."""
    tasks = []
    asked = [replace(q, trials=t) for q, t in zip(asked, trials_of(part, asked), strict=True)]
    for place, question in enumerate(asked):
        if why_not(question):
            continue
        for function, some in ((solve_station, question.responding),
                               (solve_placebo, question.placebos)):  # fmt: skip
            tasks += [
                SeriesTask(place, function, (part, question, k), f"{question.lake}: {s.station}")
                for k, s in enumerate(some)
            ]
    found, problems = {}, []
    for count, (task, result, sentence) in enumerate(run_tasks(solve_series, tasks, workers), 1):
        if sentence:
            problems.append(f"{task.name}: {sentence}")
        else:
            found[task.place, task.function.__name__, task.argument[2]] = result
        if progress:
            progress(count, len(tasks), f"{task.name} {'failed' if sentence else 'compared'}")
    lakes = []
    for place, question in enumerate(asked):
        stations = [found.get((place, "solve_station", k)) for k in range(len(question.responding))]
        placebos = [
            found.get((place, "solve_placebo", k), (np.nan, ""))
            for k in range(len(question.placebos))
        ]
        lakes.append(solve_lake(part, question, [s for s in stations if s], placebos))
    return lakes, problems


def solve_series(task):
    """Return what one station's part gives; for worker processes."""
    return task.function(task.argument)


def freeze(campaign=None, *, day):
    """Write ``7-decide/plan.toml`` from the settings; return the Outcome.

    Parameters
    ----------
    campaign : path, optional
    day : datetime.date
        The day that the plan carries; when it was written in truth stands beside it.

    Raises
    ------
    SettingsError
        Where a plan stands there already: it is frozen.
    """
    campaign = open_or_find(campaign, OTHERWISE)
    with only_one(campaign.folder(LEDGER) / "lock"):
        path = campaign.folder(DECIDE) / PLAN
        if path.exists():
            raise SettingsError(
                f"{path}: a plan is frozen already; delete it by hand to give it up"
            )
        seen = _verdict_on(campaign)
        plan = planned(campaign.settings.decide, stations_of(campaign), made_from(campaign))
        written = _now()
        write_text(path, plan_text(plan, day, written, seen))
    late = f"; a verdict was made on {seen}, and the plan says so" if seen else ""
    away = (day - date.fromisoformat(written[:10])).days
    where = "after" if away > 0 else "before"
    other = f"; the day it carries lies {abs(away)} d {where} today, and the plan says so"
    return Outcome(f"plan frozen: {DECIDE}/{PLAN}{late}{other * bool(away)}\n")


def _verdict_on(campaign):
    """Return when the first verdict was made; '' where none ever was."""
    made = Ledger(campaign.root, LEDGER).read(MADE)
    if made is not None:
        return made["verdict_on"]
    there = (campaign.folder(DECIDE) / VERDICT).exists()
    return "a day not known" if there else ""


def stations_of(campaign):
    """Return {lake: stations that may respond}; empty where there are no results yet."""
    results = station_results(campaign)
    found = questions(campaign, results)[0] if results else ()
    return {q.lake: [s.station for s in q.responding] for q in found}
