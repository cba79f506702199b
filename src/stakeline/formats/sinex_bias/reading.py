"""Reading SINEX-BIAS into rows of :class:`Bias`."""

import math
from dataclasses import dataclass

from ...errors import FormatError
from ...tables import satellite_id
from ...time import to_gps
from ..fixed_columns import Notes, number, only_member
from ..sinex._blocks import blocks
from ..sinex.reading import parse_epoch

KINDS = ("OSB", "DSB", "ISB")
UNITS = {"ns": 1e-9, "cyc": 1.0}


@dataclass(frozen=True)
class Bias:
    """One bias of a satellite; ``second`` is blank for OSB. Ends are None where open.

    ``value`` and ``sigma`` are in s, or in cycles where ``unit`` is ``cyc``.
    """

    kind: str
    satellite: int
    first: str
    second: str
    from_ns: int | None
    until_ns: int | None
    unit: str
    value: float
    sigma: float


def read_biases(path):
    """Read a packed or plain SINEX-BIAS file; return (tuple of :class:`Bias`, passed over)."""
    name, data, notes = only_member(path)
    found, passed = parse_biases(data, name)
    return found, (*passed, *notes)


def parse_biases(data, file="sinex bias"):
    """Return (tuple of :class:`Bias`, passed over) of the bytes of a SINEX-BIAS file.

    Raises
    ------
    FormatError
        Where the first line is not that of a bias solution (``%=BIA``).
    """
    if data[:5] != b"%=BIA":
        found = repr(data[:20].decode("latin-1")) if data.strip() else "an empty file"
        raise FormatError(file, 1, found, "a SINEX-BIAS header such as '%=BIA 1.00'")
    notes, system, rows = Notes(file), "GPS", []
    if b"%=ENDBIA" not in data[-400:]:
        notes.add(data.count(b"\n"), "no %=ENDBIA: the file may be cut")
    for block in blocks(data, ("BIAS/DESCRIPTION", "BIAS/SOLUTION"), notes):
        for line_number, line in block.data_lines():
            if block.name == "BIAS/DESCRIPTION":
                if line[1:40].strip() == "TIME_SYSTEM":
                    system = {"G": "GPS"}.get(line[41:].strip(), line[41:].strip())
                continue
            row = _row(line, line_number, system, notes)
            if row is not None:
                rows.append(row)
    return tuple(rows), notes.passed_over()


def _row(line, line_number, system, notes):
    """Return the :class:`Bias` of a line; None, noted, where it is none of a satellite."""
    kind, name, unit = line[1:5].strip(), line[11:14].strip(), line[65:69].strip()
    value = number(line[70:91])
    if kind not in KINDS or not math.isfinite(value):
        notes.add(line_number, "damaged line of BIAS/SOLUTION")
        return None
    if line[15:24].strip() or len(name) < 3:
        notes.add(line_number, "bias of a station or of a whole system")
        return None
    if unit not in UNITS:
        notes.add(line_number, f"bias in '{unit}', which is neither ns nor cyc")
        return None
    try:
        satellite = satellite_id(name)
    except ValueError:
        notes.add(line_number, "damaged line of BIAS/SOLUTION")
        return None
    ends = [_time(line[a:b], system) for a, b in ((35, 49), (50, 64))]
    first, second = line[25:29].strip(), line[30:34].strip()
    scale = UNITS[unit]
    return Bias(
        kind, satellite, first, second, *ends, unit, scale * value, scale * number(line[92:103])
    )


def _time(text, system):
    """Return a time in GPS time; None where it is open. [ns]"""
    if text.strip().startswith("0000:"):
        return None
    time_ns = parse_epoch(text)
    return None if time_ns is None else int(to_gps(time_ns, system))
