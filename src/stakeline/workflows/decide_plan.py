"""The plan of an analysis: frozen before anybody looks, compared with what was done."""

import json
import tomllib
from dataclasses import dataclass

from ..campaign.store import sha256_of
from ..errors import SettingsError
from .decide_since import NONE_YET, changed_since

PLAN = "plan.toml"
_HEAD = """\
# The plan of the analysis, frozen on the day below. Do not change it: the sum at its end tells.
# Settings are those of [decide] in campaign.toml; docs/reference/decide.md explains each.

"""
_TEST = (
    "circular shifts of the drainages of all lakes together; the largest change, after less "
    "before, over lakes, stations and lags, in speeds without trend, season and melt, by the scale "
    "of how restless melt makes them; at 5 %"
)
_EFFECT = (
    "plateau of the response, per cent of the usual speed, pooled over events and stations, with "
    "its 95 % interval"
)


@dataclass(frozen=True)
class PlanCheck:
    """What became of a plan: ``state`` in a word or two, ``sentence`` for a reader.

    ``followed`` only where it is whole, older than any result, and the analysis is as planned.
    """

    state: str
    sentence: str
    followed: bool = False
    sha256: str = ""


def planned(part, stations, made):
    """Return what is planned, as a dict: settings, {lake: stations}, test and measure.

    Parameters
    ----------
    part : DecidePart
    stations : dict
        {lake: names of the stations that may respond}.
    made : dict
        As of :func:`~.decide_since.made_from`.
    """
    settings = json.loads(part.model_dump_json(exclude_none=True))
    return {
        "main_test": _TEST,
        "effect": _EFFECT,
        "settings": settings,
        "stations": {lake: list(names) for lake, names in sorted(stations.items())},
        **made,
    }


def canonical(content):
    """Return one line of JSON that is the same for the same content."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def plan_text(plan, day, written_utc, verdict_on=""):
    """Return the text of ``plan.toml``.

    Parameters
    ----------
    plan : dict
        As of :func:`planned`.
    day : datetime.date
        That the plan carries.
    written_utc : str
        When it was written in truth.
    verdict_on : str
        When a verdict was made before; empty where none was.
    """
    content = plan | {
        "frozen_on": day.isoformat(), "written_utc": written_utc, "verdict_on": verdict_on,
    }  # fmt: skip
    lines = [f"{key} = {_value(value)}" for key, value in content.items() if not _table(value)]
    for name, table in content.items():
        if _table(table):
            lines += ["", f"[{name}]"]
            lines += [f"{_key(key)} = {_value(value)}" for key, value in table.items()]
    lines += ["", "[frozen]", f'sha256 = "{sha256_of(canonical(content).encode())}"']
    return _HEAD + "\n".join(lines) + "\n"


def _table(value):
    return isinstance(value, dict)


def _key(name):
    return json.dumps(name, ensure_ascii=False)


def _value(value):
    """Return a value as TOML; a table within a line has its own marks."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def read_plan(path):
    """Return (content without its sum, whether the sum fits, the sum) of ``plan.toml``.

    Raises SettingsError where the file cannot be read.
    """
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
        said = str(content.pop("frozen")["sha256"])
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise SettingsError(
            f"{path}: is no frozen plan ({problem}); delete it and write one with 'stakeline "
            "decide --plan'"
        ) from None
    return content, said == sha256_of(canonical(content).encode()), said


def check_plan(path, part, stations, made, first=None):
    """Return the :class:`PlanCheck` of an analysis; other arguments as of :func:`planned`.

    ``first``: what speeds and events were made from when the first verdict was made; it stands in
    for what was not there yet when the plan was frozen.
    """
    if not path.is_file():
        return PlanCheck("none", "No plan was frozen beforehand: all of this is exploratory.")
    content, whole, said = read_plan(path)
    if not whole:
        return PlanCheck(
            "changed", "The plan was changed after it was frozen: all of this is exploratory.",
            sha256=said,
        )  # fmt: skip
    named = _named(content)
    other = differences(content, planned(part, stations, made))
    before = first if first and content.get("catalogue") == NONE_YET else content
    breaking, told = changed_since(before, made)
    other += breaking
    if other:
        return PlanCheck(
            "not followed",
            f"The plan {named} was not followed ({'; '.join(other)}): all of this is "
            "exploratory.",
            sha256=said,
        )  # fmt: skip
    if content.get("verdict_on"):
        return PlanCheck(
            "late",
            f"The plan {named} was followed, but a verdict had been made on "
            f"{content['verdict_on']} when it was frozen: all of this is exploratory.",
            sha256=said,
        )  # fmt: skip
    since = f"; {'; '.join(told)}" if told else ""
    return PlanCheck(
        "followed", f"The plan {named}, before any result, was followed{since}.", True, said
    )


def _named(content):
    """Return the day that a plan carries, and when it was written where that is another day."""
    day, written = content.get("frozen_on", ""), content.get("written_utc", "")
    if written[:10] == day:
        return f"frozen on {day}"
    return f"that carries the day {day} and was written on {written or 'a day not known'}"


def differences(plan, done):
    """Return words about what differs between a plan and what was done."""
    found = []
    for name in ("main_test", "effect"):
        if plan.get(name) != done[name]:
            found.append(f"{name.replace('_', ' ')} by another rule")
    for table in ("settings", "stations"):
        before, after = plan.get(table, {}), done[table]
        if table == "stations" and not before:
            continue  # frozen before there were any: the rule in the settings names them
        for key in sorted(before.keys() | after.keys()):
            if before.get(key) != after.get(key):
                found.append(f"{key}: planned {_said(before, key)}, done {_said(after, key)}")
    return found


def _said(table, key):
    value = table.get(key)
    return "none" if value is None else ", ".join(value) if _texts(value) else _value(value)


def _texts(value):
    return isinstance(value, list) and value and all(isinstance(v, str) for v in value)
