"""The lines of a RINEX 3.05 observation header."""

import math

import numpy as np

from ...tables import SYSTEMS, satellite_name

_NOT_IN_3 = ("WAVELENGTH FACT L1/2", "# / TYPES OF OBSERV")


def header_lines(observations, in_system):
    """Return the header lines of a record, with line feeds.

    Parameters
    ----------
    observations : Observations
    in_system : callable
        Turns GPS time into the time system of the file. [ns]
    """
    h = observations.header
    x, y, z = (0.0 if math.isnan(value) else value for value in h.approximate_position_m)
    eccentricity = (h.antenna_height_m, h.antenna_east_m, h.antenna_north_m)
    pairs = [
        (f"{3.05:9.2f}{'':11}{'OBSERVATION DATA':20}{h.file_type_systems}", "RINEX VERSION / TYPE"),
        (f"{h.program:20.20}{h.run_by:20.20}{h.date:20.20}", "PGM / RUN BY / DATE"),
        *((text, "COMMENT") for text in h.comments),
        (h.marker_name, "MARKER NAME"),
        *([(f"{h.marker_number:20.20}", "MARKER NUMBER")] if h.marker_number else []),
        *([(f"{h.marker_type:20.20}", "MARKER TYPE")] if h.marker_type else []),
        (f"{h.observer:20.20}{h.agency:40.40}", "OBSERVER / AGENCY"),
        (
            f"{h.receiver_number:20.20}{h.receiver_type:20.20}{h.receiver_version:20.20}",
            "REC # / TYPE / VERS",
        ),
        (f"{h.antenna_number:20.20}{h.antenna_type:20.20}", "ANT # / TYPE"),
        (f"{x:14.4f}{y:14.4f}{z:14.4f}", "APPROX POSITION XYZ"),
        ("".join(f"{value:14.4f}" for value in eccentricity), "ANTENNA: DELTA H/E/N"),
        *_observables(observations.codes),
        *_times(observations, in_system),
        *([(f"{int(h.clock_offset_applied):6d}", "RCV CLOCK OFFS APPL")]),
        *_scale_factors(h.scale_factors),
        *_phase_shifts(h.phase_shifts),
        *_channels(h.glonass_channels),
        *([] if h.leap_seconds is None else [(f"{h.leap_seconds:6d}", "LEAP SECONDS")]),
        *((text, label) for label, text in h.other if label not in _NOT_IN_3),
        ("", "END OF HEADER"),
    ]
    return [f"{text:60.60}{label}\n" for text, label in pairs]


def _observables(codes):
    for system in sorted(codes, key=SYSTEMS.index):
        listed = codes[system]
        for k in range(0, max(len(listed), 1), 13):
            head = f"{system}  {len(listed):3d}" if k == 0 else " " * 6
            yield head + "".join(f" {code:3}" for code in listed[k : k + 13]), "SYS / # / OBS TYPES"


def _times(observations, in_system):
    header = observations.header
    if not math.isnan(header.interval_s):
        yield f"{header.interval_s:10.3f}", "INTERVAL"
    first = int(in_system(observations.time_ns[0] if len(observations) else 0))
    text = str(np.int64((first + 50) // 100 * 100).view("datetime64[ns]"))
    calendar = "".join(f"{int(text[a:b]):6d}" for a, b in ((0, 4), (5, 7), (8, 10)))
    calendar += f"{int(text[11:13]):6d}{int(text[14:16]):6d}{text[17:27]:>13}"
    yield f"{calendar}     {header.time_system:3}", "TIME OF FIRST OBS"


def _scale_factors(factors):
    groups = {}
    for (system, code), factor in factors.items():
        groups.setdefault((system, int(factor)), []).append(code)
    for (system, factor), codes in groups.items():
        for k in range(0, len(codes), 12):
            head = f"{system} {factor:4d}  {len(codes):2d}" if k == 0 else " " * 10
            yield head + "".join(f" {code:3}" for code in codes[k : k + 12]), "SYS / SCALE FACTOR"


def _phase_shifts(shifts):
    for (system, code), cycles in shifts.items():
        number = "" if math.isnan(cycles) else f" {cycles:8.5f}"
        yield f"{system} {code:3}{number}", "SYS / PHASE SHIFT"


def _channels(channels):
    items = list(channels.items())
    for k in range(0, len(items), 8):
        head = f"{len(items):3d} " if k == 0 else " " * 4
        rows = (f"{satellite_name(s)} {channel:2d} " for s, channel in items[k : k + 8])
        yield head + "".join(rows), "GLONASS SLOT / FRQ #"
