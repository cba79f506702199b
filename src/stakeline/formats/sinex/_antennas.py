"""Phase-centre offsets in SINEX as antenna entries with flat patterns."""

import math

import numpy as np

from ...tables import SYSTEMS, Antenna, AntennaPattern, satellite_id
from ..fixed_columns import number

_FLAT_ZENITH_DEG = np.array([0.0, 90.0])
_RECEIVER_BANDS = {
    "SITE/GPS_PHASE_CENTER": ("G", ("1", "2")),
    "SITE/GAL_PHASE_CENTER": ("E", ("1", "5", "6", "7", "8")),
}
"""System and bands in the order of the lines; SINEX 2.02, sections on phase centres."""

RECEIVER_BLOCKS = tuple(_RECEIVER_BANDS)


def _pattern(offset_m):
    return AntennaPattern(np.array(offset_m), np.zeros(len(_FLAT_ZENITH_DEG)))


def _source(model):
    return f"offsets only, SINEX {model}".rstrip()


def _three(line, columns):
    """Return three numbers of six columns each, or None where they are blank."""
    values = [number(line[k : k + 6]) for k in columns]
    return None if any(math.isnan(v) for v in values) else values


def satellite_names(block, notes):
    """Return {code such as G063: (satellite id, antenna type)} of SATELLITE/ID."""
    names = {}
    for line_number, line in block.data_lines():
        code, prn = line[1:5].strip(), line[6:8].strip()
        satellite = _satellite(code[:1] + prn.rjust(2, "0"))
        if satellite is None:
            notes.add(line_number, "satellite of no known system or number")
        else:
            names[code] = satellite, line[47:67].strip()
    return names


def _satellite(name):
    try:
        return satellite_id(name)
    except ValueError:
        return None


def satellite_antennas(block, names, notes):
    """Return entries of SATELLITE/PHASE_CENTER: offsets x, y, z of the body from Z, X, Y."""
    found = {}
    for line_number, line in block.data_lines():
        code = line[1:5].strip()
        satellite, kind = names.get(code, (_satellite(code), ""))
        if satellite is None:
            notes.add(line_number, "phase centre of a satellite whose number is not known")
            continue
        patterns, model = _satellite_patterns(line, SYSTEMS[satellite // 100])
        if not patterns:
            notes.add(line_number, "damaged satellite phase centre")
            continue
        known = found.setdefault(satellite, (code, kind, {}, model))
        known[2].update(patterns)
    return tuple(
        _entry(kind, code[:1] + f"{satellite % 100:02d}", satellite, code, patterns, model)
        for satellite, (code, kind, patterns, model) in sorted(found.items())
    )


def _satellite_patterns(line, system):
    patterns = {}
    for first in (6, 29):
        band, offset = line[first : first + 1], _three(line, (first + 2, first + 9, first + 16))
        if band.isdecimal() and offset is not None:
            z, x, y = offset
            patterns[f"{system}0{band}"] = _pattern([x, y, z])
    return patterns, line[52:62].strip()


def _entry(model, serial, satellite, svn, patterns, calibration):
    return Antenna(
        model=model,
        serial=serial,
        satellite=satellite,
        svn=svn if len(svn) == 4 else "",
        valid_from_ns=None,
        valid_until_ns=None,
        zenith_deg=_FLAT_ZENITH_DEG,
        azimuth_deg=None,
        patterns=patterns,
        source=_source(calibration),
    )


def receiver_antennas(blocks, notes):
    """Return entries of the receiver phase-centre blocks: north, east, up from up, north, east."""
    found = {}
    for block in blocks:
        system, bands = _RECEIVER_BANDS[block.name]
        for line_number, line in block.data_lines():
            key = line[1:21].ljust(20), line[22:27].strip()
            entry = found.setdefault(key, ({}, line[70:80].strip()))
            patterns = entry[0]
            missing = [b for b in bands if f"{system}0{b}" not in patterns]
            offsets = [_three(line, (k, k + 7, k + 14)) for k in (28, 49)]
            if not key[0].strip() or offsets[0] is None:
                notes.add(line_number, "damaged receiver phase centre")
                continue
            for band, offset in zip(missing, offsets, strict=False):
                if offset is not None:
                    up, north, east = offset
                    patterns[f"{system}0{band}"] = _pattern([north, east, up])
    return tuple(
        _entry(model, "" if set(serial) <= {"-"} else serial, None, "", patterns, calibration)
        for (model, serial), (patterns, calibration) in found.items()
        if patterns
    )
