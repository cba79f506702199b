"""Writing :class:`stakeline.tables.Clocks` as a RINEX clock file 3.04."""

import numpy as np

from ...constants import NS_PER_DAY, NS_PER_S
from ...errors import ProductError
from ...tables import satellite_name

_SMALLEST = 1e-99
_A_LINE = 16  # satellites in a header line


def write_clocks(clocks):
    """Return the bytes of a clock file, version 3.04, in GPS time.

    Values are kept to thirteen digits, times to 1 us. Reading the file again gives the same
    numbers at that resolution. Raises ProductError for an empty table.
    """
    if np.isnan(clocks.bias_s).all() and not clocks.receivers:
        raise ProductError("a clock table without any clock cannot be written")
    lines = _header(clocks)
    names = [satellite_name(int(s)) for s in clocks.satellites]
    records = []
    for k, time_ns in enumerate(clocks.time_ns):
        for j in np.flatnonzero(~np.isnan(clocks.bias_s[k])):
            value = clocks.bias_s[k, j], clocks.sigma_s[k, j]
            records.append((int(time_ns), f"AS {names[j]:<9}", *value))
    for name, columns in clocks.receivers.items():
        for time_ns, bias_s, sigma_s in zip(*columns, strict=True):
            records.append((int(time_ns), f"AR {name:<9.9}", bias_s, sigma_s))
    records.sort(key=lambda record: record[0])
    lines += [_record(*record) for record in records]
    return ("\n".join(lines) + "\n").encode("latin-1", "replace")


def _record(time_ns, name, bias_s, sigma_s):
    count = 1 if np.isnan(sigma_s) else 2
    line = f"{name} {_calendar(time_ns)}{count:3d}   {_number(bias_s)}"
    return line if count == 1 else f"{line}  {_number(sigma_s)}"


def _number(value):
    """Return 19 columns; what needs a third digit in the exponent is 0."""
    return f"{value if abs(value) >= _SMALLEST else 0.0:19.12E}"


def _calendar(time_ns):
    date = str((np.int64(time_ns) // NS_PER_DAY).view("datetime64[D]"))
    microseconds = (time_ns % NS_PER_DAY + 500) // 1000
    minutes, rest = divmod(microseconds, 60 * NS_PER_S // 1000)
    clock = f"{minutes // 60:02d} {minutes % 60:02d}{rest / 1e6:10.6f}"
    return f"{date[:4]} {date[5:7]} {date[8:10]} {clock}"


def _header(clocks):
    def line(content, label):
        return f"{content[:65]:<65}{label}"

    systems = {int(s) // 100 for s in clocks.satellites}
    system = satellite_name(int(clocks.satellites[0]))[0] if len(systems) == 1 else "M"
    kinds = [k for k, there in (("AR", clocks.receivers), ("AS", len(clocks.satellites))) if there]
    types = f"{len(kinds):6d}" + "".join(f"    {kind}" for kind in kinds)
    names = [satellite_name(int(s)) for s in clocks.satellites]
    lists = [names[k : k + _A_LINE] for k in range(0, len(names), _A_LINE)]
    return [
        line(f"{'3.04':<21}{'C':<21}{system}", "RINEX VERSION / TYPE"),
        line(f"{'stakeline':<42}", "PGM / RUN BY / DATE"),
        *[line(comment, "COMMENT") for comment in clocks.comments],
        line("   GPS", "TIME SYSTEM ID"),
        *[
            line(f"{key:1.1} {model}", "SYS / PCVS APPLIED")
            for key, model in clocks.antenna_models.items()
        ],
        line(types, "# / TYPES OF DATA"),
        line(clocks.agency, "ANALYSIS CENTER"),
        line(f"{len(clocks.receivers):6d}    {clocks.frame}", "# OF SOLN STA / TRF"),
        line(f"{len(names):6d}", "# OF SOLN SATS"),
        *[line(" ".join(group), "PRN LIST") for group in lists],
        line("", "END OF HEADER"),
    ]
