"""Readings of a logger that no sound sensor gives: impossible, at a range's end, stuck."""

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..station.telemetry import LEAST
from ..time import iso
from .tables_examine import STUCK_NS, span_words, stuck_runs, unit_change_remarks

FLOOR_SHARE = 0.02  # -, of rows at one extreme value, to call it the end of a range; own choice
FLOOR_ROWS = 24  # -, the least number of such rows; own choice
SATURATED_PERCENT = 99.5
STANDS_D = {"battery_V": 7, "panel_A": 7, "turbine_A": 7, "load_A": 30, "tilt_deg": 21}
"""Days that a sound sensor of these may show one value to the last digit; own choice."""
COARSE_D = 21  # d, the same of a bank read to 0.1 V, flat as lithium is; own choice
COARSE_V = 0.1
SIDE_NS = 10 * NS_PER_DAY  # looked at beside a standing voltage; own choice
ONLY_TOLD = ("load_A",)  # a steady load stands rightly: told, and kept


def cleaned(time_ns, columns):
    """Return (columns without impossible and stuck readings, sentences about them).

    Parameters
    ----------
    time_ns : int64 array (n,)
        In order. [ns]
    columns : dict of array (n,)
        By quantity; NaN missing.
    """
    kept, told = {}, []
    for name, values in columns.items():
        told += unit_change_remarks(name, values, time_ns)
        low, high = LEAST[name]
        with np.errstate(invalid="ignore"):
            wrong = (values < low) | (values > high)
        values = np.where(wrong, np.nan, values)
        if wrong.any():
            told.append(
                f"{name}: {int(wrong.sum())} readings outside {low:g} to {high:g} taken as missing,"
                f" first at {iso(int(time_ns[np.argmax(wrong)]))}"
            )
        told += floor_remarks(name, values)
        runs = stuck_spans(name, values, time_ns)
        told += _stuck_remarks(name, values, time_ns, runs, columns)
        kept[name] = values if name in ONLY_TOLD else _without(values, runs)
    return kept, told


def floor_remarks(name, values):
    """Return a sentence where many readings stand at a column's lowest or highest value.

    Zero is no floor: currents and calms rest there.
    """
    known = values[np.isfinite(values)]
    found = []
    for word, end in (("lowest", known.min), ("highest", known.max)):
        if known.size < FLOOR_ROWS or np.ptp(known) == 0.0:
            continue
        value = float(end())
        count = int((known == value).sum())
        if value != 0.0 and count >= max(FLOOR_ROWS, FLOOR_SHARE * known.size):
            found.append(
                f"{name}: {count} of {known.size} readings stand at the {word} value {value:g}: "
                "the end of a range, or a limit of the sensor"
            )
    return found


def stuck_spans(name, values, time_ns):
    """Return first and last row (k, 2) of each reading that stands longer than a sound one does.

    A bank stands rightly at a regulator's limit: no reading of ten days before it, or of ten days
    after it, is higher, and some are lower. So does wet air at 100 %.
    """
    known = np.flatnonzero(np.isfinite(values))
    if known.size == 0:
        return np.zeros((0, 2), int)
    seen = values[known]
    runs = stuck_runs(seen, time_ns[known], _limit_ns(name, seen))
    value = seen[runs[:, 0]]
    stands = np.ones(len(runs), bool)
    if name == "battery_V":
        stands = np.array([not _at_limit(seen, time_ns[known], run) for run in runs], bool)
    if name == "humidity_percent":
        stands = value < SATURATED_PERCENT
    return known[runs[stands]]


def _at_limit(seen, time_ns, run):
    """Return whether a run of readings lies at the top of those before it, or of those after."""
    first, last = run
    begin, end = np.searchsorted(time_ns, [time_ns[first] - SIDE_NS, time_ns[last] + SIDE_NS])
    sides = seen[begin:first], seen[last + 1 : end]
    return any(side.size >= FLOOR_ROWS and side.min() < seen[first] >= side.max() for side in sides)


def _limit_ns(name, seen):
    days = STANDS_D.get(name)
    tenths = seen / COARSE_V
    coarse = np.ptp(seen) > 0.0 and np.allclose(tenths, np.round(tenths), rtol=0.0, atol=1e-6)
    if name == "battery_V" and coarse:
        days = COARSE_D
    return STUCK_NS if days is None else days * NS_PER_DAY


def _stuck_remarks(name, values, time_ns, runs, columns):
    if len(runs) == 0:
        return []
    first, last = runs[np.argmax(time_ns[runs[:, 1]] - time_ns[runs[:, 0]])]
    lasts = span_words((time_ns[last] - time_ns[first]) / NS_PER_S)
    moving = [
        other
        for other, readings in columns.items()
        if other != name and np.unique(_finite(readings[first : last + 1])).size > 1
    ]
    beside = f" while {', '.join(moving)} move" if moving else ", as all others do"
    if len(columns) == 1:
        beside = ""
    count = sum(int(np.isfinite(values[a : b + 1]).sum()) for a, b in runs)
    what = (
        "kept, as a steady load stands so too"
        if name in ONLY_TOLD
        else f"{count} readings taken as missing"
    )
    more = f" (and {len(runs) - 1} more such)" if len(runs) > 1 else ""
    return [
        f"{name} stands still at {values[first]:g} for {lasts} from {iso(int(time_ns[first]))}"
        f"{beside}{more}: {what}"
    ]


def _finite(values):
    return values[np.isfinite(values)]


def _without(values, runs):
    out = values.copy()
    for first, last in runs:
        out[first : last + 1] = np.nan
    return out
