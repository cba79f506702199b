"""What is odd about a table of columns, in sentences: its times, its values, its units."""

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..formats.plain_table import NOT_A_TIME
from ..time import gps_from_utc, iso

CODES = (-999.0, -6999.0, -7999.0, -9999.0, -99999.0)
"""What loggers write for a reading that failed; common practice, no source."""
STUCK_NS = 3 * NS_PER_DAY  # a live sensor changes within days; our choice
EARLIEST_NS = int(np.datetime64("1990-01-01", "ns").astype(np.int64))  # clocks wake before; ours
FACTOR_LOG10 = 3.0  # of V to mV, m to mm; definition of the prefixes
_NEAR_LOG10 = 0.4  # how far medians may lie off the factor; our choice
_CLEAR_LOG10 = 1.0  # the least empty range between both groups of values; our choice
_LEAST_ROWS = 24  # fewer rows prove no stuck sensor; our choice
_GRID = 0.8  # share of equal steps from which a table has a regular step; our choice
_SHIFT = 0.02  # of a step: smaller shifts of the grid are jitter; our choice
_SIDE = 5  # rows that must agree on either side of a shift; our choice
_LEAST_GROUP = 5  # values that prove a unit; our choice
_NO_UNIT = {
    *("station", "state", "satellites", "track", "cycle", "lake", "name", "note", "notes", "flag"),
    *("id", "number", "count", "n", "visit", "quality", "mission", "beam"),
}
_MAY_STAND = ("sigma_", "corr_", "latitude", "longitude")  # columns that rightly stay the same


def examine_table(table):
    """Return sentences about a :class:`~stakeline.formats.plain_table.PlainTable`.

    Times out of order, repeated, missing, shifted or absurd; gaps over a day; names without a unit;
    values that are missing, are codes, stand still for days, or change their unit half-way.
    """
    found = list(table.notes)
    if len(table) == 0:
        return (*found, "holds names and no row")
    found += time_remarks(table)
    found += name_remarks(table)
    numbers = [
        (name, unit, values)
        for name, unit, values in zip(table.names, table.units, table.values, strict=True)
        if values.dtype == float
    ]
    found += missing_remarks(table)
    found += code_remarks(numbers)
    for name, unit, values in numbers:
        found += stuck_remarks(name, unit, values, table.time_ns)
        found += unit_change_remarks(name, values, table.time_ns)
    return tuple(found)


def span_gps_ns(table):
    """Return (first, last) time in GPS time; () where there is no readable one. [ns]

    Times of no stated scale are taken as they stand: 18 s off at most.
    """
    times = _sane(table.time_ns)
    if len(times) == 0:
        return ()
    ends = np.array([times.min(), times.max()])
    ends = gps_from_utc(ends) if table.scale == "UTC" else ends
    return int(ends[0]), int(ends[1])


def _sane(times):
    return times[times >= EARLIEST_NS]


def time_remarks(table):
    """Return sentences about the time column."""
    if not table.time_name:
        return ["has no time column; name one time_gps or time_utc"]
    name, found = table.time_name, []
    if not table.scale:
        found.append(f"times in '{name}' say not which scale; name the column time_gps or time_utc")
    missing = int((table.time_ns == NOT_A_TIME).sum())
    if missing:
        found.append(f"rows without a readable time: {missing}")
    early = int((table.time_ns < EARLIEST_NS).sum()) - missing
    if early:
        found.append(f"times before 1990, as a clock writes that has lost its power: {early}")
    times = _sane(table.time_ns)
    return found + order_remarks(times) + gap_remarks(times) + shift_remarks(times)


def order_remarks(times):
    """Return sentences about times that run backwards or stand more than once."""
    steps = np.diff(times)
    found = []
    back = np.flatnonzero(steps < 0)
    if len(back):
        far = float(-steps[back].min()) / NS_PER_S
        found.append(
            f"time runs backwards {_times(len(back))}, first at {iso(times[back[0] + 1])}, "
            f"by up to {span_words(far)}"
        )
    values, counts = np.unique(times, return_counts=True)
    twice = values[counts > 1]
    if len(twice):
        found.append(f"times that stand more than once: {len(twice)}, the first {iso(twice[0])}")
    return found


def gap_remarks(times):
    """Return a sentence about gaps of more than a day."""
    ordered = np.unique(times)
    steps = np.diff(ordered)
    wide = np.flatnonzero(steps > NS_PER_DAY)
    if len(wide) == 0 or 2 * len(wide) > len(steps):  # coarser than daily altogether
        return []
    at = wide[np.argmax(steps[wide])]
    return [
        f"{len(wide)} gap{'s' if len(wide) > 1 else ''} of more than a day, the longest "
        f"{span_words(float(steps[at]) / NS_PER_S)} from {iso(ordered[at])}"
    ]


def shift_remarks(times):
    """Return a sentence where the grid of a regular table shifts: somebody set the clock."""
    steps = np.diff(times)
    if len(steps) < _LEAST_ROWS:
        return []
    step = int(np.median(steps))
    if step <= 0 or np.mean(steps == step) < _GRID:
        return []
    off = np.abs((steps + step // 2) % step - step // 2)
    moved = [
        (at, by) for at in np.flatnonzero(off > _SHIFT * step) if (by := _moved(times, at, step))
    ]
    if not moved:
        return []
    at, by = moved[0]
    return [
        f"the clock was set {_times(len(moved))}, first at {iso(times[at + 1])} by "
        f"{by / NS_PER_S:+g} s against the rows before"
    ]


def _moved(times, at, step):
    """Return how far the grid after row ``at`` lies off that before; 0 for a lone row. [ns]"""
    sides = times[max(0, at - _SIDE + 1) : at + 1], times[at + 1 : at + 1 + _SIDE]
    if min(map(len, sides)) < _SIDE:
        return 0
    before, after = (np.median((t - times[at] + step // 2) % step - step // 2) for t in sides)
    by = int((after - before + step // 2) % step - step // 2)
    return by if abs(by) > _SHIFT * step else 0


def name_remarks(table):
    """Return sentences about names that tell no unit, nothing, or the same twice."""
    found = []
    riddles = sum(name.strip("? ") == "" for name in table.names)
    if riddles:
        found.append(f"columns named '?' or not at all, which nobody can understand: {riddles}")
    bare = [
        name
        for name, unit, values in zip(table.names, table.units, table.values, strict=True)
        if name.strip("? ") and not unit and values.dtype == float
        and name.lower() not in _NO_UNIT and not name.startswith("corr_")
    ]  # fmt: skip
    if bare:
        found.append(f"names without a unit: {', '.join(bare)}; write such as battery_V")
    twice = sorted({n for n in table.names if n.strip("? ") and table.names.count(n) > 1})
    if twice:
        found.append(f"names that stand twice: {', '.join(twice)}")
    return found


def missing_remarks(table):
    """Return sentences about columns that are empty, and about missing values."""
    empty, some = [], []
    for name, values in zip(table.names, table.values, strict=True):
        if name == table.time_name:
            continue
        gone = np.isnan(values) if values.dtype == float else np.array([v is None for v in values])
        if gone.all():
            empty.append(name)
        elif gone.any():
            some.append(f"{name} {int(gone.sum())}")
    found = [f"columns without any value: {', '.join(empty)}"] if empty else []
    if some:
        found.append(f"missing values (of {len(table)} rows): {', '.join(some)}")
    return found


def code_remarks(numbers):
    """Return a sentence about codes such as -6999 that stand for missing values."""
    told = []
    for name, _, values in numbers:
        for code in CODES:
            count = int((values == code).sum())
            if count:
                told.append(f"{name} {code:g} {_times(count)}")
    return [f"codes for missing values: {', '.join(told)}"] if told else []


def stuck_remarks(name, unit, values, time_ns):
    """Return a sentence where a value other than 0 stands unchanged for days.

    A share may stand at its least or greatest value (a full battery), a sigma anywhere.
    """
    if name.startswith(_MAY_STAND) or name.lower() in _NO_UNIT or len(time_ns) != len(values):
        return []
    known = np.isfinite(values) & ~np.isin(values, CODES) & (time_ns >= EARLIEST_NS)
    values, times = values[known], time_ns[known]
    starts, ends = stuck_runs(values, times).T
    if starts.size == 0:
        return []
    lasts = times[ends] - times[starts]
    stands = np.ones(starts.size, bool)
    if unit in ("percent", "pct", "1", ""):
        stands &= (values[starts] < values.max()) & (values[starts] > values.min())
    if not stands.any():
        return []
    at = np.flatnonzero(stands)[np.argmax(lasts[stands])]
    more = f" (and {int(stands.sum()) - 1} more such)" if stands.sum() > 1 else ""
    return [
        f"{name} stands still at {values[starts[at]]:g} for "
        f"{span_words(lasts[at] / NS_PER_S)} from {iso(times[starts[at]])}{more}"
    ]


def stuck_runs(values, time_ns, least_ns=STUCK_NS):
    """Return first and last row (k, 2) of each value other than 0 that stands for days.

    ``values`` are known ones, ``time_ns`` their times, in order; ``least_ns``: how long. [ns]
    """
    if len(values) < _LEAST_ROWS:
        return np.zeros((0, 2), int)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(values) != 0) + 1))
    ends = np.concatenate((starts[1:], [len(values)])) - 1
    lasts = time_ns[ends] - time_ns[starts]
    stands = (lasts >= least_ns) & (ends - starts >= _LEAST_ROWS) & (values[starts] != 0.0)
    return np.stack([starts, ends], axis=1)[stands]


def unit_change_remarks(name, values, time_ns):
    """Return a sentence where values change by a factor of about 1000 and stay so.

    The logarithms of the values then lie in two groups with an empty range between, and the groups
    follow each other in time.
    """
    known = np.isfinite(values) & (values != 0.0) & ~np.isin(values, CODES)
    size = np.log10(np.abs(values[known]))
    if len(size) < _LEAST_ROWS:
        return []
    ordered = np.sort(size)
    at = int(np.argmax(np.diff(ordered)))
    if ordered[at + 1] - ordered[at] < _CLEAR_LOG10:
        return []
    high = size > (ordered[at] + ordered[at + 1]) / 2
    factor = float(np.median(size[high]) - np.median(size[~high]))
    switches = np.flatnonzero(np.diff(high))
    few = min(high.sum(), (~high).sum()) < _LEAST_GROUP
    if few or abs(factor - FACTOR_LOG10) > _NEAR_LOG10 or len(switches) * 20 > len(size):
        return []
    rows = np.flatnonzero(known)
    row = rows[switches[0] + 1]
    when = iso(time_ns[row]) if len(time_ns) else f"row {row + 1}"
    grows = "1000 times larger" if high[switches[0] + 1] else "1000 times smaller"
    return [f"{name} is about {grows} from {when} on; did its unit change (V and mV)?"]


def _times(count):
    return "once" if count == 1 else f"{count} times"


def span_words(seconds):
    """Return a span of time in words."""
    for unit, length_s in (("d", 86400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= length_s:
            return f"{seconds / length_s:.1f} {unit}"
    return f"{seconds:g} s"
