"""TOML that remembers its lines: every complaint names file, line and key."""

import difflib
import re
import tomllib
import types
import typing

import pydantic

from ..errors import SettingsError

_KEY = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_PATH = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_HEADING = re.compile(rf"\s*(\[\[?)\s*({_PATH})\s*\]\]?\s*(?:#.*)?$")
_ENTRY = re.compile(rf"\s*({_PATH})\s*=(.*)$", re.DOTALL)


class Strict(pydantic.BaseModel):
    """A part of a file in which an unknown key is a mistake."""

    model_config = pydantic.ConfigDict(extra="forbid", frozen=True)


def _split(path):
    return tuple(part.strip().strip("\"'") for part in re.findall(_KEY, path))


def _still_open(value, quote, depth):
    """Return (open multi-line quote or '', bracket depth) after reading ``value``."""
    position = 0
    while position < len(value):
        rest = value[position:]
        if quote:
            if quote in ('"', '"""') and rest[0] == "\\":
                position += 2
                continue
            ends = rest.startswith(quote)
            position += len(quote) if ends else 1
            quote = "" if ends else quote
            continue
        if rest[0] == "#":
            break
        opening = next((mark for mark in ('"""', "'''", '"', "'") if rest.startswith(mark)), "")
        quote = opening
        depth += (rest[0] in "[{") - (rest[0] in "]}")
        position += len(opening) or 1
    return (quote if len(quote) == 3 else ""), depth


def line_numbers(text):
    """Return {path of keys and list indices: line counted from 1} of a valid TOML text."""
    lines, counts, table = {(): 1}, {}, ()
    quote, depth = "", 0
    for number, line in enumerate(text.splitlines(), 1):
        if quote or depth:
            quote, depth = _still_open(line, quote, depth)
            continue
        heading = _HEADING.match(line)
        if heading:
            table = _enter(_split(heading[2]), heading[1] == "[[", counts)
            lines.setdefault(table, number)
            continue
        entry = _ENTRY.match(line)
        if entry:
            lines[table + _split(entry[1])] = number
            quote, depth = _still_open(entry[2], "", 0)
    return lines


def _enter(keys, is_list, counts):
    """Return the full path of a table heading; list tables met so far get their last index."""
    path = ()
    for position, key in enumerate(keys):
        path += (key,)
        if is_list and position == len(keys) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path += (counts[path],)
    return path


def line_of(lines, location):
    """Return the line of a location, or of the nearest table around it."""
    location = tuple(location)
    while location not in lines:
        location = location[:-1]
    return lines[location]


def read_located(path, model):
    """Return a TOML file as ``model``; its fields named ``lines`` and ``file`` are filled.

    Raises
    ------
    SettingsError
        One line for each mistake: ``campaign.toml:13: station.1.name: ...``.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as problem:
        raise SettingsError(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError as problem:
        line = path.read_bytes()[: problem.start].count(b"\n") + 1
        message = f"{path}:{line}: found a byte that is not UTF-8; save the file as UTF-8 text"
        raise SettingsError(message) from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise SettingsError(_syntax_sentence(path, text, str(problem))) from None
    lines = line_numbers(text)
    try:
        return model.model_validate(data)
    except pydantic.ValidationError as problem:
        found = [_sentence(path, lines, model, error) for error in problem.errors()]
        raise SettingsError("\n".join(dict.fromkeys(found))) from None


def _syntax_sentence(path, text, problem):
    at = re.search(r"\(at line (\d+), column (\d+)\)", problem)
    line = int(at[1]) if at else len(text.splitlines())
    return f"{path}:{line}: {problem.split(' (at ')[0].lower()}; expected TOML such as key = value"


def _toml(value):
    """Return a value as it stands in TOML."""
    return f'"{value}"' if isinstance(value, str) else str(value).lower()


def _sentence(path, lines, model, error):
    """Return one complaint in words."""
    location = tuple(part for part in error["loc"] if not _is_branch(part))
    where = ".".join(str(part + 1) if isinstance(part, int) else part for part in location)
    prefix = f"{path}:{line_of(lines, location)}: {where or 'the file'}"
    if error["type"] == "extra_forbidden":
        known = fields_at(model, location[:-1])
        near = difflib.get_close_matches(str(location[-1]), known, 1)
        hint = f"did you mean '{near[0]}'?" if near else f"known here are {', '.join(known)}"
        return f"{prefix}: unknown key; {hint}"
    if error["type"] == "missing":
        return f"{prefix}: is missing"
    if error["type"] in ("tuple_type", "list_type"):
        return f"{prefix}: expected a list in brackets, such as [{_toml(error['input'])}]"
    text = error["msg"].removeprefix("Value error, ").removeprefix("Input ")
    given = error["input"]
    shown = f"; found {given!r}" if isinstance(given, str | int | float | bool) else ""
    return f"{prefix}: {text}{shown}"


def _is_branch(part):
    """Say whether a part of a location is a name the validator made up, no key of the file."""
    return isinstance(part, str) and ("[" in part or part in ("float", "int", "str"))


def fields_at(model, location):
    """Return the names of the keys allowed at a location of a model."""
    for part in location:
        if isinstance(part, int):
            continue
        field = _fields(model).get(part)
        model = _inner_model(field.annotation) if field else None
        if model is None:
            return []
    return list(_fields(model))


def _fields(model):
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _inner_model(annotation):
    """Return the model inside ``list[Model]`` or ``Model | None``; None where there is none."""
    if isinstance(annotation, type) and issubclass(annotation, pydantic.BaseModel):
        return annotation
    if typing.get_origin(annotation) in (list, tuple, dict, typing.Union, types.UnionType):
        found = [_inner_model(part) for part in typing.get_args(annotation)]
        return next((part for part in found if part is not None), None)
    return None
