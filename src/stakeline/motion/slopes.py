"""The slope under a station: from its own path, from a grid, given; and what hangs on the choice.

For a flow of 300 to 800 m/a on slopes of 0.5 to 1 % the slope moves a station by 0.4 to 2.2 cm a
day, as much as a lake does; so the source is said, and the residual is shown for each.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from ..inference.memory import effective_size, lag_one_correlation
from .vertical import close_budget, given_term, slope_term

CROSS = 9  # -, points in each arm of the cross over which a surface is averaged; our choice
CONFOUNDED = 0.99  # -, correlation of travel with time above which they are one; our choice


@dataclass(frozen=True)
class PathSlope:
    """A slope by regression of height on travel.

    ``slope`` and ``sigma``; ``independent`` effective number of rows; ``time_correlation`` of
    travel with time: near 1 on a straight path at an even speed, where a slope cannot be told
    from any steady rise or sinking. ``alone_sigma`` is the sigma with such a rate left free (it is
    infinite where that is impossible); ``confounded`` says that ``slope`` holds every steady
    rate as well, and ``caution`` says so in words.
    """

    slope: float
    sigma: float
    alone_slope: float
    alone_sigma: float
    independent: float
    time_correlation: float
    confounded: bool
    caution: str


@dataclass(frozen=True)
class SlopeChoice:
    """What is left of the height with the slope of one source.

    ``residual_rms_m`` about its mean; ``rate_m_d`` of the residual and its ``rate_sigma_m_d``, the
    slope's share in full.
    """

    source: str
    slope: float
    slope_sigma: float
    residual_rms_m: float
    rate_m_d: float
    rate_sigma_m_d: float


def slope_from_path(time_ns, travel_m, up_m):
    """Return the :class:`PathSlope` of a station's own track.

    Parameters
    ----------
    time_ns, travel_m, up_m : array (n,)
        Travel along the flow since the first row, height with all known terms but the slope taken
        off; rows with NaN are left out. [ns, m, m]

    Raises
    ------
    SolutionError
        Fewer than 10 rows, or no travel.

    Notes
    -----
    Least squares; the sigma is widened by the effective number of rows of the residuals. It does
    not hold what a steady vertical rate would do: that is ``alone_sigma``.
    """
    travel, up = np.asarray(travel_m, float), np.asarray(up_m, float)
    whole = np.isfinite(travel) & np.isfinite(up)
    travel, up = travel[whole], up[whole]
    if len(travel) < 10 or not np.ptp(travel) > 0.0:
        raise SolutionError(f"{len(travel)} rows with travel; a slope needs 10 that move")
    time_d = (np.asarray(time_ns, np.int64)[whole] - int(time_ns[0])) / NS_PER_DAY
    correlation = float(np.corrcoef(travel, time_d)[0, 1])
    slope, sigma, independent = _regress(up, [travel])
    alone, alone_sigma, _ = _regress(up, [travel, time_d])
    confounded = abs(correlation) > CONFOUNDED
    caution = (
        f"travel follows time (correlation {correlation:.4f}): this slope holds every steady rise "
        f"or sinking too; apart from one it is known to {alone_sigma:.2g} only"
        if confounded
        else "a steady vertical rate can be told from the slope"
    )
    return PathSlope(
        slope, sigma, alone, alone_sigma, independent, correlation, confounded, caution
    )


def _regress(up, columns):
    """Return (coefficient of the first column, its sigma, effective number of rows)."""
    centred = [c - c.mean() for c in columns]
    design = np.stack([np.ones(len(up)), *[c / np.abs(c).max() for c in centred]], axis=1)
    value, *_ = np.linalg.lstsq(design, up, rcond=None)
    left = up - design @ value
    memory = lag_one_correlation(left)
    independent = float(effective_size(len(up), 0.0 if np.isnan(memory) else memory))
    unit = np.abs(centred[0]).max()
    if np.linalg.cond(design) > 1e10:
        return float(value[1] / unit), np.inf, independent
    variance = left @ left / (len(up) - design.shape[1]) * len(up) / independent
    row = np.linalg.pinv(design)[1]  # the normal matrix would lose it where travel is nearly time
    sigma = np.sqrt(variance * (row @ row))
    return float(value[1] / unit), float(sigma / unit), independent


def surface_term(east_m, north_m, height_at, length_m, slope_sigma, source):
    """Return the slope term of a surface given as a function: its height along the path.

    Parameters
    ----------
    east_m, north_m : array (n,)
        Path of the station. [m]
    height_at : callable
        ``height_at(east_m, north_m)`` returns heights (n,), NaN outside. [m]
    length_m : float
        The surface is averaged over a cross of this length, since ice bridges what is shorter than
        a few thicknesses; 0 for none. [m]
    slope_sigma : float
        Of the surface's slope, common to the whole path.
    source : str

    Returns
    -------
    Term
        Relative to the first place where the surface is known; NaN where it is not.
    """
    east, north = np.asarray(east_m, float), np.asarray(north_m, float)
    if not length_m >= 0.0:
        raise SettingsError(f"length is {length_m} m; expected 0 or more")
    height = averaged(height_at, east, north, length_m)
    there = np.flatnonzero(np.isfinite(height))
    first = there[0] if there.size else 0
    travel = np.hypot(east - east[first], north - north[first])
    return given_term(
        "slope", height - height[first], 0.0, slope_sigma * travel, (f"slope ({source})",), source
    )


def averaged(height_at, east_m, north_m, length_m):
    """Return heights (n,) of a surface, means over a cross as in :func:`surface_term`. [m]"""
    if length_m == 0.0:
        return np.asarray(height_at(east_m, north_m), float)
    shifts = np.linspace(-0.5, 0.5, CROSS) * length_m
    along_east = [height_at(east_m + s, north_m) for s in shifts]
    along_north = [height_at(east_m, north_m + s) for s in shifts]
    return np.mean(along_east + along_north, axis=0)


def compare_slopes(time_ns, measured_m, sigma_m, travel_m, sources, other_terms=()):
    """Return the residual's rms and rate for each source of the slope: tuple of SlopeChoice.

    ``sources``: mapping of a name to (slope, sigma), or to a :class:`~stakeline.motion.vertical.
    Term` such as that of :func:`surface_term`. A name ``none`` is added, without any slope.
    """
    travel = np.asarray(travel_m, float)
    rows = []
    for name, given in {"none": (0.0, 0.0), **sources}.items():
        if isinstance(given, tuple):
            term, (slope, slope_sigma) = slope_term(travel, *given, name), given
        else:
            term = given
            slope = float(_regress(*_present(term.value_m, travel))[0])
            slope_sigma = float(_regress(*_present(term.factor_m[:, 0], travel))[0])
        budget = close_budget(time_ns, measured_m, sigma_m, (term, *other_terms))
        memory = lag_one_correlation(_detrended(budget))
        count = effective_size(len(travel), 0.0 if np.isnan(memory) else memory)
        rate, rate_sigma = budget.rate(count)
        rms = float(np.nanstd(budget.residual_m))
        rows.append(SlopeChoice(name, slope, slope_sigma, rms, rate, rate_sigma))
    return tuple(rows)


def _present(values, travel):
    whole = np.isfinite(values) & np.isfinite(travel)
    return values[whole], [travel[whole]]


def _detrended(budget):
    """Return the residual (n,) less a straight line."""
    whole = np.isfinite(budget.residual_m)
    time_d = (budget.time_ns - budget.time_ns[0]) / NS_PER_DAY
    line = np.polynomial.Polynomial.fit(time_d[whole], budget.residual_m[whole], 1)
    return budget.residual_m - line(time_d)
