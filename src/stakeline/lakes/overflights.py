"""Which satellite track passes which station, how near, when, and when next."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from .altimetry import passes_of

NEAR_M = (
    1000.0  # m, from a station to the nearest point seen, from which it counts as passed; choice
)
PAUSE_S = 600.0  # s, a longer one begins a new pass; choice


@dataclass(frozen=True, eq=False)
class Overflights:
    """Passes of one track by one station, in order of time.

    ``time_ns`` (p,) GPS time and ``distance_m`` (p,) of the nearest point seen; ``repeat_d``: the
    usual time between them, NaN for one pass.
    """

    station: str
    track: int
    time_ns: np.ndarray
    distance_m: np.ndarray
    repeat_d: float

    @property
    def next_ns(self):
        """When the track comes again, as usual; None where it came once. [ns]"""
        if not np.isfinite(self.repeat_d):
            return None
        return int(self.time_ns[-1]) + round(self.repeat_d * NS_PER_DAY)


def overflights(points, station, place_at, scale=1.0, near_m=NEAR_M):
    """Return a tuple of :class:`Overflights` of one station, the track that comes nearest first.

    Parameters
    ----------
    points : SurfacePoints
        All that was seen: what clouds hide is no pass.
    station : str
    place_at : callable
        From a GPS time [ns] to the station's map point (2,); None where it was not there.
    scale : float
        Map metres of a true metre.
    near_m : float
        True metres.
    """
    found = []
    for track in np.unique(points.track):
        one = points.chosen(points.track == track)
        number = passes_of(one.time_ns, PAUSE_S)
        rows = [_nearest(one.chosen(number == k), place_at, scale) for k in np.unique(number)]
        near = sorted(row for row in rows if row is not None and row[1] <= near_m)
        if near:
            time_ns, distance = (np.array(column) for column in zip(*near, strict=True))
            repeat = float(np.median(np.diff(time_ns))) / NS_PER_DAY if len(near) > 1 else np.nan
            found.append(Overflights(station, int(track), time_ns, distance, repeat))
    return tuple(sorted(found, key=lambda one: float(np.median(one.distance_m))))


def _nearest(one, place_at, scale):
    """Return (time, distance) of the point of one pass nearest to a station; None without one."""
    here = place_at(int(np.median(one.time_ns)))
    if here is None:
        return None
    away = np.hypot(*(one.point_m - here).T) / scale
    nearest = int(np.argmin(away))
    return int(one.time_ns[nearest]), float(away[nearest])
