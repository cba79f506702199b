"""The journal of decisions on the pages: what was chosen by hand, and a form for more of it."""

import tomllib

from ..campaign.folders import INTAKE, LEDGER, open_campaign
from ..campaign.journal import JOURNAL, UNDO, append, standing
from ..errors import SettingsError
from ..time import from_iso
from .view_lakes import lake_names
from .view_series import need_station, stations_with_results
from .view_tables import text_of


def journal(root):
    """Return what the page of the journal shows, as a dict."""
    campaign = open_campaign(root)
    holds = {entry.number for entry in standing(campaign.decisions)}
    undone = {one.about["number"]: one.number for one in campaign.decisions
              if one.kind == UNDO and one.number in holds}  # fmt: skip
    return {
        "entries": [(one.number, one.time_utc[:16].replace("T", " "), one.who, one.words, one.why,
                     undone.get(one.number, "")) for one in reversed(campaign.decisions)],
        "typed": _typed(campaign.typed),
        "stations": stations_with_results(root),
    }  # fmt: skip


def enter(root, told, time_utc):
    """Write a decision into the journal; return its number.

    Parameters
    ----------
    root : path
    told : dict
        ``kind``, ``who``, ``why``, ``about``.
    time_utc : str

    Raises
    ------
    SettingsError
        For a decision about what is not there, or without who and why.
    """
    campaign = open_campaign(root)
    who, why, kind = (told.get(name) for name in ("who", "why", "kind"))
    about = told.get("about")
    if not all(isinstance(text, str) and text.strip() for text in (who, why, kind)):
        raise SettingsError("a decision needs who and why")
    if not isinstance(about, dict):
        raise SettingsError("expected what the decision is about")
    about = {str(key): value for key, value in about.items()}
    check = {"review": _review, "date": _date, "held": _held, "issue": _issue}.get(kind)
    if check is not None:
        about = check(campaign, about)
    elif kind == UNDO:
        about = {"number": _whole(about.get("number"))}
    lock = campaign.folder(LEDGER) / "journal.lock"
    return append(campaign.root / JOURNAL, lock, time_utc, who, why, kind, about).number


def _review(campaign, about):
    known = [name for name, _ in lake_names(campaign.root)]
    if about.get("lake") not in known:
        raise SettingsError(f"there is no lake '{about.get('lake')}' among {', '.join(known)}")
    return about


def _date(campaign, about):
    """Return a proven repair whole: only what intake proposes can be accepted."""
    told = tomllib.loads(text_of(campaign.folder(INTAKE) / "proposals.toml"))
    for one in told.get("repairs", {}).get("date", ()):
        if one["file"] == about.get("file"):
            return {key: one[key] for key in ("file", "sha256", "shift_weeks")}
    raise SettingsError(f"intake proposes no other date of '{about.get('file')}'")


def _held(campaign, about):
    need_station(campaign.root, about.get("station"))
    begin, end = (from_iso(str(about.get(name, ""))) for name in ("begin_utc", "end_utc"))
    if begin >= end:
        raise SettingsError("an antenna was held from a time to a later one")
    return about


def _issue(campaign, about):
    if about.get("station"):
        need_station(campaign.root, about["station"])
    return {"day": "", **about}


def _whole(value):
    try:
        return int(value)
    except (TypeError, ValueError):
        raise SettingsError(f"'{value}' is no number of a decision") from None


def _typed(settings):
    """Return [(what, who, why)] of the choices that stand in ``campaign.toml`` itself."""
    rows = [(f"{one.lake}, event of {one.onset}: {one.status}", one.who, one.reason)
            for one in settings.lakes.review]  # fmt: skip
    rows += [(f"{one.file}: date moved by {one.shift_weeks} weeks", "", "proven by intake")
             for one in settings.repairs.date]  # fmt: skip
    rows += [(f"{part.name}: antenna held by hand from {begin} to {end} UTC", "", "")
             for part in settings.motion.station for begin, end in part.by_hand]  # fmt: skip
    return rows + [(f"known issue of {one.station or 'all'}: {one.what}", one.who, one.why)
                   for one in settings.release.issue]  # fmt: skip
