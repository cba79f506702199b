"""The header of an SP3 file."""

from dataclasses import dataclass, field

from ...errors import FormatError
from ...tables import satellite_id
from ..fixed_columns import number, whole_number

DEFAULT_TIME_SYSTEM = "GPS"
_SYMBOLS = {"+ ": "satellites", "++": "accuracies", "%c": "systems", "%f": "bases"}


@dataclass
class Header:
    """What the lines before the first epoch say."""

    version: str = "c"
    velocities: bool = False
    epochs: int | None = None
    data_used: str = ""
    frame: str = ""
    orbit_type: str = ""
    agency: str = ""
    satellite_count: int | None = None
    satellites: list = field(default_factory=list)
    accuracies: list = field(default_factory=list)
    time_system: str = DEFAULT_TIME_SYSTEM
    position_base: float = float("nan")
    clock_base: float = float("nan")
    comments: list = field(default_factory=list)
    body: int = 0  # index of the first line after the header


def parse_header(text, notes):
    """Return the :class:`Header` of ``text``; FormatError where it is no SP3 file."""
    first = text.line(0) if len(text) else ""
    if first[:1] != "#" or first[1:2] not in tuple("abcd") or first[2:3] not in ("P", "V"):
        found = repr(first[:20]) if first else "an empty file"
        raise FormatError(text.file, 1, found, "an SP3 header such as '#dP2020  6 25'")
    header = Header(first[1], first[2] == "V", whole_number(first[32:39]))
    header.data_used, header.frame = first[40:45].strip(), first[46:51].strip()
    header.orbit_type, header.agency = first[52:55].strip(), first[56:60].strip()
    seen = {"systems": 0, "bases": 0}
    header.body = len(text)
    for index in range(1, len(text)):
        line = text.line(index)
        if line[:1] in ("*", "P", "V") or line.startswith("EOF"):
            header.body = index
            break
        _header_line(header, line, seen, index + 1, notes)
    if header.satellite_count is not None and header.satellite_count != len(header.satellites):
        named = len(header.satellites)
        notes.add(3, f"{header.satellite_count} satellites announced, {named} named")
    return header


def _header_line(header, line, seen, number_of_line, notes):
    kind = _SYMBOLS.get(line[:2])
    if kind == "satellites":
        if header.satellite_count is None:
            header.satellite_count = whole_number(line[3:6])
        _satellites(header, line, number_of_line, notes)
    elif kind == "accuracies":
        header.accuracies += [whole_number(line[k : k + 3], 0) for k in range(9, 60, 3)]
    elif kind == "systems":
        seen["systems"] += 1
        named = line[9:12].strip()
        if seen["systems"] == 1 and named.lower() not in ("ccc", "cc", ""):
            header.time_system = named
    elif kind == "bases":
        seen["bases"] += 1
        if seen["bases"] == 1:
            header.position_base, header.clock_base = _base(line[3:13]), _base(line[14:26])
    elif line[:2] == "/*":
        header.comments.append(line[3:].rstrip())
    elif line[:2] not in ("##", "%i") and line.strip():
        notes.add(number_of_line, "header line of an unknown kind")


def _base(text):
    value = number(text, 0.0)
    return value if value > 0.0 else float("nan")


def _satellites(header, line, number_of_line, notes):
    for k in range(9, 60, 3):
        name = line[k : k + 3].rjust(3)
        if name.strip(" 0") == "":
            continue
        try:
            header.satellites.append(satellite_id(name if name[0] != " " else "G" + name[1:]))
        except ValueError:
            header.satellites.append(0)
            notes.add(number_of_line, f"satellite '{name}' of no known system in the header")
