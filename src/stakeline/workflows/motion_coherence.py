"""Coherence of the speeds of pairs of stations, from their tables of motion."""

from itertools import combinations

import numpy as np

from ..constants import NS_PER_DAY
from ..formats.plain_table import write_plain_table
from ..motion.coherence import coherences, segments_of

NUMBERS = (
    "coherence", "level", "p_value", "lag_d", "lag_sigma_d", "period_d", "independent",
)  # fmt: skip


def coherence_rows(speeds, resolutions_d):
    """Return rows (first, second, resolved, Coherence) of all pairs and bands.

    Parameters
    ----------
    speeds : dict
        By station (times [ns], speed along the flow), times on whole steps of one interval.
    resolutions_d : dict
        By station the effective resolutions of its speed, in the usual part of its record and in
        the most restless one; NaN where not known. [d]
    """
    if len(speeds) < 2:
        return []
    every = [time_ns for time_ns, _ in speeds.values()]
    step = min(int(np.diff(time_ns).min()) for time_ns in every if len(time_ns) > 1)
    first = min(int(time_ns[0]) for time_ns in every)
    count = (max(int(time_ns[-1]) for time_ns in every) - first) // step + 1
    segments = {}
    for station, (time_ns, speed) in speeds.items():
        whole = np.full(count, np.nan)
        whole[(time_ns - first) // step] = speed
        segments[station] = segments_of(whole, step / NS_PER_DAY)
    return [
        (a, b, _resolved(found.period_d, resolutions_d[a], resolutions_d[b]), found)
        for a, b in combinations(segments, 2)
        for found in coherences(segments[a], segments[b])
    ]


def _resolved(period_d, *resolutions_d):
    """Tell where both speeds hold changes of this period, not smoothed away."""
    usual, restless = np.max(resolutions_d, axis=0)  # NaN where one is not known
    return "yes" if period_d > usual else "in restless parts" if period_d > restless else "no"


def coherence_csv(rows):
    """Return the bytes of the table of :func:`coherence_rows`."""
    columns = {
        "first": [a for a, *_ in rows],
        "second": [b for _, b, *_ in rows],
        "band": [found.band for *_, found in rows],
    }
    for name in NUMBERS:
        columns[name] = np.array([getattr(found, name) for *_, found in rows], float)
    columns["resolved"] = [resolved for *_, resolved, _ in rows]
    columns["why_not"] = [found.why for *_, found in rows]
    decimals = {"coherence": 4, "level": 4, "p_value": 6, "independent": 1, "period_d": 3}
    return write_plain_table(columns, decimals | {"lag_d": 4, "lag_sigma_d": 4})
