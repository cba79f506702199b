"""What the satellite alone would have seen of fillings and drainings, and when."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY

LIMIT = 3.0  # -, sigmas from which a change is seen; choice
BACK = 1.0  # -, sigmas from which a change may have begun before; choice
NOT_SEEN = "not seen"
NO_PASS = "no pass before the next event"
NO_AFTER = "no pass after it"
NO_BEFORE = "no pass before it"
SEEN = "seen"


@dataclass(frozen=True)
class EventTimes:
    """One filling (``fill``) or draining (``drain``): when it began and ended, and its change."""

    kind: str
    onset_ns: int
    end_ns: int
    change_m: float


@dataclass(frozen=True)
class Sighting:
    """One event as passes show it; times in GPS time. [ns]

    Attributes
    ----------
    event : EventTimes
    verdict : str
        ``seen``, ``not seen``, ``no pass before it``, ``no pass after it`` or ``no pass before
        the next event``.
    before, after : int or None
        Numbers of the last pass before the onset and the first one after it.
    change_m, sigma_m : float
        Between these two; NaN where one is missing. [m]
    known : int or None
        Number of the pass with which the change stands out.
    delay_d : float
        From the onset to that pass. [d]
    interval_ns : tuple of int
        Into which passes alone put the onset; empty where nothing is seen.
    """

    event: EventTimes
    verdict: str
    before: int | None
    after: int | None
    change_m: float = np.nan
    sigma_m: float = np.nan
    known: int | None = None
    delay_d: float = np.nan
    interval_ns: tuple = ()

    @property
    def over_sigma(self):
        """Change over its sigma."""
        return self.change_m / self.sigma_m

    @property
    def width_d(self):
        """Length of the interval of the onset. [d]"""
        if not self.interval_ns:
            return np.nan
        return (self.interval_ns[1] - self.interval_ns[0]) / NS_PER_DAY

    @property
    def holds_onset(self):
        """Say whether the interval holds the onset; False where nothing is seen."""
        ends = self.interval_ns
        return bool(ends) and ends[0] <= self.event.onset_ns <= ends[1]


def sightings(levels, events, limit=LIMIT):
    """Return a tuple of :class:`Sighting`, one for each event of a lake in order of onset.

    A change is seen with the first pass before the next event that differs from the last pass
    before the onset, in the event's direction, by more than ``limit`` of its sigma. Passes alone
    put the onset after the last pass from which the level did not yet move that way by more than
    one sigma.

    Parameters
    ----------
    levels : LakeLevels
    events : sequence of EventTimes
    limit : float
    """
    events = sorted(events, key=lambda event: event.onset_ns)
    ends = [event.onset_ns for event in events[1:]] + [np.iinfo(np.int64).max] * bool(events)
    return tuple(_sighting(levels, e, end, limit) for e, end in zip(events, ends, strict=True))


def _sighting(levels, event, end_ns, limit):
    earlier = np.flatnonzero(levels.time_ns < event.onset_ns)
    later = np.flatnonzero((levels.time_ns >= event.onset_ns) & (levels.time_ns < end_ns))
    before = int(earlier[-1]) if earlier.size else None
    after = int(later[0]) if later.size else None
    if before is None or after is None:
        more = (levels.time_ns >= event.onset_ns).any()
        verdict = NO_BEFORE if before is None else (NO_PASS if more else NO_AFTER)
        return Sighting(event, verdict, before, after)
    change, sigma = levels.change(before, after)
    way = 1.0 if event.kind == "fill" else -1.0
    moved, spread = levels.since(before)
    seen = later[way * moved[later] > limit * spread[later]]
    if not seen.size:
        return Sighting(event, NOT_SEEN, before, after, change, sigma)
    known = int(seen[0])
    delay_d = (int(levels.time_ns[known]) - event.onset_ns) / NS_PER_DAY
    interval = (int(levels.time_ns[_begin(levels, known, way)]), int(levels.time_ns[known]))
    return Sighting(event, SEEN, before, after, change, sigma, known, delay_d, interval)


def _begin(levels, known, way):
    """Return the last pass from which the level did not yet move that way."""
    first = known - 1
    while first > 0:
        change, sigma = levels.change(first - 1, first)
        if way * change < BACK * sigma:
            break
        first -= 1
    return first
