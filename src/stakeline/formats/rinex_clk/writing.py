"""Writing :class:`stakeline.tables.Clocks` as a RINEX clock file 3.04."""

import numpy as np

from ...constants import NS_PER_DAY, NS_PER_S
from ...errors import ProductError
from ...tables import satellite_name

_SMALLEST = 1e-99
_NUMBER = "%19.12E"
_A_LINE = 16  # satellites in a header line


def write_clocks(clocks):
    """Return the bytes of a clock file, version 3.04, in GPS time.

    Values are kept to thirteen digits, times to 1 us. Reading the file again gives the same
    numbers at that resolution. Raises ProductError for an empty table.
    """
    if np.isnan(clocks.bias_s).all() and not clocks.receivers:
        raise ProductError("a clock table without any clock cannot be written")
    parts = ["\n".join(_header(clocks)) + "\n"]
    epochs = _satellite_epochs(clocks) + _receiver_records(clocks.receivers)
    epochs.sort(key=lambda epoch: epoch[0])
    parts += [text for _, text in epochs]
    return "".join(parts).encode("latin-1", "replace")


def _satellite_epochs(clocks):
    """Return (time, its lines) of each epoch; one mould fills all lines of an epoch at once."""
    names = [f"AS {satellite_name(int(s)):<9}" for s in clocks.satellites]
    there = ~np.isnan(clocks.bias_s)
    pairs = _writable(np.stack([clocks.bias_s, clocks.sigma_s], axis=2))
    known = ~np.isnan(pairs) & there[..., None]
    moulds = {}
    epochs = []
    for k, time_ns in enumerate(np.asarray(clocks.time_ns).tolist()):
        pattern = known[k].tobytes()
        if pattern not in moulds:
            both = known[k, :, 1]
            moulds[pattern] = "".join(_mould(names[j], both[j]) for j in np.flatnonzero(there[k]))
        mould = moulds[pattern].replace("@", _calendar(time_ns))
        epochs.append((time_ns, mould % tuple(pairs[k][known[k]].tolist())))
    return epochs


def _receiver_records(receivers):
    """Return (time, its line) of each record of a receiver."""
    records = []
    for name, columns in receivers.items():
        label = f"AR {name:<9.9}".replace("%", "%%")
        for time_ns, bias_s, sigma_s in zip(*columns, strict=True):
            both = not np.isnan(sigma_s)
            values = _writable(np.array([bias_s, sigma_s][: 1 + both], float)).tolist()
            head, tail = _mould(label, both).rsplit("@", 1)
            line = f"{head}{_calendar(int(time_ns))}{tail}" % tuple(values)
            records.append((int(time_ns), line))
    return records


def _mould(label, both):
    """Return a record to be filled in: @ for its time, then one value or both in 19 columns."""
    second = f"  {_NUMBER}" if both else ""
    return f"{label} @{2 if both else 1:3d}   {_NUMBER}{second}\n"


def _writable(values):
    """Return values with 0 for what needs a third digit in the exponent."""
    return np.where(np.abs(values) < _SMALLEST, 0.0, values)


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
