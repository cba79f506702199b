"""The verb plan: will a station live, stand, stay above the snow and fit the aircraft."""

from dataclasses import dataclass, replace
from pathlib import Path

from .. import __version__
from ..campaign.folders import (
    LEDGER,
    MOTION,
    PLAN,
    PLANS,
    STATIONS,
    Campaign,
    find_campaign,
    open_campaign,
)
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.store import clean_leftovers, only_one, sha256_file, write_bytes
from ..errors import SettingsError, StakelineError
from .lakes_parts import settle
from .motion_ground import grid_files, outline_files
from .plan_description import describe_station
from .plan_figures import figures_of, year_bands
from .plan_places import place_of
from .plan_sheet import sheet
from .plan_sight import sight_files
from .plan_sky import orbits_in
from .plan_station import plan_station
from .plan_tables import tables_of
from .plan_together import placement_files, together
from .plan_words import page
from .position import Outcome
from .product_index import scan

STATION_RECORDS, ALL_RECORDS = "plan", "plan-all"
EACH, TOGETHER = "each", "together"  # parts of the verb
SKY_KINDS = ("sp3", "navigation")
FEW = 2  # stations whose pages are shown whole, and for which no worker processes are started
PAGE, VERDICT, SHEET = "page.txt", "verdict.txt", "sheet.pdf"


@dataclass(frozen=True)
class PlanRun:
    """One run of the verb; the caller holds the campaign's lock."""

    campaign: Campaign
    ledger: Ledger
    workers: int = 1
    progress: object = None

    def said(self, done, total, text):
        """Show how far the run is."""
        if self.progress:
            self.progress(done, total, text)


@dataclass(frozen=True)
class StationTask:
    """All that the plan of one station follows from."""

    name: str
    key: str
    root: str
    path: str
    sky: object
    inputs: tuple


@dataclass(frozen=True)
class TogetherTask:
    """All that concerns the stations together follows from."""

    name: str
    key: str
    root: str
    paths: tuple
    entries: tuple


def run(targets=(), *, campaign=None, out=None, workers=1, progress=None):
    """Plan the stations of a campaign, or of single station files.

    Parameters
    ----------
    targets : sequence of path
        Station files, or one folder of a campaign; none: the campaign around the folder we stand
        in. A file in a campaign's ``plans`` is planned there.
    campaign : path, optional
        Its folder.
    out : path, optional
        Folder for files that belong to no campaign; without it they are shown only.
    workers : int
    progress : callable, optional
        Called as ``progress(done, total, text)``.

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        For a file or campaign that is not there, or says something impossible, with its line.
    """
    targets = [Path(one) for one in targets]
    folders = [one for one in targets if one.is_dir()]
    files = [one for one in targets if not one.is_dir()]
    if folders and (files or campaign or len(folders) > 1):
        raise SettingsError("give station files, or the folder of one campaign, not both")
    if folders:
        campaign = folders[0]
    if files and campaign is None:
        inside = [_campaign_of(path) for path in files]
        if any(one is None for one in inside) or len({one.root for one in inside}) > 1:
            return single_files(files, out, progress)
        return run_campaign(inside[0].root, files=files, workers=workers, progress=progress)
    if out is not None:
        raise SettingsError("--out is for station files outside of a campaign")
    return run_campaign(campaign, files=files, workers=workers, progress=progress)


def _campaign_of(path):
    """Return the campaign in whose ``plans`` a file lies; None where it lies in none."""
    if path.resolve().parent.name != PLANS:
        return None
    found = find_campaign(path.resolve().parent.parent)
    return found if found and found.folder(PLANS).resolve() == path.resolve().parent else None


def single_files(files, out=None, progress=None):
    """Plan station files that belong to no campaign; write to ``out`` where it is given."""
    done, pages, problems = [], [], []
    for count, path in enumerate(files):
        if progress:
            progress(count, len(files), path.name)
        try:
            plan = plan_station(describe_station(path))
            if out is not None:
                for name, data in station_files(plan, {path.name: sha256_file(path)[1]}).items():
                    write_bytes(Path(out) / plan.name / name, data)
            pages.append(page(plan, whole=out is None))
            done.append(plan.name)
        except SettingsError:
            if len(files) == 1:
                raise
            problems += _sentences(path)
    text = "\n".join(pages)
    if out is not None and done:
        text += f"\nwritten to {out}: {', '.join(done)}\n"
    return Outcome(text, tuple(problems), tuple(done))


def _sentences(path):
    """Return why a station file cannot be planned."""
    try:
        describe_station(path)
    except StakelineError as problem:
        return str(problem).splitlines()
    return [f"{path}: cannot be planned"]


def station_files(plan, inputs):
    """Return {file name: bytes} of everything about one station."""
    bands = year_bands(plan)
    return {
        PAGE: page(plan, whole=False).encode("utf-8"),
        VERDICT: page(plan).encode("utf-8"),
        SHEET: sheet(plan, bands),
        **figures_of(plan, bands),
        **tables_of(plan, bands, inputs),
    }


def run_campaign(campaign=None, *, files=(), workers=1, progress=None, parts=(EACH, TOGETHER)):
    """Plan what is out of date of a campaign's stations.

    Parameters
    ----------
    campaign : path, optional
        None: the campaign around the folder we stand in.
    files : sequence of path
        Only these of its station files; all where none is named.
    workers : int
    progress : callable, optional
    parts : sequence of str
        ``EACH``: each station for itself; ``TOGETHER``: what concerns all.
    """
    opened = open_campaign(campaign) if campaign else find_campaign(Path.cwd())
    if opened is None:
        raise SettingsError(
            "give a station file or a campaign (stakeline plan FOLDER), or stand in the folder of "
            "a campaign"
        )
    every = sorted(opened.folder(PLANS).glob("*.toml"))
    if not every:
        sentence = f"there is no station file in {PLANS}"
        return Outcome(f"{sentence}; 'stakeline new' shows an example\n", skipped=(sentence,))
    names = {path.resolve() for path in files}
    with only_one(opened.folder(LEDGER) / "lock"):
        clean_leftovers(opened.folder(PLAN))
        doing = PlanRun(opened, Ledger(opened.root, LEDGER), workers, progress)
        return _planned(doing, every, names, parts)


def _planned(doing, every, wanted, parts):
    readable, problems = _readable(every)
    asked = [path for path in readable if not wanted or path.resolve() in wanted]
    entries = scan(doing.campaign)
    done, current, failed = (), (), ()
    if EACH in parts:
        each = _each(doing, every, asked, entries)
        failed = each.failed
        problems += each.problems
        done += _counted(each.done)
        current += _counted(each.current)
    if TOGETHER in parts and readable:
        task = _together_task(doing.campaign, readable, entries)
        both = settle(doing, ALL_RECORDS, solve_together, [task], "put together")
        problems += both.problems
        done += ("all together",) * len(both.done)
        current += ("all together",) * len(both.current)
    return Outcome(_text(doing.campaign, asked, failed), tuple(problems), done, current)


def _counted(names):
    plural = "s" if len(names) != 1 else ""
    return (f"{len(names)} station{plural}",) if names else ()


def _each(doing, every, asked, entries):
    """Plan the stations asked for; return what was settled."""
    tasks = [_station_task(doing.campaign, path, sky_of(entries)) for path in asked]
    keep = [path.stem for path in every if path not in asked]
    few = replace(doing, workers=doing.workers if len(tasks) > FEW else 1)
    return settle(few, STATION_RECORDS, solve_station, tasks, "planned", keep)


def sky_of(entries):
    """Return the product that the sky of a plan comes from, the best there is; None without one."""
    return next((e for kind in SKY_KINDS for e in entries if e.kind == kind), None)


def _readable(paths):
    """Return (paths that describe a station, sentences about the others)."""
    good, problems, names = [], [], {}
    for path in paths:
        try:
            name = describe_station(path).name
        except SettingsError as problem:
            problems += str(problem).splitlines()
            continue
        if name != path.stem:
            problems.append(f"{path}: names station {name}; give the file its name, {name}.toml")
            continue
        names[name] = path
        good.append(path)
    return good, problems


def _station_task(campaign, path, sky):
    description = describe_station(path)
    inputs = [(campaign.relative(path), sha256_file(path)[1])]
    if description.settings.weather.file:
        weather = path.parent / description.settings.weather.file
        inputs.append((campaign.relative(weather), sha256_file(weather)[1]))
    if sky is not None:
        inputs.append((sky.path, sky.sha256))
    key = fingerprint([__version__, inputs])
    return StationTask(path.stem, key, str(campaign.root), str(path), sky, tuple(inputs))


def solve_station(task):
    """Return {path below the campaign: bytes} of one station; for worker processes."""
    plan = campaign_plan(open_campaign(task.root), Path(task.path), task.sky)
    files = station_files(plan, dict(task.inputs))
    return {f"{PLAN}/{task.name}/{name}": data for name, data in files.items()}


def campaign_plan(campaign, path, sky):
    """Return the StationPlan of a campaign's station file under the ``sky`` of a product, or None.

    Raises
    ------
    SettingsError
        For a file that is not there or says something impossible.
    """
    description = describe_station(path)
    orbits = None if sky is None else orbits_in(campaign, [sky])
    return plan_station(description, orbits=orbits, place=place_of(description))


def _together_task(campaign, paths, entries):
    motion = sorted(campaign.folder(MOTION).glob("*/*_motion.parquet"))
    read = (*paths, *motion, *placement_files(campaign), *sight_files(campaign),
            *sorted(campaign.folder(STATIONS).glob("*.toml")))  # fmt: skip
    told = [(campaign.relative(path), sha256_file(path)[1]) for path in read]
    told += [(entry.path, entry.sha256) for entry in entries]
    told += [path.name for path in (*grid_files(campaign), *outline_files(campaign))]
    settings = campaign.settings
    asked = [settings.lakes.routes.model_dump(), settings.network.model_dump()]
    key = fingerprint([__version__, told, asked, settings.campaign.name])
    return TogetherTask(
        TOGETHER, key, str(campaign.root), tuple(str(path) for path in paths), tuple(entries)
    )


def solve_together(task):
    """Return {path below the campaign: bytes} of what concerns all stations."""
    descriptions = [describe_station(Path(path)) for path in task.paths]
    return together(open_campaign(task.root), descriptions, task.entries)


def _text(campaign, paths, failed):
    """Return the pages of few stations, or a line for each of many."""
    lines = []
    for path in paths:
        folder = campaign.folder(PLAN) / path.stem
        if path.stem in failed or not (folder / PAGE).is_file():
            continue
        text = (folder / PAGE).read_text(encoding="utf-8")
        lines.append(text if len(paths) <= FEW else "  ".join(text.splitlines()[:2]) + "\n")
    if lines:
        lines.append(
            f"\nsheets, tables and figures: {PLAN}/NAME; all together: {PLAN}/network.txt\n"
        )
    return "".join(lines)
