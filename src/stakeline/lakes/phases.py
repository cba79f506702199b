"""What a lake does between its events: rates of its surface, and since when until when."""

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import StakelineError
from ..motion.smoother import smooth
from .event_record import LakePhase, interval

BESIDE_D = 1.0  # d, of rows next to an event that are not taken; choice
LEAST_ROWS, LEAST_D = 20, 5.0  # of a phase; choice
FIRST, LAST = "the first row", "the last row"
BEFORE, AFTER = "the end of the event before", "the onset of the event after"


def phases_of(lake, series, model, events):
    """Return the :class:`~.event_record.LakePhase` between events.

    The rate is by the smoothed height at the ends of its rows; a phase begins and ends when the
    events beside it end and begin, as surely as these are known.
    """
    edges = [(FIRST, np.full(3, series.day[0]))]
    for event in events:
        shift = (event.origin_ns - series.start_ns) / NS_PER_DAY
        edges.append((AFTER, np.array(interval(event.onset_days())) + shift))
        edges.append((BEFORE, np.array(interval(event.end_days())) + shift))
    edges.append((LAST, np.full(3, series.day[-1])))
    found = [
        _phase(lake, series, model, begin, end)
        for begin, end in zip(edges[::2], edges[1::2], strict=True)
    ]
    return tuple(phase for phase in found if phase is not None)


def _phase(lake, series, model, begin, end):
    """Return the LakePhase between two edges (words, low median high); None where it is short."""
    first, last = begin[1][1], end[1][1]
    inside = (series.day > first + BESIDE_D) & (series.day < last - BESIDE_D)
    if inside.sum() < LEAST_ROWS or last - first < LEAST_D:
        return None
    time_ns = series.time_ns(series.day[inside])
    try:
        found = smooth(
            time_ns, series.up_m[inside], series.sigma_m[inside], model, at_ns=time_ns[[0, -1]]
        )
    except StakelineError:
        return None
    span = (time_ns[-1] - time_ns[0]) / NS_PER_DAY
    rate = float(np.diff(found.position_m)[0]) / span
    sigma = float(np.sqrt((found.position_sigma_m**2).sum())) / span
    sigma = np.hypot(sigma, np.sqrt(2.0) * model.coloured_sigma_m[0] / span)
    kind = "steady" if abs(rate) < 2.0 * sigma else ("filling" if rate > 0.0 else "sinking")
    return LakePhase(
        lake, kind, series.time_ns(begin[1]), series.time_ns(end[1]), begin[0], end[0],
        rate, float(sigma),
    )  # fmt: skip
