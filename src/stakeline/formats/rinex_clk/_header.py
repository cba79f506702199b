"""The header of a RINEX clock file."""

from dataclasses import dataclass, field

from ...errors import FormatError
from ..fixed_columns import number

_LABEL_COLUMNS = (60, 65)  # up to 3.02, and from 3.04 on
_DEFAULT_TIME = {"G": "GPS", "R": "UTC", "E": "GAL", "C": "BDT", "J": "QZS", "I": "IRN"}
_TIME_NAMES = {"GLO": "UTC", "QZSS": "QZS", "IRNSS": "IRN", "BDS": "BDT"}
_READ_OTHERWISE: tuple[str, ...] = (
    "LEAP SECONDS",
    "LEAP SECONDS GNSS",
    "# / TYPES OF DATA",
    "# OF CLK REF",
)
_READ_OTHERWISE += ("ANALYSIS CLK REF", "SOLN STA NAME / NUM", "# OF SOLN SATS", "PRN LIST")
_READ_OTHERWISE += ("SYS / # / OBS TYPES", "SYS / DCBS APPLIED", "STATION NAME / NUM")
_READ_OTHERWISE += ("STATION CLK REF", "PGM / RUN BY / DATE", "RINEX VERSION / TYPE")


@dataclass
class Header:
    """What the lines before ``END OF HEADER`` say."""

    version: float
    system: str = ""
    time_system: str = ""
    agency: str = ""
    frame: str = ""
    antenna_models: dict = field(default_factory=dict)
    comments: list = field(default_factory=list)
    body: int = 0  # index of the first line after the header


def parse_header(text, notes):
    """Return the :class:`Header` of ``text``; FormatError where it is no clock file."""
    header, column = _first_line(text)
    for index in range(1, len(text)):
        line = text.line(index)
        label = _label(line, column)
        if label == "END OF HEADER":
            header.body = index + 1
            break
        if line[:3] in ("AS ", "AR ") and label not in _READ_OTHERWISE:
            notes.add(index + 1, "data begin without END OF HEADER")
            header.body = index
            break
        _read_label(header, label, line[:column], index + 1, notes)
    else:
        raise FormatError(text.file, len(text), "the end of the file", "'END OF HEADER'")
    if not header.time_system:
        header.time_system = _DEFAULT_TIME.get(header.system, "GPS")
        if header.system not in _DEFAULT_TIME:
            notes.add(1, f"no time system named, {header.time_system} taken")
    return header


def _first_line(text):
    line = text.line(0) if len(text) else ""
    at = line.find("RINEX VERSION")
    version = number(line[:20])
    if at < 40 or "C" not in line[20:41] or "OBS" in line[20:41]:
        found = repr(line[:45].rstrip()) if line.strip() else "an empty file"
        raise FormatError(text.file, 1, found, "'RINEX VERSION / TYPE' of a clock file (C)")
    if not 2.0 <= version < 4.0:
        raise FormatError(text.file, 1, f"clock version '{line[:20].strip()}'", "2.00 to 3.04")
    column = _LABEL_COLUMNS[1] if at > 62 else _LABEL_COLUMNS[0]
    return Header(version, line[40:44].strip()), column


def _label(line, column):
    """Return the label of a header line; lines of the other layout are understood too."""
    label = line[column:].strip()
    other = line[_LABEL_COLUMNS[column == _LABEL_COLUMNS[0]] :].strip()
    return other if other in ("TIME SYSTEM ID", "END OF HEADER") else label


def _read_label(header, label, text, line, notes):
    if label == "COMMENT":
        header.comments.append(text.rstrip())
    elif label == "TIME SYSTEM ID":
        named = text.strip()
        header.time_system = _TIME_NAMES.get(named, named)
    elif label == "ANALYSIS CENTER":
        header.agency = text.strip()
    elif label == "# OF SOLN STA / TRF":
        header.frame = (text[6:].split() or [""])[0]
    elif label == "SYS / PCVS APPLIED":
        header.antenna_models[text[:1].strip() or header.system] = text[1:].strip()
    elif label not in _READ_OTHERWISE and (label or text.strip()):
        notes.add(line, f"header label '{label}' not known")
