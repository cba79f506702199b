"""The journal of decisions: who chose what by hand, when and why; nothing in it is ever changed.

``journal.jsonl`` holds one JSON object a line. Each line carries the checksum of the line before
it, so that a line changed or taken out later is noticed. What stands in it is laid over
``campaign.toml`` whenever a campaign is opened, so that a run that begins anew makes the same
choices.
"""

import json
from typing import Any, Literal

import pydantic

from ..errors import SettingsError
from .lakes_settings import Review
from .located import Strict
from .motion_settings import MotionStation
from .release_settings import KnownIssue
from .settings import DateRepair
from .store import only_one, sha256_of, write_bytes

JOURNAL = "journal.jsonl"
UNDO = "undo"
_WORDS = {
    "review": "{lake}, event of {onset}: {status}",
    "date": "{file}: date moved by {shift_weeks} weeks",
    "held": "{station}: antenna held by hand from {begin_utc} to {end_utc} UTC",
    "issue": "known issue of {of}: {what}",
    "undo": "decision {number} no longer holds",
}
Kind = Literal["review", "date", "held", "issue", "undo"]


class Entry(Strict):
    """One decision; ``about`` holds what it says, by the names of the settings it stands for."""

    number: int = pydantic.Field(ge=1)
    time_utc: str
    who: str = pydantic.Field(min_length=1, max_length=100)
    why: str = pydantic.Field(min_length=1, max_length=1000)
    kind: Kind
    about: dict[str, Any]
    before: str

    @property
    def words(self):
        """What is decided, in words."""
        told = {"station": "", **self.about}
        return _WORDS[self.kind].format(**told | {"of": told["station"] or "all stations"})

    def choice(self):
        """Return the setting that the decision stands for; pydantic refuses what is none."""
        day = self.time_utc[:10]
        if self.kind == "review":
            said = {"who": self.who, "reason": self.why, "day": day}
            return Review.model_validate(self.about | said)
        if self.kind == "issue":
            said = {"who": self.who, "why": self.why}
            return KnownIssue.model_validate(self.about | said)
        if self.kind == "date":
            return DateRepair.model_validate(self.about)
        if self.kind == "held":
            span = (self.about["begin_utc"], self.about["end_utc"])
            return MotionStation(name=self.about["station"], by_hand=(span,))
        return int(self.about["number"])


def read_journal(path):
    """Return the entries of a journal in order; none where there is no file.

    Raises
    ------
    SettingsError
        For a line that is no entry, or that is not the one the next was written after.
    """
    if not path.is_file():
        return ()
    entries, before = [], ""
    for number, line in enumerate(path.read_bytes().splitlines(), 1):
        try:
            entry = Entry.model_validate(json.loads(line))
            entry.choice()
        except (ValueError, KeyError) as problem:
            raise SettingsError(
                f"{path}:{number}: is no entry of the journal ({str(problem).splitlines()[0]}); "
                "put back a copy of the file from before somebody changed it"
            ) from None
        if entry.before != before or entry.number != number:
            raise SettingsError(
                f"{path}:{number}: the lines above are not those it was written after: somebody "
                "has changed the journal; put back a copy from before that"
            )
        entries.append(entry)
        before = sha256_of(line)
    return tuple(entries)


def append(path, lock, time_utc, who, why, kind, about):
    """Write one more entry; return it.

    Parameters
    ----------
    path, lock : path
        Of the journal, and of a file that is held meanwhile.
    time_utc : str
        ISO 8601.
    who, why : str
    kind : str
        One of :data:`Kind`.
    about : dict
        What is chosen; of ``undo`` the ``number`` of the entry that no longer holds.

    Raises
    ------
    SettingsError
        Where something is missing, impossible, or undone that does not stand.
    """
    with only_one(lock):
        entries = read_journal(path)
        kept = path.read_bytes() if entries else b""
        told = {"number": len(entries) + 1, "time_utc": time_utc, "who": who.strip(),
                "why": why.strip(), "kind": kind, "about": about,
                "before": sha256_of(kept.splitlines()[-1]) if entries else ""}  # fmt: skip
        try:
            entry = Entry.model_validate(told)
            entry.choice()
        except (pydantic.ValidationError, KeyError) as problem:
            raise SettingsError(f"the journal cannot take this: {_said(problem)}") from None
        if kind == UNDO and about.get("number") not in {one.number for one in standing(entries)}:
            raise SettingsError(f"there is no decision {about.get('number')} that stands")
        line = json.dumps(entry.model_dump(), sort_keys=True, ensure_ascii=False)
        write_bytes(path, kept + line.encode("utf-8") + b"\n")
    return entry


def _said(problem):
    """Return what pydantic found wrong, as ``field: sentence``."""
    if isinstance(problem, KeyError):
        return f"{problem.args[0]}: is missing"
    return "; ".join(
        f"{'.'.join(map(str, one['loc']))}: {one['msg'].lower()}" for one in problem.errors()
    )


def standing(entries):
    """Return the entries that nobody has undone, in order; an undoing may be undone itself."""
    undone, kept = set(), []
    for entry in reversed(entries):
        if entry.number in undone:
            continue
        kept.append(entry)
        if entry.kind == UNDO:
            undone.add(entry.about["number"])
    return tuple(reversed(kept))


def with_journal(settings, entries):
    """Return the settings of a campaign with the decisions that stand laid over them.

    Parameters
    ----------
    settings : CampaignSettings
    entries : sequence of Entry
    """
    if not entries:
        return settings
    kinds = {}
    for entry in standing(entries):
        kinds.setdefault(entry.kind, []).append(entry.choice())
    lakes, repairs, release = settings.lakes, settings.repairs, settings.release
    return settings.model_copy(update={
        "lakes": lakes.model_copy(update={"review": (*lakes.review, *kinds.get("review", ()))}),
        "repairs": repairs.model_copy(update={"date": (*repairs.date, *kinds.get("date", ()))}),
        "release": release.model_copy(update={"issue": (*release.issue, *kinds.get("issue", ()))}),
        "motion": _with_held(settings.motion, kinds.get("held", ())),
    })  # fmt: skip


def _with_held(motion, held):
    """Return the settings of motion with more times in which an antenna was held."""
    stations = {part.name: part for part in motion.station}
    for one in held:
        part = stations.get(one.name, MotionStation(name=one.name))
        both = (*part.by_hand, *one.by_hand)
        stations[one.name] = part.model_copy(update={"by_hand": both})
    return motion.model_copy(update={"station": tuple(stations.values())})
