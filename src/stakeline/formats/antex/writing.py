"""Writing :class:`stakeline.tables.Antennas` as ANTEX 1.4."""

import numpy as np

from ...errors import FormatError

_WIDEST_MM = 9999.995  # an F8.2 column holds less


def write_antex(antennas):
    """Return the bytes of an ANTEX 1.4 file of absolute calibrations.

    Offsets and variations are kept to 0.01 mm, validity to 0.1 us: the resolution of the format.
    Reading the file again gives the same numbers at that resolution.

    Parameters
    ----------
    antennas : Antennas

    Raises
    ------
    FormatError
        Where a name or a value does not fit its columns, or a pattern its nodes.
    """
    lines = [
        _line(f"{'1.4':>8}{'':12}M", "ANTEX VERSION / SYST"),
        _line("A", "PCV TYPE / REFANT"),
        _line("", "END OF HEADER"),
    ]
    for entry in antennas.entries:
        lines += _entry(entry)
    return ("\n".join(lines) + "\n").encode("latin-1", "replace")


def _line(content, label):
    return f"{content:<60.60}{label}"


def _entry(entry):
    name = f"{entry.model:<20}{entry.serial:<20}{entry.svn:<10}"
    if len(name) != 50 or not entry.model.strip():
        raise FormatError(
            "antennas",
            None,
            f"'{entry.model}' '{entry.serial}' '{entry.svn}'",
            "a model and a serial of at most 20 characters, a code of at most 10",
        )
    zenith = np.asarray(entry.zenith_deg, float)
    step = zenith[1] - zenith[0] if zenith.size > 1 else 1.0
    turn = 0.0 if entry.azimuth_deg is None else float(entry.azimuth_deg[1] - entry.azimuth_deg[0])
    lines = [
        _line("", "START OF ANTENNA"),
        _line(name, "TYPE / SERIAL NO"),
        _line(f"{'':40}{0:6d}", "METH / BY / # / DATE"),
        _line(f"  {turn:6.1f}", "DAZI"),
        _line(f"  {zenith[0]:6.1f}{zenith[-1]:6.1f}{step:6.1f}", "ZEN1 / ZEN2 / DZEN"),
        _line(f"{len(entry.patterns):6d}", "# OF FREQUENCIES"),
    ]
    for label, time_ns in (
        ("VALID FROM", entry.valid_from_ns),
        ("VALID UNTIL", entry.valid_until_ns),
    ):
        if time_ns is not None:
            lines.append(_line(_calendar(time_ns), label))
    if entry.source:
        lines.append(_line(f"{entry.source:<10.10}", "SINEX CODE"))
    for frequency, pattern in entry.patterns.items():
        lines += _frequency(entry, frequency, pattern)
    return [*lines, _line("", "END OF ANTENNA")]


def _calendar(time_ns):
    date = str(np.int64(time_ns).view("datetime64[ns]"))
    fields = [int(date[k:m]) for k, m in ((0, 4), (5, 7), (8, 10), (11, 13), (14, 16))]
    second = int(date[17:19]) + int(date[20:29]) * 1e-9
    return "".join(f"{field:6d}" for field in fields) + f"{second:13.7f}"


def _frequency(entry, frequency, pattern):
    offset = "".join(f"{value * 1e3:10.2f}" for value in pattern.offset_m)
    lines = [
        _line(f"   {frequency}", "START OF FREQUENCY"),
        _line(offset, "NORTH / EAST / UP"),
        "   NOAZI" + _values(entry, pattern.by_zenith_m),
    ]
    if entry.azimuth_deg is not None:
        around = pattern.by_azimuth_m
        if around is None:
            around = np.broadcast_to(
                pattern.by_zenith_m, (len(entry.azimuth_deg), len(pattern.by_zenith_m))
            )
        lines += [
            f"{azimuth:8.1f}" + _values(entry, row)
            for azimuth, row in zip(entry.azimuth_deg, around, strict=True)
        ]
    return [*lines, _line(f"   {frequency}", "END OF FREQUENCY")]


def _values(entry, values_m):
    values_mm = np.asarray(values_m, float) * 1e3
    if values_mm.shape != np.shape(entry.zenith_deg) or not (abs(values_mm) < _WIDEST_MM).all():
        raise FormatError(
            "antennas",
            None,
            f"a pattern of {entry.model.strip()} with {values_mm.size} values",
            f"{np.size(entry.zenith_deg)} values below 10 m, one for each node",
        )
    return "".join(f"{value:8.2f}" for value in values_mm)
