"""The heights of all stations over one lake as one series, what stands beside it taken off."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from ..motion.rows import checked_times

LEAST_ROWS = 40  # of the series; choice
LOPSIDED = 0.1  # -, of the step: farther off its middle a mean of few rows is not taken; choice
CONTROL_D = 3.0  # d, over which control stations are smoothed before they are taken off; choice
CONTROL_COVERS = 0.8  # -, of the rows with a control near, below which it is not used; choice


@dataclass(frozen=True, eq=False)
class StationUp:
    """What is left of a station's height when all known parts are taken off.

    Attributes
    ----------
    station : str
    time_ns, up_m, sigma_m : arrays (n,)
        GPS time ascending; NaN is missing; sigma of what is independent between rows.
    share : float
        What the surface there does for 1 m of roof, where it is known.
    control : bool
        Beside the lake.
    step_ns : tuple of int
        Equipment steps that are not yet taken off: each gets a size of its own.
    design : array (n, p) or None
        Other regressors with unknown factors: the travel of a station's own path. Waves of the day
        are added by :func:`combined_series`; the season (burial, melt) has no regressor and is
        left to the velocity that walks.
    at_once : float or None
        Of its change, the share that the ice shows at once, by maps (``surface.at_once_shares``);
        None: not known.
    """

    station: str
    time_ns: np.ndarray
    up_m: np.ndarray
    sigma_m: np.ndarray
    share: float = 1.0
    control: bool = False
    step_ns: tuple = ()
    design: np.ndarray | None = None
    at_once: float | None = None


@dataclass(frozen=True, eq=False)
class LakeSeries:
    """One series (n,) of a lake at even times with gaps, weighted mean over its stations.

    ``place`` (n,): number of the row on the even grid; ``day`` (n,) of the middle of the means
    since ``start_ns``, the middle of the first.
    ``design`` (n, p): offset, line, and whatever else has an unknown factor. ``gain`` (n,): by how
    much the stations of a row feel the lake, over the mean. ``own``: binned series of each station
    (name, up, sigma, design), NaN where missing. ``beside_m`` (n,): of controls, taken off.
    ``at_once``: share of a change that the ice shows at once, by maps; None: not known.
    """

    start_ns: int
    step_d: float
    place: np.ndarray
    up_m: np.ndarray
    sigma_m: np.ndarray
    design: np.ndarray
    gain: np.ndarray
    own: tuple
    controls: tuple
    beside_m: np.ndarray
    notes: tuple
    at_once: float | None = None

    @property
    def day(self):
        """Time of the rows. [d]"""
        return self.place * self.step_d

    @property
    def years(self):
        """Length of what was measured. [a]"""
        return len(self.place) * self.step_d / 365.25

    def time_ns(self, day):
        """Return GPS time of days since the start. [ns]"""
        return self.start_ns + np.round(np.asarray(day, float) * NS_PER_DAY).astype(np.int64)


def combined_series(stations, step_h=3.0, leakage_h=(23.9345, 12.4206)):
    """Return the :class:`LakeSeries` of :class:`StationUp` over and beside one lake.

    Parameters
    ----------
    stations : sequence of StationUp
    step_h : float
        Means are taken over it. [h]
    leakage_h : tuple of float
        Periods of what leaks from tides and daily multipath: a wave of each is a regressor. [h]

    Raises
    ------
    SolutionError
        Where no station stands over the lake, or too few rows are there.

    Notes
    -----
    Where a station begins, fails or is moved, its weight goes in or out: its offset and slope
    against the mean are regressors then, so that the mean does not jump.
    """
    over = [s for s in stations if not s.control]
    if not over:
        raise SolutionError("no station stands over the lake; only controls were given")
    step_ns = round(step_h * NS_PER_DAY / 24.0)
    half = min(_half_step(s) for s in stations)  # a row stands for the time on both its sides
    start = min(int(s.time_ns[0]) for s in stations) - half
    last = max(int(s.time_ns[-1]) for s in stations)
    count = (last - start) // step_ns + 1
    own = [_binned(s, start, step_ns, count) for s in over]
    up = np.array([o[1] for o in own])
    sigma = np.array([np.nanmedian(o[2]) if np.isfinite(o[2]).any() else np.nan for o in own])
    present = np.isfinite(up)
    if present.any(axis=0).sum() < LEAST_ROWS:
        raise SolutionError(
            f"{int(present.any(axis=0).sum())} means of {step_h:g} h over the lake; events need "
            f"{LEAST_ROWS}"
        )
    weight = present / np.where(np.isfinite(sigma), sigma, 1.0)[:, None] ** 2
    total = weight.sum(axis=0)
    place = np.flatnonzero(total > 0.0)
    weight = weight[:, place] / total[place]
    mean = np.nansum(weight * np.where(present, up, 0.0)[:, place], axis=0)
    controls = [_binned(s, start, step_ns, count) for s in stations if s.control]
    beside, notes = _beside(controls, place, step_h)
    share = np.array([s.share for s in over])
    gain = share @ weight
    design = _design(place, step_h / 24.0, weight, own, leakage_h)
    return LakeSeries(
        *(start + step_ns // 2, step_h / 24.0, place, mean - beside, total[place] ** -0.5),
        *(design, gain / gain.mean(), tuple(own), tuple(controls), beside, notes),
        at_once=_mean_at_once(over, weight.mean(axis=1)),
    )


def _mean_at_once(over, weight):
    """Return the mean share at once of stations; None where one of them has none."""
    if any(s.at_once is None for s in over):
        return None
    part = weight * [s.share for s in over]
    return float(part @ [s.at_once for s in over] / part.sum())


def _half_step(station):
    """Return half the usual distance of rows; 0 where there are no two. [ns]"""
    time_ns = checked_times(station.time_ns)
    return int(np.median(np.diff(time_ns))) // 2 if len(time_ns) > 1 else 0


def _binned(station, start, step_ns, count):
    """Return (name, up (count,), sigma, design (count, p)): means, NaN where nothing is."""
    time_ns, up = checked_times(station.time_ns), np.asarray(station.up_m, float)
    sigma = np.broadcast_to(np.asarray(station.sigma_m, float), up.shape)
    if up.shape != time_ns.shape:
        raise SettingsError(f"{station.station}: {len(time_ns)} times, heights {up.shape}")
    extra = np.zeros((len(up), 0)) if station.design is None else np.asarray(station.design, float)
    steps = [(time_ns >= s).astype(float) for s in station.step_ns]
    extra = np.column_stack([*steps, extra]) if steps else extra
    good = np.isfinite(up) & np.isfinite(sigma) & np.isfinite(extra).all(axis=1)
    row = (time_ns[good] - start) // step_ns
    number = np.bincount(row, minlength=count)
    with np.errstate(invalid="ignore", divide="ignore"):

        def mean(values):
            return np.bincount(row, values, count) / number

        middle = np.where(
            _lopsided(time_ns[good] - start, row, number, step_ns), np.nan, mean(up[good])
        )
        spread = np.sqrt(mean(sigma[good] ** 2) / number)
        table = np.stack([mean(c[good]) for c in extra.T], axis=1) if extra.shape[1] else None
    table = np.zeros((count, 0)) if table is None else np.nan_to_num(table)
    return station.station, middle, spread, table


def _lopsided(time_ns, row, number, step_ns):
    """Say which means (count,) hold rows of one side only, as at a gap: they would stand elsewhere.

    Means with as many rows as usual are never meant.
    """
    off = np.bincount(row, time_ns - (row + 0.5) * step_ns, len(number)) / np.maximum(number, 1)
    usual = np.median(number[number > 0]) if number.any() else 0.0
    return (number < usual) & (np.abs(off) > LOPSIDED * step_ns)


def _beside(controls, place, step_h):
    """Return (what the controls do, smoothed (n,), notes).

    What a running mean leaves is smoothed once more and added (twicing: Tukey 1977, Exploratory
    Data Analysis, chapter 16, from memory): a control that moves along with the lake keeps its
    form, which the mean alone would smear.
    """
    if not controls:
        return np.zeros(len(place)), ("no control station: what all ice does is not taken off",)
    count = len(controls[0][1])
    rows = np.arange(count)
    flat = [c[1] - _stepped(c) for c in controls]
    level = np.array([f - np.nanmedian(f) if np.isfinite(f).any() else f for f in flat])
    there = np.isfinite(level).any(axis=0)
    width = max(1, round(CONTROL_D * 24.0 / step_h))
    near = np.convolve(there, np.ones(width), mode="same")[place] > 0.0
    if near.mean() < CONTROL_COVERS:
        said = f"the controls cover {near.mean():.0%} of the rows: they are not taken off"
        return np.zeros(len(place)), (said,)
    mean = np.nansum(np.where(np.isfinite(level), level, 0.0), axis=0) / np.maximum(
        np.isfinite(level).sum(axis=0), 1
    )
    smooth = _smoothed(mean, there, width)
    smooth += _smoothed(mean - smooth, there, width)
    known = np.isfinite(smooth)
    names = ", ".join(c[0] for c in controls)
    course = np.interp(place, rows[known], smooth[known])
    return course, (f"taken off: mean of {names}, smoothed over {CONTROL_D:g} d",)


def _smoothed(values, there, width):
    """Return running means (n,) of what is there; NaN where nothing is near."""
    number = np.convolve(there, np.ones(width), mode="same")
    total = np.convolve(np.where(there, values, 0.0), np.ones(width), mode="same")
    return np.where(number > 0.5, total / np.maximum(number, 1.0), np.nan)


def _stepped(control):
    """Return what steps and other regressors of a control explain, by least squares."""
    _, up, _, table = control
    good = np.isfinite(up)
    if not table.shape[1] or good.sum() < table.shape[1] + 3:
        return np.zeros(len(up))
    line = np.stack([np.ones(len(up)), np.arange(len(up)) / len(up)], axis=1)
    found, *_ = np.linalg.lstsq(np.hstack([line, table])[good], up[good], rcond=None)
    return table @ found[2:]


def _design(place, step_d, weight, own, leakage_h):
    """Return offset, line, and the other regressors (n, p) that the rows can tell apart."""
    day = place * step_d
    line = (day - day.mean()) / max(np.ptp(day), 1.0)
    columns = [np.ones(len(day)), line]
    if np.ptp(weight, axis=1).max() > 1e-6:
        for w in weight[:-1]:
            columns += [w, w * line]
    for (_, _, _, table), w in zip(own, weight, strict=True):
        columns += [w * column for column in table[place].T]
    for period in leakage_h:
        if period > 2.5 * step_d * 24.0:
            turn = 2.0 * np.pi * day * 24.0 / period
            columns += [np.cos(turn), np.sin(turn)]
    return independent(np.stack(columns, axis=1))


def independent(columns, least=1e-6):
    """Return the columns (n, q) that are not sums of those before them."""
    kept = []
    base = np.zeros((len(columns), 0))
    for k, column in enumerate(columns.T):
        rest = column - base @ (base.T @ column)
        rest = rest - base @ (base.T @ rest)
        if np.linalg.norm(rest) > least * max(np.linalg.norm(column), 1e-30):
            kept.append(k)
            base = np.column_stack([base, rest / np.linalg.norm(rest)])
    return columns[:, kept]
