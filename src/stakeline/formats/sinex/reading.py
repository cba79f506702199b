"""Reading SINEX into :class:`stakeline.tables.SinexContent`."""

import numpy as np

from ...constants import NS_PER_DAY, NS_PER_S
from ...errors import FormatError
from ...tables import SinexContent, StationCoordinate
from ..fixed_columns import Notes, number, only_member, whole_number, with_notes
from ._antennas import RECEIVER_BLOCKS, receiver_antennas, satellite_antennas, satellite_names
from ._blocks import blocks

_BLOCKS: tuple[str, ...] = ("FILE/REFERENCE", "SITE/RECEIVER", "SITE/ANTENNA", "SITE/ECCENTRICITY")
_BLOCKS += ("SATELLITE/ID", "SATELLITE/PHASE_CENTER", "SOLUTION/ESTIMATE", *RECEIVER_BLOCKS)
_POSITION, _VELOCITY = ("STAX", "STAY", "STAZ"), ("VELX", "VELY", "VELZ")


def read_sinex(path):
    """Read a packed or plain SINEX file."""
    name, data, notes = only_member(path)
    return with_notes(parse_sinex(data, name), notes)


def parse_sinex(data, file="sinex"):
    """Return the :class:`~stakeline.tables.SinexContent` in the bytes of a SINEX file.

    Parameters
    ----------
    data : bytes
    file : str
        Name for messages.

    Raises
    ------
    FormatError
        Where the first line is not that of a SINEX solution (``%=SNX``).

    Notes
    -----
    Epochs are taken as GPS time. The frame is given only where the file states it. Offsets of
    antennas become entries with flat patterns whose ``source`` says so. Damaged lines are read
    past and listed in ``passed_over``.
    """
    if data[:5] != b"%=SNX":
        found = repr(data[:20].decode("latin-1")) if data.strip() else "an empty file"
        raise FormatError(file, 1, found, "a SINEX header such as '%=SNX 2.02'")
    notes = Notes(file)
    if b"%ENDSNX" not in data[-400:]:
        notes.add(data.count(b"\n"), "no %ENDSNX: the file may be cut")
    found = {}
    for block in blocks(data, _BLOCKS, notes):
        found.setdefault(block.name, []).append(block)
    frame = _frame(found.get("FILE/REFERENCE", []))
    names = {}
    for block in found.get("SATELLITE/ID", []):
        names |= satellite_names(block, notes)
    satellites = [
        entry
        for block in found.get("SATELLITE/PHASE_CENTER", [])
        for entry in satellite_antennas(block, names, notes)
    ]
    receivers = [block for name in RECEIVER_BLOCKS for block in found.get(name, [])]
    return SinexContent(
        coordinates=_coordinates(found.get("SOLUTION/ESTIMATE", []), frame, notes),
        satellite_antennas=tuple(satellites),
        receiver_antennas=receiver_antennas(receivers, notes),
        eccentricities=_eccentricities(found.get("SITE/ECCENTRICITY", []), notes),
        station_antennas=_equipment(found.get("SITE/ANTENNA", []), notes),
        station_receivers=_equipment(found.get("SITE/RECEIVER", []), notes),
        frame=frame,
        passed_over=notes.passed_over(),
        files=(str(file),),
    )


def _frame(reference_blocks):
    for block in reference_blocks:
        for _, line in block.data_lines():
            if line[1:19].strip() == "REFERENCE FRAME":
                return line[20:].strip()
    return ""


def parse_epoch(text):
    """Return the time of ``YY:DDD:SSSSS`` (or a year of four digits); None where open. [ns]"""
    parts = [whole_number(part) for part in text.strip().split(":")]
    if len(parts) != 3 or None in parts:
        return None
    year, day, second = parts
    if not (0 <= year <= 2200 and 1 <= day <= 366 and 0 <= second <= 86400):
        return None
    if year < 100:
        year += 2000 if year < 50 else 1900
    start = np.datetime64(f"{year:04d}-01-01", "ns").astype(np.int64)
    return int(start) + (day - 1) * NS_PER_DAY + second * NS_PER_S


def _equipment(equipment_blocks, notes):
    """Return {station: type} (20 characters); the last entry of a station counts."""
    found = {}
    for block in equipment_blocks:
        for line_number, line in block.data_lines():
            code, kind = line[1:5].strip(), line[42:62]
            if code and kind.strip():
                found[code] = kind.ljust(20) if block.name == "SITE/ANTENNA" else kind.strip()
            else:
                notes.add(line_number, f"damaged line of {block.name}")
    return found


def _eccentricities(eccentricity_blocks, notes):
    """Return (code, point, from, until, up, north, east) from marker to reference point."""
    found = []
    for block in eccentricity_blocks:
        for line_number, line in block.data_lines():
            values = [number(line[k : k + 8]) for k in (46, 55, 64)]
            if line[42:45] != "UNE":
                notes.add(line_number, "eccentricity not given as up, north, east: not used")
            elif any(v != v for v in values) or not line[1:5].strip():
                notes.add(line_number, f"damaged line of {block.name}")
            else:
                span = parse_epoch(line[16:28]), parse_epoch(line[29:41])
                found.append((line[1:5].strip(), line[6:8].strip(), *span, *values))
    return tuple(found)


def _coordinates(estimate_blocks, frame, notes):
    values = {}
    for block in estimate_blocks:
        for line_number, line in block.data_lines():
            kind = line[7:13].strip()
            if kind not in _POSITION + _VELOCITY:
                notes.add(line_number, "estimates other than station coordinates are not used")
                continue
            estimate, sigma = number(line[47:68]), number(line[69:80])
            epoch_ns = parse_epoch(line[27:39])
            if estimate != estimate or epoch_ns is None or not line[14:18].strip():
                notes.add(line_number, f"damaged line of {block.name}")
                continue
            key = line[14:18].strip(), line[19:21].strip(), line[22:26].strip()
            values.setdefault(key, {})[kind] = (estimate, sigma, epoch_ns, line_number)
    found = []
    for key, parts in values.items():
        if all(kind in parts for kind in _POSITION):
            found.append(_coordinate(key, parts, frame))
        else:
            line_number = next(iter(parts.values()))[3]
            notes.add(line_number, "station without all of X, Y and Z: not used")
    return tuple(found)


def _coordinate(key, parts, frame):
    velocity = None
    if all(kind in parts for kind in _VELOCITY):
        velocity = np.array([parts[kind][0] for kind in _VELOCITY])
    return StationCoordinate(
        code=key[0],
        point=key[1],
        solution=key[2],
        frame=frame,
        epoch_ns=parts["STAX"][2],
        position_m=np.array([parts[kind][0] for kind in _POSITION]),
        sigma_m=np.array([parts[kind][1] for kind in _POSITION]),
        velocity_m_a=velocity,
    )
