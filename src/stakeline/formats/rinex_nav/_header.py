"""The header of a navigation file: version, system, ionosphere coefficients, leap seconds."""

from dataclasses import dataclass, field

from ...errors import FormatError
from ..fixed_columns import number, whole_number

_VERSION_2_TYPES = {"N": "G", "G": "R", "H": "S", "E": "E"}


@dataclass
class Header:
    """What the lines before ``END OF HEADER`` say."""

    version: float
    system: str  # letter; M for several
    ionosphere: dict = field(default_factory=dict)
    leap_seconds: int | None = None
    body: int = 0  # index of the first line after the header


def parse_header(text):
    """Return the :class:`Header` of ``text``; FormatError where it is no navigation file."""
    first = text.line(0) if len(text) else ""
    header = _first_line(text, first)
    for index in range(1, len(text)):
        line = text.line(index)
        label = line[60:].strip()
        if label == "END OF HEADER":
            header.body = index + 1
            return header
        _read_label(header, label, line)
    raise FormatError(text.file, len(text), "the end of the file", "'END OF HEADER'")


def _first_line(text, line):
    version, letter = number(line[:9]), line[20:21]
    if "RINEX VERSION" not in line[60:] or letter not in tuple("NGHE"):
        found = repr(line[:45].rstrip()) if line.strip() else "an empty file"
        raise FormatError(text.file, 1, found, "'RINEX VERSION / TYPE' of a navigation file (N)")
    if version >= 3.0 and letter != "N":
        found = f"file type '{letter}'"
        raise FormatError(text.file, 1, found, "N, navigation, in version 3 and 4")
    if not 2.0 <= version < 5.0:
        raise FormatError(text.file, 1, f"version '{line[:9].strip()}'", "2, 3 or 4")
    if version < 3.0:
        return Header(version, _VERSION_2_TYPES[letter])
    system = line[40:41].strip() or "M"
    if system not in tuple("GRECJSIM"):
        raise FormatError(text.file, 1, f"system '{system}'", "one of G, R, E, C, J, S, I, M")
    return Header(version, system)


def _read_label(header, label, line):
    if label == "LEAP SECONDS":
        header.leap_seconds = whole_number(line[:6])
    elif label in ("ION ALPHA", "ION BETA"):
        system = {"G": "GPS", "E": "GAL"}.get(header.system, header.system)
        key = system if system == "GAL" else system + label[4]
        header.ionosphere[key] = _coefficients(line, 2)
    elif label == "IONOSPHERIC CORR":
        header.ionosphere[line[:4].strip()] = _coefficients(line, 5)


def _coefficients(line, first):
    return tuple(number(line[k : k + 12], 0.0) for k in range(first, first + 48, 12))
