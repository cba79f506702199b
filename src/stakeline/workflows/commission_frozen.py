"""Frozen visits as the page shows them, and one of them taken up again to be amended."""

from datetime import UTC, datetime

from ..campaign.folders import open_campaign
from ..campaign.store import write_json
from ..campaign.visit_record import photos_of, read_record, standing
from ..errors import SettingsError
from .commission import folder_of
from .commission_draft import DRAFT_FILE, NUMBERS, begin_anew, freeze_draft
from .commission_record import changed_photos
from .commission_text import record_text

VISITS = "visits"


def frozen_visits(root, station):
    """Return [{"name", "text"}] of a station's frozen visits with their amendments, newest first.

    A record that was changed since, or a photograph, is told in its text.
    """
    campaign = open_campaign(root)
    found = []
    for folder in sorted((folder_of(campaign, station) / VISITS).glob("*/"), reverse=True):
        try:
            chain = read_record(folder)
            text = record_text(chain)
            text += "".join(f"  {line}\n" for line in changed_photos(campaign.root, chain))
        except SettingsError as problem:
            text = f"{problem}\n"
        found.append({"name": folder.name, "text": text})
    return found


def take_up(root, station, name, now):
    """Fill the page with what holds of a frozen visit; what stood on it is put aside.

    Parameters
    ----------
    name : str
        Of the visit, as :func:`frozen_visits` gives it.
    now : datetime
        With its zone.

    Raises
    ------
    SettingsError
        Where no such visit is frozen, or its record was changed since.
    """
    campaign = open_campaign(root)
    folder = folder_of(campaign, station)
    known = {path.name: path for path in (folder / VISITS).glob("*/")}
    if name not in known:
        raise SettingsError(f"visit '{name}' of {station}: none such is frozen")
    chain = read_record(known[name])
    at = round(now.timestamp() * 1000.0)
    values = _fields(chain, campaign.root, folder)
    begin_anew(root, station, now)
    write_json(
        folder / DRAFT_FILE, {field: {"value": text, "at": at} for field, text in values.items()}
    )


def _fields(chain, root, folder):
    """Return {field of the page: text} of what holds of a visit."""
    taken, held = chain[0]["taken"], standing(chain)
    time = datetime.fromisoformat(taken["time_utc"]).astimezone(UTC)
    values = {"head.time": f"{time:%Y-%m-%dT%H:%M:%S}".removesuffix(":00")}
    values |= {f"head.{key}": held.get(key, "") for key in ("kind", "by", "note")}
    weather = {"head.sky": "sky"} | {f"head.{key}": key for key in NUMBERS}
    values |= {field: held.get(f"weather {key}", "") for field, key in weather.items()}
    told = {*taken} | {"weather", "accepted", "photos"}
    for key, one in photos_of(chain).items():
        path = root / one["file"]
        inside = path.is_relative_to(folder)
        values[f"photo.{key}"] = path.relative_to(folder).as_posix() if inside else str(path)
    for key, value in held.items():
        group, _, rest = key.partition(" ")
        if group == "accepted":
            values[f"accept.{rest}"] = value
        elif not rest and key not in told:
            values[f"entry.{key}"] = value
    return {field: _text(value) for field, value in values.items() if _text(value)}


def _text(value):
    if isinstance(value, bool):
        return "true" if value else ""
    return "" if value is None else str(value).removesuffix(".0")


def amend_from_page(root, station, now, why):
    """Amend the frozen visit of the page's time by its entries; return the outcome.

    Raises
    ------
    SettingsError
        Where no reason is given, or nothing is frozen or changed.
    """
    if not why.strip():
        raise SettingsError("an amendment needs its reason, such as 'tape misread by 100 mm'")
    return freeze_draft(root, station, now, amend=why.strip())
