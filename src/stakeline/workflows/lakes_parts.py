"""What the parts of the verb ``lakes`` share: the run they belong to, and tasks of the ledger."""

import re
from dataclasses import dataclass

from ..campaign.folders import Campaign
from ..campaign.ledger import Ledger
from ..errors import SettingsError
from .pool import run_tasks


@dataclass(frozen=True)
class LakesRun:
    """One run of the verb, as each part sees it.

    ``lakes``: names of the only lakes that are wanted; all where empty. The caller holds the
    campaign's lock.
    """

    campaign: Campaign
    ledger: Ledger
    lakes: tuple = ()
    workers: int = 1
    progress: object = None

    def wants(self, name):
        """Say whether a lake is to be worked on."""
        return not self.lakes or name in self.lakes

    def said(self, done, total, text):
        """Show how far the run is."""
        if self.progress:
            self.progress(done, total, text)


@dataclass(frozen=True)
class Settled:
    """What became of the tasks of a part: names done, current and failed, and sentences."""

    done: tuple = ()
    current: tuple = ()
    failed: tuple = ()
    problems: tuple = ()


def settle(doing, records, function, tasks, word="worked out", keep=()):
    """Do the tasks that are out of date, write their files, return what was :class:`Settled`.

    Parameters
    ----------
    doing : LakesRun
    records : str
        Folder of the ledger that holds the records of these tasks alone.
    function : callable
        Of module level; takes a task, returns {path below the campaign: bytes}.
    tasks : sequence
        Each with ``name`` (no slash in it) and ``key``, the fingerprint of all that its files
        follow from. All tasks of this part: records of others are forgotten with their files.
    word : str
        What has been done to a task, for the progress line.
    keep : collection of str
        Names of other tasks of this part, not asked now, whose records stay.
    """
    ledger = doing.ledger
    stale = [t for t in tasks if not ledger.up_to_date(f"{records}/{t.name}", t.key)]
    done, failed, problems = [], [], []
    results = run_tasks(function, stale, doing.workers, compile_first=False)
    for count, (task, outputs, sentence) in enumerate(results, 1):
        if sentence:
            failed.append(task.name)
            problems += [f"{task.name}: {line}" for line in sentence.splitlines()]
        else:
            _finish(doing, f"{records}/{task.name}", task.key, outputs)
            done.append(task.name)
        doing.said(count, len(stale), f"{task.name} {'failed' if sentence else word}")
    wanted = {f"{records}/{name}" for name in {*keep, *(t.name for t in tasks)} - set(failed)}
    for record in ledger.tasks(records):
        if record not in wanted:
            ledger.forget(record)
    current = [t.name for t in tasks if t.name not in (*done, *failed)]
    return Settled(tuple(done), tuple(current), tuple(failed), tuple(problems))


def _finish(doing, record, key, outputs):
    """Write and record the files of one task; those that it makes no more are deleted."""
    old = (doing.ledger.read(record) or {"outputs": {}})["outputs"]
    doing.ledger.finish(record, key, outputs)
    for gone in set(old) - set(outputs):
        (doing.campaign.root / gone).unlink(missing_ok=True)


def file_name(lake):
    """Return a lake's name as its folder and files carry it: letters, digits, underscores.

    Raises SettingsError where nothing is left of it.
    """
    found = re.sub(r"[^\w-]+", "_", lake).strip("_")
    if not found:
        raise SettingsError(f"lake '{lake}': a name needs a letter or a digit")
    return found
