"""Two runs of one campaign beside each other: which numbers, settings and versions differ."""

import csv
import io
import math
from pathlib import PurePosixPath

from ..campaign.folders import DECIDE, LAKES, MOTION, open_campaign, open_or_find
from ..campaign.store import write_bytes
from .position import Outcome
from .report import OTHERWISE, REPORT
from .report_sources import Sources

COMPARED = f"{REPORT}/compare.csv"
COLUMNS = ("table", "of", "column", "here", "other", "difference", "percent")
TOLD = 25  # lines said; the table has all
TABLES = (
    (f"{DECIDE}/pooled.csv", ("lake", "event"),
     ("change_percent", "change_low_percent", "change_high_percent")),
    (f"{DECIDE}/effects.csv", ("lake", "station", "event"),
     ("change_percent", "lag_d", "duration_d", "excess_m")),
    (f"{DECIDE}/tests.csv", ("lake", "station", "test"), ("p",)),
    (f"{LAKES}/events.csv", ("event",),
     ("onset_median_gps", "change_m_median", "volume_m3_median", "peak_m3_s_median",
      "probability_real")),
    (f"{LAKES}/routes.csv", ("lake", "target", "kind"), ("probability", "along_m")),
    (f"{MOTION}/*/*_noise.csv", ("axis",),
     ("velocity_m_d", "velocity_sigma_m_d", "spectral_index")),
)  # fmt: skip
"""Tables that are compared: files, columns that name a row, columns whose values are compared."""
SETTINGS = ("position", "motion", "lakes", "decide", "repairs")


def compare(campaign=None, *, other):
    """Write ``8-report/compare.csv``: all that differs between two runs of a campaign.

    Parameters
    ----------
    campaign : path, optional
    other : path
        The campaign to hold it against.

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        Where one of the two holds no campaign.
    """
    here, there = open_or_find(campaign, OTHERWISE), open_campaign(other)
    rows = _settings(here, there)
    same = 0
    ours, theirs = Sources(here.root), Sources(there.root)
    for pattern, keys, columns in TABLES:
        for path in sorted({*ours.names(pattern), *theirs.names(pattern)}):
            found = [_values(sources.rows(path), keys, columns) for sources in (ours, theirs)]
            differ, equal = _differences(path, *found)
            rows, same = rows + differ, same + equal
    sink = io.StringIO()
    writer = csv.writer(sink, lineterminator="\n")
    writer.writerows([COLUMNS, *rows])
    write_bytes(here.root / COMPARED, sink.getvalue().encode("utf-8"))
    lines = [f"{one[0]}: {one[1]}: {one[2]}: {one[3] or 'nothing'} here, {one[4] or 'nothing'} "
             f"there" for one in rows[:TOLD]]  # fmt: skip
    more = [f"and {len(rows) - TOLD} more"] if len(rows) > TOLD else []
    first = f"{same} values are the same, {len(rows)} differ: {COMPARED}"
    return Outcome("\n".join([first, *lines, *more]) + "\n", done=("comparison",))


def _values(records, keys, columns):
    """Return {(row, column): text} of the compared columns; rows of one name are counted."""
    found, seen = {}, {}
    for record in records:
        name = ", ".join(record.values[key] for key in keys if record.values.get(key))
        seen[name] = seen.get(name, 0) + 1
        shown = name if seen[name] == 1 else f"{name} ({seen[name]})"
        found |= {(shown, column): record.values.get(column) or "" for column in columns}
    return found


def _differences(path, ours, theirs):
    """Return (rows of what differs, how many values are the same)."""
    name, rows = str(PurePosixPath(path)), []
    for key in dict.fromkeys([*ours, *theirs]):
        here, there = ours.get(key, ""), theirs.get(key, "")
        if here != there:
            rows.append((name, *key, here, there, *_apart(here, there)))
    return rows, len({*ours, *theirs}) - len(rows)


def _apart(here, there):
    """Return (difference, per cent of the other) of two numbers as texts; '' where none."""
    try:
        ours, theirs = float(here), float(there)
    except ValueError:
        return "", ""
    apart = ours - theirs
    share = f"{100.0 * apart / abs(theirs):.2f}" if theirs and math.isfinite(apart) else ""
    return f"{apart:.6g}", share


def _settings(here, there):
    """Return rows of the settings that differ."""
    ours, theirs = (_flat(one.settings.model_dump(include=set(SETTINGS))) for one in (here, there))
    return [
        ("campaign.toml", "settings", name, ours.get(name, ""), theirs.get(name, ""), "", "")
        for name in sorted({*ours, *theirs})
        if ours.get(name) != theirs.get(name)
    ]


def _flat(values, before=""):
    found = {}
    for name, value in values.items():
        found |= _flat(value, f"{before}{name}.") if isinstance(value, dict) \
            else {f"{before}{name}": str(value)}  # fmt: skip
    return found
