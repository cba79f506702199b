"""Entries of the page before they are frozen: saved field by field, the newest of each kept."""

import json
import re
from datetime import UTC, datetime

from ..campaign.folders import open_campaign
from ..campaign.history_text import toml_value
from ..campaign.store import write_bytes, write_json, write_text
from ..campaign.visit_record import RECORD
from ..errors import SettingsError
from ..time import from_iso
from .commission import (
    folder_of,
    history_of,
    judge_readings,
    moment_of,
    plan_of,
    take_readings,
)
from .commission_record import visit_folder
from .commission_sheet import build_sheet
from .commission_verdict import history_before
from .sheet_parts import KINDS, SET_UP_KIND, TICK

DRAFT_FILE, PAGE_READINGS, PHOTOS = "draft.json", "page_readings.toml", "photos"
HEAD = ("time", "kind", "by", "note", "sky", "temperature_degC", "wind_m_s", "battery_degC")
NUMBERS = ("temperature_degC", "wind_m_s", "battery_degC")
FIELD = re.compile(r"(head|entry|accept)\.[A-Za-z0-9_]{1,80}")
LONGEST = 2000  # characters of one entry
PICTURES = {"jpg", "jpeg", "png", "webp", "heic"}
TIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2})?")


def read_draft(root, station):
    """Return {field: {"value": text, "at": milliseconds}} of a station's page."""
    path = folder_of(open_campaign(root), station) / DRAFT_FILE
    if not path.exists():
        return {}
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise SettingsError(f"{path}: cannot be read; put it aside, the page begins anew") from None


def save_draft(root, station, fields):
    """Keep fields, of each the newest; return how many were newer than what was kept.

    ``fields``: {name: {"value": text, "at": milliseconds since 1970 of the browser}}; names are
    ``head.``, ``entry.`` or ``accept.`` and a key.

    Raises
    ------
    SettingsError
        For a field that is none.
    """
    draft = read_draft(root, station)
    newer = 0
    for name, field in fields.items():
        _checked(name, field)
        if field["at"] >= draft.get(name, {}).get("at", -1):
            draft[name] = {"value": field["value"], "at": field["at"]}
            newer += 1
    if newer:
        write_json(folder_of(open_campaign(root), station) / DRAFT_FILE, draft)
    return newer


def _checked(name, field):
    value = field.get("value") if isinstance(field, dict) else None
    at = field.get("at") if isinstance(field, dict) else None
    good = isinstance(value, str) and len(value) <= LONGEST and type(at) is int
    if not (FIELD.fullmatch(name) and good):
        raise SettingsError(
            f"field '{name[:80]}': expected head, entry or accept and a key, a text of up to "
            f"{LONGEST} characters and a time"
        )


def keep_photo(root, station, key, ending, data, at):
    """Keep a photograph that the page sends; return its name from the station's folder."""
    if ending.lower() not in PICTURES or not re.fullmatch(r"photo_[a-z_]{1,40}", key):
        raise SettingsError(f"photograph {key}.{ending}: expected one of {', '.join(PICTURES)}")
    folder = folder_of(open_campaign(root), station)
    name = f"{PHOTOS}/{key}_{at}.{ending.lower()}"
    write_bytes(folder / name, data)
    draft = read_draft(root, station)
    draft[f"photo.{key}"] = {"value": name, "at": at}
    write_json(folder / DRAFT_FILE, draft)
    return name


def begin_anew(root, station, now):
    """Put a page's entries aside, under the time at which that was done."""
    path = folder_of(open_campaign(root), station) / DRAFT_FILE
    if path.exists():
        path.rename(path.with_name(f"draft-until-{now:%Y-%m-%dT%H%M%SZ}.json"))


def values_of(draft, kind):
    """Return {key: text} of one kind of fields, empty ones left out."""
    return {
        name.partition(".")[2]: field["value"].strip()
        for name, field in draft.items()
        if name.startswith(f"{kind}.") and field["value"].strip()
    }


def page_sheet(root, station, now):
    """Return (sheet, draft, head) of a station's page; ``head`` holds what the page shows on top.

    ``now``: a datetime with its zone, for a page without a time.
    """
    campaign = open_campaign(root)
    described, draft = plan_of(campaign, station), read_draft(root, station)
    head = values_of(draft, "head")
    time = _time_or(head, now)
    history = history_before(history_of(campaign, station), time)
    numbers = {name: _number(head, name) for name in NUMBERS}
    sky = head.get("sky")
    moment = moment_of(
        described, from_iso(time.astimezone(UTC).replace(tzinfo=None).isoformat()),
        sky=sky, time_given="time" in head, **numbers,
    )  # fmt: skip
    kind = head.get("kind", "")
    fits = kind in KINDS and (kind == SET_UP_KIND) == (history is None)
    sheet = build_sheet(described, moment, history, kind=kind if fits else "")
    shown = {
        "time": head.get("time", ""),
        "kind": kind or sheet.kind,
        "sky": moment.sky,
        "assumed_degC": f"{moment.temperature_degC:g}",
        "assumed_m_s": f"{moment.wind_m_s:g}",
        **{name: head.get(name, "") for name in ("by", "note", *NUMBERS)},
    }
    return sheet, draft, shown


def _time_or(head, now):
    text = head.get("time", "")
    if not TIME.fullmatch(text):
        return now
    try:
        return datetime.fromisoformat(text).replace(tzinfo=UTC)
    except ValueError:
        return now


def _number(head, name):
    text = head.get(name, "").replace(",", ".")
    try:
        return float(text)
    except ValueError:
        return None


def write_page_readings(root, station, now):
    """Write the page's entries as a file of readings; return its path, the sheet, and the draft."""
    sheet, draft, head = page_sheet(root, station, now)
    time = _time_or(head, now).astimezone(UTC)
    entries, ticks = values_of(draft, "entry"), {i.key for i in sheet.items() if i.kind == TICK}
    known = {item.key for item in sheet.items()}
    lines = [f"station = {toml_value(station)}", f"time = {toml_value(time)}"]
    lines += [f"{name} = {toml_value(head[name])}" for name in ("kind", "by", "note", "sky")]
    numbers = {name: _number(head, name) for name in NUMBERS}
    assumed = {"temperature_degC": "assumed_degC", "wind_m_s": "assumed_m_s"}
    numbers |= {a: float(head[b]) for a, b in assumed.items() if numbers[a] is None}
    lines += [f"{name} = {toml_value(v)}" for name, v in numbers.items() if v is not None]
    lines += ["", "[readings]"]
    lines += [
        f"{key} = {'true' if key in ticks else toml_value(text)}"
        for key, text in entries.items()
        if key in known and (key not in ticks or text == "true")
    ]
    for table, kind in (("photos", "photo"), ("accepted", "accept")):
        lines += ["", f"[{table}]"]
        lines += [f"{key} = {toml_value(v)}" for key, v in values_of(draft, kind).items()]
    path = folder_of(open_campaign(root), station) / PAGE_READINGS
    write_text(path, "\n".join(lines) + "\n")
    return path, sheet, draft


def judge_draft(root, station, now):
    """Return what the entries of a page mean, as parts that JSON has."""
    path, sheet, _ = write_page_readings(root, station, now)
    campaign, taken, _, verdict, *_ = judge_readings(root, station, path, now=now)
    record = visit_folder(folder_of(campaign, station), taken) / RECORD
    return {
        "sentence": verdict.sentence,
        "may_leave": verdict.may_leave,
        "frozen": record.exists(),
        "first": list(verdict.first),
        "notes": list(verdict.notes),
        "findings": {
            f.key: {"state": f.state, "said": f.sentence, "stops": f.stops}
            for f in verdict.findings
        },
        "bands": {item.key: item.band or item.why_not for item in sheet.items()},
        "conditions": [list(pair) for pair in sheet.conditions],
    }


def freeze_draft(root, station, now, amend=""):
    """Freeze a page's entries as :func:`commission.take_readings` does; return its outcome.

    Raises
    ------
    SettingsError
        Where the page says not when the work ended, or in what weather.
    """
    head = values_of(read_draft(root, station), "head")
    if _time_or(head, None) is None:
        raise SettingsError("time: say when the work ended, in UTC, such as 2031-04-28T14:30")
    for name, words in (("temperature_degC", "the air's temperature"), ("wind_m_s", "the wind")):
        if _number(head, name) is None:
            raise SettingsError(f"{name}: give {words}; until now it is assumed from the plan")
    path, _, _ = write_page_readings(root, station, now)
    return take_readings(root, station, path, now=now, amend=amend)
