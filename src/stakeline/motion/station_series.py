"""What the motion of one station is worked out from: positions in true metres and the log."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from ..time import iso
from .surroundings import Surroundings

FEWEST_ROWS = 10  # usable positions below which nothing is said; our choice
LARGEST_JUMP_D = 3653.0  # d, ten years: a gap so long is a clock that has jumped; our choice


@dataclass(frozen=True)
class StationSeries:
    """Positions of one station about a reference, and what its log says.

    Attributes
    ----------
    station : str
    time_ns : int64 array, shape (n,)
        GPS time, in any order. [ns]
    enu_m : array, shape (n, 3)
        East, north, up from the reference, true metres; NaN is missing. [m]
    covariance_m2 : array, shape (n, 3, 3)
        East, north, up. [m2]
    latitude_rad, longitude_rad, height_m : float
        The reference, such as :class:`~stakeline.motion.local.LocalMetres` holds it.
    logged_ns : tuple
        Times, or (begin, end), at which hands or equipment moved the measured point. [ns]
    by_hand_ns : tuple
        Intervals (begin, end) in which somebody held the antenna: no motion of the ice. [ns]
    protect_ns : tuple
        Intervals (begin, end) of an event: no row of it is put aside as an outlier. [ns]
    around : Surroundings
        Grids of the surface, pressure of the air, visits to the pole: what is known of them.
    notes : tuple of str
        What was done to the positions before, told with the results.
    """

    station: str
    time_ns: np.ndarray
    enu_m: np.ndarray
    covariance_m2: np.ndarray
    latitude_rad: float = np.nan
    longitude_rad: float = np.nan
    height_m: float = np.nan
    logged_ns: tuple = ()
    by_hand_ns: tuple = ()
    protect_ns: tuple = ()
    around: Surroundings = field(default_factory=Surroundings)
    notes: tuple = ()

    def __len__(self):
        return len(self.time_ns)


def series_of(station, time_ns, local, **options):
    """Return the :class:`StationSeries` of :class:`~stakeline.motion.local.LocalMetres`."""
    place = local.latitude_rad, local.longitude_rad, local.height_m
    return StationSeries(station, time_ns, local.enu_m, local.covariance_m2, *place, **options)


def covariance_of(sigma_m):
    """Return covariances (n, 3, 3) of sigmas (n, 3) or (3,) without correlation. [m2]"""
    sigma = np.asarray(sigma_m, float)
    return sigma[..., :, None] ** 2 * np.eye(3)


@dataclass(frozen=True)
class Tidied:
    """A series in order of time, each time once, all rows usable; and what was put aside."""

    series: StationSeries
    dropped: dict = field(default_factory=dict)
    notes: tuple = ()


def tidied(series):
    """Return the :class:`Tidied` rows of a series.

    Rows without time order are sorted, of a repeated time the surest is kept, rows without
    position or with an impossible covariance are dropped; each is counted and said.

    Raises
    ------
    SettingsError
        Shapes that do not fit.
    SolutionError
        Where fewer than ten usable positions at different times are left.
    """
    series = _shaped(series)
    notes, dropped = [*series.notes], {}
    usable = np.isfinite(series.enu_m).all(axis=1)
    dropped["missing"] = int((~usable).sum())
    variance = np.einsum("nii->ni", series.covariance_m2)
    sound = np.isfinite(series.covariance_m2).all(axis=(1, 2)) & (variance > 0.0).all(axis=1)
    dropped["without sigma"] = int((usable & ~sound).sum())
    if np.any(np.diff(series.time_ns) < 0):
        notes.append("the rows were not in order of time and have been sorted")
    rows = np.flatnonzero(usable & sound)
    surest = variance[rows].sum(axis=1)
    rows = rows[np.lexsort((surest, series.time_ns[rows]))]
    again = np.zeros(len(rows), bool)
    again[1:] = np.diff(series.time_ns[rows]) == 0
    dropped["repeated"] = int(again.sum())
    rows = rows[~again]
    notes += [f"{count} rows {name}" for name, count in dropped.items() if count]
    _need_rows(series, rows)
    notes += _jumps(series.time_ns[rows])
    chosen = replace(
        series,
        time_ns=series.time_ns[rows],
        enu_m=series.enu_m[rows],
        covariance_m2=series.covariance_m2[rows],
    )
    return Tidied(chosen, dropped, tuple(notes))


def _shaped(series):
    """Return the series with arrays of the right kind; SettingsError where they do not fit."""
    time_ns, enu = np.asarray(series.time_ns), np.asarray(series.enu_m, float)
    if series.covariance_m2 is None:
        raise SettingsError(f"{series.station}: positions without sigmas; motion needs them")
    covariance = np.asarray(series.covariance_m2, float)
    n = len(time_ns)
    if time_ns.dtype.kind not in "iu" or enu.shape != (n, 3) or covariance.shape != (n, 3, 3):
        raise SettingsError(
            f"{series.station}: times {time_ns.dtype} {time_ns.shape}, positions {enu.shape}, "
            f"covariances {covariance.shape}; expected int64 (n,), (n, 3) and (n, 3, 3)"
        )
    return replace(series, time_ns=time_ns.astype(np.int64), enu_m=enu, covariance_m2=covariance)


def _need_rows(series, rows):
    if len(rows) < FEWEST_ROWS:
        raise SolutionError(
            f"{series.station}: {len(rows)} usable positions at different times of {len(series)} "
            f"rows; motion needs at least {FEWEST_ROWS}, so none is given"
        )


def _jumps(time_ns):
    """Return a sentence about gaps of years, which are clocks that jump."""
    gaps = np.diff(time_ns) / NS_PER_DAY
    said = []
    for at in np.flatnonzero(gaps > LARGEST_JUMP_D)[:3]:
        said.append(
            f"nothing between {iso(time_ns[at])} and {iso(time_ns[at + 1])}: has a clock jumped? "
            "look at the dates"
        )
    return said
