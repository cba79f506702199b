"""All verbs that exist, in the order of the work; each does only what is out of date."""

import time
from dataclasses import dataclass

from ..campaign.folders import LEDGER, open_campaign
from ..campaign.store import only_one, write_text
from . import decide, intake, lakes, motion, plan, position_campaign
from .pool import guarded

SUMMARY_FILE = "run.txt"
LISTED = 30  # sentences of one kind that a summary holds; more are counted


@dataclass(frozen=True)
class VerbReport:
    """What one verb did, left as it was, could not do, passed over and remarks; in sentences."""

    done: tuple = ()
    up_to_date: tuple = ()
    failed: tuple = ()
    skipped: tuple = ()
    notes: tuple = ()


@dataclass(frozen=True)
class Step:
    """One verb's part of a run.

    ``function(root, workers=..., progress=...)`` returns a :class:`VerbReport`. A verb whose input
    is missing returns one whose ``skipped`` says why; None is not told at all.
    """

    name: str
    function: object


@dataclass(frozen=True)
class RunReport:
    """What a run did: (verb, report, seconds) in order, and all of it in words."""

    campaign: str
    verbs: tuple

    @property
    def failed(self):
        """Return all that failed, each sentence after its verb."""
        return tuple(f"{verb}: {line}" for verb, said, _ in self.verbs for line in said.failed)

    def text(self, with_seconds=True):
        """Return the summary; seconds differ from run to run and stay out of files."""
        lines = [f"{self.campaign}: {', '.join(verb for verb, *_ in self.verbs)}"]
        for verb, said, seconds in self.verbs:
            lines.append(f"{verb} ({seconds:.1f} s)" if with_seconds else verb)
            lines += _counted("done", said.done) + _counted("up to date", said.up_to_date)
            lines += _listed("failed", said.failed) + _listed("skipped", said.skipped)
            lines += [f"  note: {note}" for note in said.notes]
        return "\n".join([*lines, self.verdict]) + "\n"

    @property
    def verdict(self):
        """Return the last line: what a person has to know."""
        failed = len(self.failed)
        if failed:
            return f"{failed} failed; the rest is done. What failed is tried again by the next run"
        done = any(said.done for _, said, _ in self.verbs)
        return "all is done" if done else "all is up to date"


def run(campaign, *, workers=1, progress=None, steps=None):
    """Run all verbs on a campaign; write ``run.txt``; return a :class:`RunReport`.

    Parameters
    ----------
    campaign : path
    workers : int or str
        Processes, or the address of a cluster's scheduler.
    progress : callable, optional
        Called as ``progress(done, total, text)``.
    steps : sequence of Step, optional
        :data:`STEPS` where not given.

    Raises
    ------
    SettingsError
        Where there is no campaign, its settings are impossible, or another run holds it. Whatever
        else goes wrong is in the report and stops nothing.
    """
    steps = STEPS if steps is None else steps
    opened = open_campaign(campaign)
    opened.histories()
    with only_one(opened.folder(LEDGER) / "lock"):
        pass  # each verb takes the lock for itself; whoever holds it now is told at once
    verbs = []
    for count, step in enumerate(steps):
        if progress:
            progress(count, len(steps), step.name)
        begin = time.perf_counter()
        task = (
            step,
            opened.root,
            workers,
            _named(progress, f"{step.name} {count + 1}/{len(steps)}"),
        )
        said, sentence = guarded(_work, task)
        if sentence:
            said = VerbReport(failed=tuple(sentence.splitlines()))
        if said is None:
            continue
        verbs.append((step.name, said, time.perf_counter() - begin))
    if progress:
        progress(len(steps), len(steps), "done")
    report = RunReport(opened.settings.campaign.name, tuple(verbs))
    write_text(opened.root / SUMMARY_FILE, report.text(with_seconds=False))
    return report


def _work(task):
    step, root, workers, progress = task
    return step.function(root, workers=workers, progress=progress)


def _named(progress, name):
    """Return a progress function that puts the verb before each item."""

    def show(done, total, text):
        if progress:
            progress(done, total, f"{name}: {text}")

    return show


def _counted(title, sentences):
    return [f"  {title}: {', '.join(sentences)}"] if sentences else []


def _listed(title, sentences):
    if not sentences:
        return []
    lines = [f"  {title}: {len(sentences)}", *(f"    {line}" for line in sentences[:LISTED])]
    more = len(sentences) - LISTED
    return [*lines, f"    and {more} more"] if more > 0 else lines


def _plan(root, *, workers, progress):
    """Plan the stations, each for itself: nothing of it follows from what was measured."""
    said = plan.run_campaign(root, workers=workers, progress=progress, parts=(plan.EACH,))
    return VerbReport(said.done, said.up_to_date, said.problems, said.skipped)


def _plan_together(root, *, workers, progress):
    """Work out what concerns all stations: it follows from their motion, so it comes last."""
    said = plan.run_campaign(root, workers=workers, progress=progress, parts=(plan.TOGETHER,))
    if said.skipped:
        return None  # the first step has told why
    return VerbReport(said.done, said.up_to_date, said.problems)


def _intake(root, *, workers, progress):
    """Take in raw files; those set aside have failed, those that wait or repeat are skipped."""
    said = intake.run(root, workers=workers, progress=progress)
    if not said.files:
        return VerbReport(skipped=("there is no file in 0-raw",))
    current = len(said.files) - said.examined
    return VerbReport(
        done=(f"{said.examined} files examined",) if said.examined else (),
        up_to_date=(f"{current} files",) if current else (),
        failed=tuple(f"{file.raw.path}: {file.raw.reason}" for file in said.set_aside),
        skipped=tuple(f"{file.raw.path}: {why}" for file in said.files if (why := _why(file))),
        notes=_remarks(said.files),
    )


def _remarks(files):
    """Return a sentence on how many files have remarks, and where these stand."""
    count = sum(bool(file.raw.warnings or file.mismatches) for file in files)
    return (f"files with remarks: {count}; see {intake.INTAKE}/summary.txt",) if count else ()


def _why(file):
    """Return why a sound file of observations is not used; '' where it is, or is no such file."""
    if file.raw.reason:
        return ""
    if file.same_as:
        return f"the same content as {file.same_as}"
    if file.raw.kind not in intake.OBSERVATION_KINDS or file.usable:
        return "" if file.raw.kind != "unknown" else "its kind is not known"
    if file.proposal_weeks:
        return f"its date is wrong; accept {intake.INTAKE}/proposals.toml in campaign.toml"
    return file.suspicion or "of no station; name it in campaign.toml or use its folder"


def _position(root, *, workers, progress):
    said = position_campaign.run(root, workers=workers, progress=progress)
    intakes = position_campaign.SET_ASIDE  # what intake has told already
    failed = tuple(sentence for sentence in said.problems if not sentence.endswith(intakes))
    return VerbReport(said.done, said.up_to_date, failed, said.skipped, said.notes)


def _motion(root, *, workers, progress):
    said = motion.run(root, workers=workers, progress=progress)
    return VerbReport(said.done, said.up_to_date, said.problems, said.skipped, said.notes)


def _lakes(root, *, workers, progress):
    said = lakes.run(root, workers=workers, progress=progress)
    return VerbReport(said.done, said.up_to_date, said.problems, said.skipped, said.notes)


def _decide(root, *, workers, progress):
    said = decide.run(root, workers=workers, progress=progress)
    return VerbReport(said.done, said.up_to_date, said.problems, said.skipped, said.notes)


STEPS = (
    Step("plan", _plan),
    Step("intake", _intake),
    Step("position", _position),
    Step("motion", _motion),
    Step("lakes", _lakes),
    Step("decide", _decide),
    Step("plan (all stations)", _plan_together),
)
"""The verbs in the order of the work; one that is added here joins the run."""
