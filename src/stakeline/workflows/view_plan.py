"""The plan page: other panels, batteries, loads or latitude, and what comes of them at once."""

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from pydantic import ValidationError

from ..campaign.folders import PLAN, PLANS, open_campaign
from ..campaign.history_text import toml_value
from ..campaign.station_file import StationFile
from ..campaign.store import write_text
from ..errors import SettingsError
from .plan_description import describe_settings
from .plan_survival import plan_answer
from .typed_place import read_plan
from .view_tables import plain, text_of

YEARS = 100
NOT_WORKED = "Not worked out yet: stakeline plan"
_NAME = re.compile(r"[A-Z0-9]{4}")
_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


@dataclass(frozen=True)
class Knob:
    """A number of a station file that the page changes: its place, name, unit and value."""

    key: str
    title: str
    unit: str
    value: float


def plan_names(root):
    """Return the names of the stations that have a plan, sorted."""
    return sorted(path.stem for path in (open_campaign(root).root / PLANS).glob("*.toml"))


def plans_together(root):
    """Return [(name, what the verb said of it)] of the plans, and what it says of all together."""
    folder = open_campaign(root).folder(PLAN)
    said = {name: text_of(folder / name / "page.txt").splitlines() for name in plan_names(root)}
    names = [(name, lines[1] if len(lines) > 1 else NOT_WORKED) for name, lines in said.items()]
    return names, text_of(folder / "network.txt")


def knobs(root, name):
    """Return the tuple of :class:`Knob` of a plan; SettingsError where it is none."""
    told = read_plan(_path(root, name))
    found = [Knob("site.latitude_deg", "Latitude", "deg", told.site.latitude_deg),
             Knob("battery.parallel", f"Strings of {told.battery.block_Ah:g} A h", "",
                  told.battery.parallel)]  # fmt: skip
    for number, part in enumerate(told.panel):
        found.append(Knob(f"panel.{number}.count", f"{part.name}, of {part.rated_W:g} W", "",
                          part.count))  # fmt: skip
        found.append(Knob(f"panel.{number}.tilt_deg", f"{part.name}, tilt", "deg", part.tilt_deg))
    for number, part in enumerate(told.load):
        found.append(Knob(f"load.{number}.power_W", f"{part.name}, power", "W", part.power_W))
    return tuple(found)


def changed(root, name, changes):
    """Return a plan's :class:`StationFile` with other numbers.

    Parameters
    ----------
    root : path
    name : str
    changes : dict of str to float
        By :attr:`Knob.key`.

    Raises
    ------
    SettingsError
        For a key that the page has not, or a number that a station cannot have.
    """
    content = read_plan(_path(root, name)).model_dump(exclude_unset=True)
    known = {knob.key: knob for knob in knobs(root, name)}
    for key, value in changes.items():
        if key not in known or isinstance(value, bool) or not isinstance(value, int | float):
            raise SettingsError(f"'{key}' cannot be changed here to {value!r}")
        part = content
        *parents, last = key.split(".")
        for step in parents:
            part = part[int(step)] if step.isdigit() else part[step]
        part[last] = int(value) if float(value).is_integer() else value
    try:
        return StationFile.model_validate(content)
    except ValidationError as problem:
        first = problem.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise SettingsError(f"{place} = {first['input']}: {first['msg']}") from None


def answer(root, name, changes):
    """Return what comes of a plan with other numbers, as a dict."""
    path = _path(root, name)
    found = _answer(str(path), changed(root, name, changes).model_dump_json())
    low, _, middle, _, high = found.charge_band
    days = list(range(1, len(middle) + 1))
    return {
        "chance": found.chance, "low": found.interval[0], "high": found.interval[1],
        "mass_kg": found.mass_kg, "load_W": found.load_W, "why": found.why,
        "lost_h": found.lost_h, "when": " ".join(found.sentences),
        "months": [[_MONTHS[int(m) - 1], float(share)]
                   for m, share in zip(found.months, found.lived, strict=True)],
        "cautions": list(found.cautions),
        "chart": {
            "x_title": "day of the simulated year", "y_title": "lowest charge of the day",
            "traces": [
                {"kind": "band", "ink": 0, "x": days, "low": plain(low), "high": plain(high)},
                {"name": "median of the years", "ink": 0, "x": days, "y": plain(middle)},
            ],
        },
    }  # fmt: skip


@lru_cache(maxsize=32)
def _answer(path, told):
    return plan_answer(describe_settings(StationFile.model_validate_json(told), Path(path)), YEARS)


def save_plan(root, name, changes, new_name):
    """Write a plan with other numbers as ``plans/NEW.toml``; return its path in the campaign.

    An existing plan is never written over: its comments would be lost.
    """
    if not _NAME.fullmatch(new_name):
        raise SettingsError(f"'{new_name[:40]}': expected four capitals or digits, such as HV03")
    campaign = open_campaign(root)
    path = campaign.root / PLANS / f"{new_name}.toml"
    if path.exists():
        raise SettingsError(f"{PLANS}/{new_name}.toml stands there already; give another name")
    told = changed(root, name, changes).model_dump(exclude_unset=True, mode="json")
    told["name"] = new_name
    text = toml_text(told)
    StationFile.model_validate(tomllib.loads(text))
    write_text(path, text)
    return campaign.relative(path)


def toml_text(content):
    """Return nested settings as TOML: plain values first, then tables, then lists of tables."""
    lines = _values(content)
    for key, value in content.items():
        if isinstance(value, dict):
            lines += ["", f"[{key}]", *_values(value)]
            for inner, more in value.items():
                if isinstance(more, dict):
                    lines += ["", f"[{key}.{inner}]", *_values(more)]
        elif _is_tables(value):
            for one in value:
                lines += ["", f"[[{key}]]", *_values(one)]
    return "\n".join(lines) + "\n"


def _is_tables(value):
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)


def _values(table):
    return [
        f"{key} = {_toml(value)}"
        for key, value in table.items()
        if value is not None and not isinstance(value, dict) and not _is_tables(value)
    ]


def _toml(value):
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    return toml_value(value)


def _path(root, name):
    """Return the path of a plan; SettingsError where there is none."""
    if name not in plan_names(root):
        raise SettingsError(f"there is no plan of {name[:40]}; write plans/NAME.toml first")
    return open_campaign(root).root / PLANS / f"{name}.toml"
