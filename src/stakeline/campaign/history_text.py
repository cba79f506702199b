"""Visits as lines of a station's history: appended, and amended so that what stood there shows."""

from ..errors import SettingsError
from .history import Antenna, Height, Receiver, Shift, Tilt, Visit, read_history
from .located import line_numbers
from .store import write_text

PARTS = {
    "receiver": Receiver,
    "antenna": Antenna,
    "height": Height,
    "height_found": Height,
    "tilt_found": Tilt,
    "tilt_left": Tilt,
    "marker_moved": Shift,
}


def visit_text(visit):
    """Return one ``[[visit]]`` as TOML.

    Parameters
    ----------
    visit : dict
        Keys of ``history.Visit``; values that are None or empty are left out.
    """
    own = [name for name in Visit.model_fields if name not in PARTS]
    lines = ["[[visit]]", *_entries(visit, own)]
    for part, model in PARTS.items():
        names = [field.alias or name for name, field in model.model_fields.items()]
        entries = _entries(visit.get(part) or {}, names)
        lines += ["", f"[visit.{part}]", *entries] if entries else []
    return "\n".join(lines) + "\n"


def _entries(given, names):
    """Return the lines of what is given, in the order of the names."""
    return [f"{name} = {toml_value(given[name])}" for name in names if _given(given.get(name))]


def head_text(station, facts):
    """Return the head of a new history; ``facts``: description, marker, place."""
    lines = [f"station = {toml_value(station)}"]
    lines += [f"{key} = {toml_value(v)}" for key, v in facts.items() if _given(v)]
    return "\n".join(lines) + "\n"


def _given(value):
    return value is not None and value != ""


def toml_value(value):
    """Return a value as TOML has it; a datetime as UTC."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(float(value))
    if hasattr(value, "strftime"):
        part = f".{value.microsecond:06d}" if value.microsecond else ""
        return f"{value:%Y-%m-%dT%H:%M:%S}{part}Z"
    escaped = str(value).replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def append_visit(path, visit, station, facts):
    """Write a visit at the end of a history, or begin one; what stands there stays, byte by byte.

    Raises
    ------
    SettingsError
        Where the history with the new visit would not be right; the file is then as it was.
    """
    before = path.read_text(encoding="utf-8") if path.exists() else head_text(station, facts)
    _write_checked(path, f"{before.rstrip()}\n\n{visit_text(visit)}")


def amend_visit(path, before, visit, why):
    """Put an amended visit in the place of one written by :func:`append_visit`, once.

    The lines that change stay above it as comments, with ``why``.

    Raises
    ------
    SettingsError
        Where the visit was changed by hand since: a person has to decide.
    """
    text = path.read_text(encoding="utf-8")
    begin, end = _lines_of(path, text, before["time"])
    lines = text.splitlines(keepends=True)
    block = "".join(lines[begin:end])
    old, new = visit_text(before), visit_text(visit)
    if new.rstrip() in block:
        return
    if old.rstrip() not in block:
        raise SettingsError(
            f"{path}:{begin + 1}: this visit was changed by hand since its record was "
            "frozen; amend it by hand, too: it is what positions use"
        )
    gone = [line for line in old.splitlines() if line and line not in new.splitlines()]
    comments = "".join(
        f"# {line}\n" for line in [f"amended: {' '.join(why.split())}; before:", *gone]
    )
    lines[begin:end] = [block.replace(old.rstrip(), comments + new.rstrip(), 1)]
    _write_checked(path, "".join(lines))


def _lines_of(path, text, time):
    """Return the lines, from and to, of the visit at a time."""
    history = read_history(path).content.visit
    number = next((i for i, visit in enumerate(history) if visit.time == time), None)
    if number is None:
        raise SettingsError(f"{path}: holds no visit of {time:%Y-%m-%dT%H:%M:%S}Z to amend")
    where = line_numbers(text)
    begin = where[("visit", number)] - 1
    end = where.get(("visit", number + 1), len(text.splitlines()) + 1) - 1
    return begin, end


def _write_checked(path, text):
    """Write a history; put the old one back where the new one cannot be read."""
    before = path.read_bytes() if path.exists() else None
    write_text(path, text)
    try:
        read_history(path)
    except SettingsError:
        if before is None:
            path.unlink()
        else:
            write_text(path, before.decode("utf-8"))
        raise
