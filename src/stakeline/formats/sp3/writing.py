"""Writing :class:`stakeline.tables.Orbits` as SP3-d."""

import numpy as np

from ...constants import NS_PER_DAY, NS_PER_S
from ...errors import ProductError
from ...tables import satellite_name
from ...time import gps_week, mjd

_POSITION_BASE, _CLOCK_BASE = 1.25, 1.025  # usual in IGS files, SP3-d, line 17
_NO_CLOCK_US = 999999.999999
_MOST_CLOCK_US = 999999.0  # numbers from here on are read as missing
_A_LINE = 17  # satellites in a header line


def write_sp3(orbits):
    """Return the bytes of an SP3-d file in GPS time.

    Positions are kept to 1 mm, clocks to 1 ps, velocities to 1e-7 m/s, standard deviations to the
    next power of 1.25 (position) and 1.025 (clock): the resolution of the format. Reading it
    again gives the same numbers at that resolution. Raises ProductError for an empty table, a
    position beyond the columns, or more than 999 satellites.
    """
    if not len(orbits.time_ns) or not len(orbits.satellites):
        raise ProductError("an orbit table without epochs or satellites cannot be written as SP3")
    if len(orbits.satellites) > 999:
        raise ProductError(f"{len(orbits.satellites)} satellites; SP3-d holds at most 999")
    with np.errstate(invalid="ignore"):
        if (np.abs(orbits.position_m) >= 999_999_999.0).any():
            raise ProductError("a position beyond 999,999 km does not fit the columns of SP3")
    lines = _header(orbits)
    names = [satellite_name(int(s)) for s in orbits.satellites]
    for k, time_ns in enumerate(orbits.time_ns):
        lines.append("*  " + _calendar(int(time_ns)))
        for j, name in enumerate(names):
            lines.append(f"P{name}" + _position(orbits, k, j))
            if orbits.velocity_m_s is not None:
                lines.append(f"V{name}" + _velocity(orbits, k, j))
    lines.append("EOF")
    return ("\n".join(lines) + "\n").encode("latin-1", "replace")


def _calendar(time_ns):
    date = str(np.int64(time_ns).view("datetime64[ns]"))
    second = int(date[17:19]) + int(date[20:28]) / 1e8
    return (
        f"{date[:4]} {int(date[5:7]):2d} {int(date[8:10]):2d} {int(date[11:13]):2d}"
        f" {int(date[14:16]):2d} {second:11.8f}"
    )


def _header(orbits):
    start, kind = int(orbits.time_ns[0]), "P" if orbits.velocity_m_s is None else "V"
    week, second = gps_week(start)
    step_s = np.median(np.diff(orbits.time_ns)) / NS_PER_S if len(orbits.time_ns) > 1 else 0.0
    fraction = (start % NS_PER_DAY) / NS_PER_DAY
    systems = {int(s) // 100 for s in orbits.satellites}
    letter = satellite_name(int(orbits.satellites[0]))[0] if len(systems) == 1 else "M"
    lines = [
        f"#d{kind}{_calendar(start)} {len(orbits.time_ns):7d} {orbits.data_used[:5]:>5} "
        f"{orbits.frame[:5]:<5} {orbits.orbit_type[:3]:<3} {orbits.agency[:4]:<4}",
        f"## {int(week):4d} {second:15.8f} {step_s:14.8f} {int(mjd(start)):5d} {fraction:15.13f}",
        *_satellite_lines(orbits),
        f"%c {letter}  cc GPS ccc cccc cccc cccc cccc ccccc ccccc ccccc ccccc",
        "%c cc cc ccc ccc cccc cccc cccc cccc ccccc ccccc ccccc ccccc",
        f"%f {_POSITION_BASE:10.7f} {_CLOCK_BASE:12.9f}  0.00000000000  0.000000000000000",
        "%f  0.0000000  0.000000000  0.00000000000  0.000000000000000",
        "%i    0    0    0    0      0      0      0      0         0",
        "%i    0    0    0    0      0      0      0      0         0",
    ]
    comments = [*orbits.comments, *[""] * max(0, 4 - len(orbits.comments))]
    return lines + [f"/* {comment[:77]}".rstrip() for comment in comments]


def _satellite_lines(orbits):
    names = [satellite_name(int(s)) for s in orbits.satellites]
    accuracy = orbits.accuracy_m
    accuracy = np.full(len(names), np.nan) if accuracy is None else accuracy
    exponent = _exponents(accuracy * 1e3, 2.0)
    count = max(5, -(-len(names) // _A_LINE))
    names += ["  0"] * (count * _A_LINE - len(names))
    figures = [f"{0 if e is None else e:3d}" for e in exponent]
    figures += ["  0"] * (len(names) - len(figures))
    lines = []
    for start, cells in (("+  ", names), ("++ ", figures)):
        for k in range(count):
            head = f"{start}{len(orbits.satellites):3d}   " if (start, k) == ("+  ", 0) else start
            lines.append(f"{head:<9}" + "".join(cells[k * _A_LINE : (k + 1) * _A_LINE]))
    return lines


def _exponents(values, base):
    """Return the whole exponents n of base^n nearest to ``values``; None where they are NaN."""
    with np.errstate(invalid="ignore", divide="ignore"):
        exponent = np.log(np.asarray(values, float)) / np.log(base)
    return [round(e) if np.isfinite(e) else None for e in np.atleast_1d(exponent)]


def _position(orbits, k, j):
    xyz, clock_s = orbits.position_m[k, j], orbits.clock_s[k, j]
    xyz = np.zeros(3) if np.isnan(xyz).any() else xyz / 1e3
    clock_us = clock_s * 1e6
    if not abs(clock_us) < _MOST_CLOCK_US:
        clock_us = _NO_CLOCK_US
    line = "".join(f"{v:14.6f}" for v in (*xyz, clock_us)) + _sigma_columns(orbits, k, j)
    flags = (orbits.clock_event, orbits.clock_predicted, orbits.manoeuvre, orbits.orbit_predicted)
    marks = [m if f is not None and f[k, j] else " " for f, m in zip(flags, "EPMP", strict=True)]
    return f"{line:<69} {marks[0]}{marks[1]}  {marks[2]}{marks[3]}".rstrip()


def _sigma_columns(orbits, k, j):
    exponents = []
    if orbits.position_sigma_m is not None:
        exponents += _exponents(orbits.position_sigma_m[k, j] * 1e3, _POSITION_BASE)
    exponents += [None] * (3 - len(exponents))
    if orbits.clock_sigma_s is not None:
        exponents += _exponents(orbits.clock_sigma_s[k, j] * 1e12, _CLOCK_BASE)
    exponents += [None] * (4 - len(exponents))
    widths, most = (2, 2, 2, 3), (99, 99, 99, 999)
    cells = zip(exponents, widths, most, strict=True)
    return "".join(
        " " * (w + 1) if e is None else f" {min(max(e, 0), m):{w}d}" for e, w, m in cells
    )


def _velocity(orbits, k, j):
    xyz = orbits.velocity_m_s[k, j] * 10.0
    xyz = np.zeros(3) if np.isnan(xyz).any() else xyz
    rate = np.nan if orbits.clock_rate is None else orbits.clock_rate[k, j] * 1e10
    rate = rate if abs(rate) < _MOST_CLOCK_US else _NO_CLOCK_US
    return "".join(f"{v:14.6f}" for v in (*xyz, rate))
