"""The header of an observation file, of any version, and its list of observables."""

import math

from ...errors import FormatError
from ...tables import SYSTEMS, ObservationHeader, satellite_id
from ..fixed_columns import number, whole_number
from .codes import modern, translate

_END = "END OF HEADER"
_LONGEST = 20_000
_MOST_CODES = 120
_DEFAULT_TIME = {"R": "GLO", "E": "GAL", "C": "BDT", "J": "QZS", "I": "IRN"}
_TEXTS = {
    "MARKER NAME": (("marker_name", 0, 60),),
    "MARKER NUMBER": (("marker_number", 0, 20),),
    "MARKER TYPE": (("marker_type", 0, 20),),
    "OBSERVER / AGENCY": (("observer", 0, 20), ("agency", 20, 60)),
    "PGM / RUN BY / DATE": (("program", 0, 20), ("run_by", 20, 40), ("date", 40, 60)),
    "ANT # / TYPE": (("antenna_number", 0, 20), ("antenna_type", 20, 40)),
    "REC # / TYPE / VERS": (
        *(("receiver_number", 0, 20), ("receiver_type", 20, 40)),
        ("receiver_version", 40, 60),
    ),
}

_OTHER_LABELS = frozenset(
    (
        *("WAVELENGTH FACT L1/2", "# OF SATELLITES", "PRN / # OF OBS", "SIGNAL STRENGTH UNIT"),
        *(
            "SYS / DCBS APPLIED",
            "SYS / PCVS APPLIED",
            "GLONASS COD/PHS/BIS",
            "GLONASS COD/PHS/BIS#",
        ),
        *("ANTENNA: DELTA X/Y/Z", "ANTENNA: PHASECENTER", "ANTENNA: B.SIGHT XYZ"),
        *("ANTENNA: ZERODIR AZI", "ANTENNA: ZERODIR XYZ", "CENTER OF MASS: XYZ", "DOI"),
        *("LICENSE OF USE", "STATION INFORMATION", "MERGED FILE"),
    )
)
"""Labels of RINEX 2.10 to 4.02 whose lines are kept as they stand."""


class HeaderReader:
    """Takes header lines one by one; knows the fields and the observables so far.

    Parameters
    ----------
    file : str
    notes : Notes
        Where unusual lines are noted.
    """

    def __init__(self, file, notes):
        self.file, self.notes = file, notes
        self.fields = {}
        self.version = None
        self.system = "M"
        self.types_2, self.declared_2 = [], 0
        self.codes, self.declared = {}, {}
        self._open, self._given = None, set()
        self.factors = {}  # (system or "", code or "") -> factor; system "": version 2
        self._factor_open = ("", 1.0, 0)
        self.phase_shifts, self.channels = {}, {}
        self.comments, self.other = [], []
        self._shift_open = 0
        self._takers = {
            "RINEX VERSION / TYPE": self._version,
            "COMMENT": self._comment,
            "APPROX POSITION XYZ": self._position,
            "ANTENNA: DELTA H/E/N": self._eccentricity,
            "INTERVAL": self._interval,
            "TIME OF FIRST OBS": self._first,
            "TIME OF LAST OBS": self._last,
            "RCV CLOCK OFFS APPL": self._offsets,
            "LEAP SECONDS": self._leap,
            "# / TYPES OF OBSERV": self._types_2,
            "SYS / # / OBS TYPES": self._types_3,
            "OBS SCALE FACTOR": self._scale_2,
            "SYS / SCALE FACTOR": self._scale_3,
            "SYS / PHASE SHIFT": self._shift,
            "SYS / PHASE SHIFTS": self._shift,
            "GLONASS SLOT / FRQ #": self._slots,
        }

    def begin_changes(self):
        """Expect lines that replace lists of observables given before."""
        self._open = None
        self._given.clear()

    def take(self, text, line):
        """Take one header line; ``line`` counts from 1. Returns False at the header's end."""
        label, content = text[60:80].strip(), text[:60].ljust(60)
        if label == _END:
            return False
        if label in self._takers:
            self._takers[label](content, line)
        elif label in _TEXTS:
            for name, first, stop in _TEXTS[label]:
                self.fields[name] = content[first:stop].strip()
        elif label:
            self.other.append((label, content.rstrip()))
            if label not in _OTHER_LABELS:
                self.notes.add(line, "header line with a label that the standard does not know")
        elif text.strip():
            self.notes.add(line, "header line without a label")
        return True

    def _version(self, content, line):
        version, kind = number(content[:9]), content[20]
        if not (2 <= version < 5):
            raise FormatError(
                self.file, line, f"RINEX version '{content[:9].strip()}'", "2.00 to 4.02"
            )
        if kind != "O":
            raise FormatError(
                self.file, line, f"file type '{content[20:40].strip()}'", "O (observations)"
            )
        self.version = version
        letter = content[40]
        self.system = "G" if letter == " " and version < 3 else letter
        if self.system not in SYSTEMS + "M":
            self.notes.add(line, f"file system '{letter}' is not known; taken as mixed")
            self.system = "M"
        self.fields |= {"version": version, "file_type_systems": self.system}

    def _comment(self, content, line):
        self.comments.append(content.rstrip())

    def _numbers(self, content, line, columns, what):
        """Return the numbers in ``columns`` (first, stop); None where one is damaged."""
        values = tuple(number(content[a:b]) for a, b in columns)
        blank = not content[: columns[-1][1]].strip()
        if not blank and any(math.isnan(value) for value in values):
            parts = tuple(number(part) for part in content.split())
            if len(parts) == len(columns) and not any(math.isnan(part) for part in parts):
                return parts
            self.notes.add(line, f"damaged {what} in the header")
            return None
        return values

    def _position(self, content, line):
        values = self._numbers(content, line, ((0, 14), (14, 28), (28, 42)), "position")
        if values and any(values) and not any(math.isnan(value) for value in values):
            self.fields["approximate_position_m"] = values

    def _eccentricity(self, content, line):
        values = self._numbers(content, line, ((0, 14), (14, 28), (28, 42)), "antenna offset")
        if values and not any(math.isnan(value) for value in values):
            names = ("antenna_height_m", "antenna_east_m", "antenna_north_m")
            self.fields |= dict(zip(names, values, strict=True))

    def _interval(self, content, line):
        values = self._numbers(content, line, ((0, 10),), "interval")
        if values and values[0] > 0:
            self.fields["interval_s"] = values[0]

    def _first(self, content, line):
        words = [word for word in content[36:].split() if word.isalpha()]
        if words:
            self.fields["time_system"] = words[-1]
        if "first_line" not in self.fields:
            self.fields["first_line"] = line

    def _last(self, content, line):
        """The last epoch is known from the epochs themselves."""

    def _offsets(self, content, line):
        self.fields["clock_offset_applied"] = content[:6].strip() == "1"

    def _leap(self, content, line):
        value = whole_number(content[:6])
        if value is not None:
            self.fields["leap_seconds"] = value

    def _types_2(self, content, line):
        if content[:6].strip():
            self.types_2, self.declared_2 = [], whole_number(content[:6], 0)
        self.types_2 += [content[k : k + 2] for k in range(10, 60, 6) if content[k : k + 2].strip()]
        self._limit(self.types_2, line)

    def _types_3(self, content, line):
        system = content[0]
        if system != " ":
            if system in self._given:
                self.notes.add(line, "observables of one system given twice; the last list counts")
            self._open = system
            self._given.add(system)
            self.codes[system], self.declared[system] = [], whole_number(content[3:6], 0)
        if self._open is None:
            self.notes.add(line, "continued observables without a system")
            return
        listed = [content[k : k + 3].strip() for k in range(7, 59, 4)]
        self.codes[self._open] += [code for code in listed if code]
        self._limit(self.codes[self._open], line)

    def _limit(self, codes, line):
        if len(codes) > _MOST_CODES:
            raise FormatError(
                self.file, line, f"{len(codes)} observables", f"{_MOST_CODES} at most"
            )

    def _scale_2(self, content, line):
        factor, count = number(content[:6]), whole_number(content[6:12], 0)
        listed = [content[k : k + 2].strip() for k in range(16, 60, 6)]
        self._factor("", factor, [c for c in listed if c] if count else [""], line)

    def _scale_3(self, content, line):
        if content[0] != " ":
            self._factor_open = (content[0], number(content[2:6]), whole_number(content[8:10], 0))
        system, factor, count = self._factor_open
        listed = [content[k : k + 3].strip() for k in range(11, 59, 4)]
        self._factor(system, factor, [c for c in listed if c] if count else [""], line)

    def _factor(self, system, factor, codes, line):
        if factor not in (1.0, 10.0, 100.0, 1000.0):
            self.notes.add(line, "scale factor other than 1, 10, 100, 1000; taken as 1")
            return
        for code in codes:
            self.factors[system, code] = factor

    def _shift(self, content, line):
        if content[0] == " " or whole_number(content[16:18], 0):
            self.other.append(("SYS / PHASE SHIFT", content.rstrip()))
        elif content[2:5].strip():
            self.phase_shifts[content[0], content[2:5]] = number(content[6:14])

    def _slots(self, content, line):
        for k in range(4, 60, 7):
            slot, channel = content[k : k + 3], whole_number(content[k + 4 : k + 6])
            if channel is None:
                continue
            try:
                self.channels[satellite_id(slot)] = channel
            except ValueError:
                self.notes.add(line, "damaged GLONASS slot in the header")

    def check(self, line):
        """Raise FormatError where the header lacks what reading needs; note miscounts."""
        if self.version is None:
            raise FormatError(self.file, 1, "no line RINEX VERSION / TYPE", "it as the first line")
        if not (self.types_2 if self.version < 3 else self.codes):
            label = "# / TYPES OF OBSERV" if self.version < 3 else "SYS / # / OBS TYPES"
            raise FormatError(self.file, line, f"a header without {label}", "its observables")
        counts = [(self.declared_2, self.types_2)] if self.version < 3 else []
        counts += [(self.declared[s], self.codes[s]) for s in self.codes]
        if any(declared != len(listed) for declared, listed in counts):
            self.notes.add(line, "number of observables differs from those listed; the list counts")

    def codes_of_systems(self):
        """Return {system: codes} for all systems that may occur, in the names of RINEX 3.05."""
        if self.version < 3:
            return {s: translate(self.types_2, s) for s in SYSTEMS}
        known = {s: c for s, c in self.codes.items() if s in SYSTEMS}
        return {s: modern(c, s, self.version) for s, c in known.items()}

    def scale_factors(self):
        """Return {(system, code): divisor} for all observables that are scaled."""
        found = {}
        for system, codes in self.codes_of_systems().items():
            raw = self.types_2 if self.version < 3 else self.codes[system]
            key = "" if self.version < 3 else system
            for code, written in zip(codes, raw, strict=True):
                factor = self.factors.get((key, written), self.factors.get((key, ""), 1.0))
                if factor != 1.0:
                    found[system, code] = factor
        return found

    def header(self):
        """Return the :class:`ObservationHeader`."""
        fields = dict(self.fields)
        fields.pop("first_line", None)
        if "time_system" not in fields:
            fields["time_system"] = _DEFAULT_TIME.get(self.system, "GPS")
        return ObservationHeader(
            **fields,
            glonass_channels=self.channels,
            phase_shifts=self.phase_shifts,
            scale_factors=self.scale_factors(),
            comments=tuple(self.comments),
            other=tuple(self.other),
        )


def read_header_lines(text, line, notes):
    """Read a header that starts at ``line`` (from 0); return (HeaderReader, next line).

    Raises
    ------
    FormatError
        Where no header ends the search, the version or type is wrong, or observables are missing.
    """
    reader, first = HeaderReader(text.file, notes), line
    _first_line(text, line)
    while line < len(text):
        if line - first > _LONGEST:
            break
        if not reader.take(text.line(line), line + 1):
            reader.check(line + 1)
            return reader, line + 1
        line += 1
    reader.check(line)
    raise FormatError(
        text.file, line, "the end of the file inside the header", _END, "copy the file again"
    )


def _first_line(text, line):
    if line >= len(text):
        raise FormatError(
            text.file, None, "an empty file", "RINEX VERSION / TYPE in its first line"
        )
    first = text.line(line)
    if first[60:80].strip() != "RINEX VERSION / TYPE":
        found = first.strip()[:50].encode("ascii", "backslashreplace").decode()
        raise FormatError(
            text.file, line + 1, f"'{found}'", "RINEX VERSION / TYPE in columns 61-80"
        )
