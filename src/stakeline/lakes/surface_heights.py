"""Heights of the surface at a station by satellite passes, and the bias of these against it.

Points of a pass within some distance are brought to the station by the slope and the bend of the
surface, which are the same for all passes about it; each pass keeps a height of its own:

    h = c_p + f(x) - f(x_p) + noise,    f(x) = s . x + (b_xx x^2 + 2 b_xy x y + b_yy y^2) / 2

x_p: where the station stood at the time of the pass. So the surface may rise and sink, and the
station may move, without either being taken for a bias; waves of the surface stay where they are.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import t as student

from ..errors import SolutionError
from .altimetry import AltimetrySettings, passes_of

LEAST_POINTS = 5  # of a pass within the distance; choice
LEAST_PASSES = 3  # for a bias; choice
SLOPE = 0.02  # -, sigma of a component of the surface's slope beforehand: about 1 degree; choice
BEND_1_M = 3e-6  # 1/m, of a bend: waves of 2 m over 5 km bend so; choice
WILD = 4.0  # robust sigmas of a point that is left out; choice
ROUNDS = 3  # of leaving out; choice
TAU_M = 50.0  # m, most of what passes may scatter; choice


@dataclass(frozen=True, eq=False)
class PassHeights:
    """Heights of the surface at a station, one for each pass over it.

    ``time_ns``, ``points`` int (p,); ``height_m`` (p,), ``covariance_m2`` (p, p); ``moved_m`` (p,):
    what slope and bend brought to the mean of the points; ``moved_sigma_m`` (p,) of that alone;
    ``slope``, ``slope_sigma`` (2,) along the axes of the map; ``away_m`` (p,): from the station to
    the middle of the points, true metres.
    """

    time_ns: np.ndarray
    points: np.ndarray
    height_m: np.ndarray
    covariance_m2: np.ndarray
    moved_m: np.ndarray
    moved_sigma_m: np.ndarray
    slope: np.ndarray
    slope_sigma: np.ndarray
    away_m: np.ndarray


@dataclass(frozen=True, eq=False)
class HeightBias:
    """The mean of passes minus station.

    ``bias_m``, ``sigma_m``; ``scatter_m``: by which passes scatter more than they say;
    ``interval_m`` (2,): of the mean, 95 %; ``whole_m`` (2,): with what is common to all passes.
    """

    bias_m: float
    sigma_m: float
    scatter_m: float
    interval_m: np.ndarray
    whole_m: np.ndarray
    passes: int


def pass_heights(points, place_at, near_m, scale=1.0):
    """Return the :class:`PassHeights` at a station.

    Parameters
    ----------
    points : SurfacePoints
    place_at : callable
        From a GPS time [ns] to the station's map point (2,); None where it was not there.
    near_m : float
        True metres from the station within which points count.
    scale : float
        Map metres of a true metre.

    Raises
    ------
    SolutionError
        Where no pass has five points there.
    """
    rows, off, here, number, middle = _near(points, place_at, near_m, scale)
    if not len(rows):
        raise SolutionError(f"no pass with {LEAST_POINTS} points within {near_m:g} m")
    height, time_ns = points.height_m[rows], points.time_ns[rows]
    told = points.sigma_m[rows]
    sigma = np.where(np.isfinite(told), told, AltimetrySettings().sigma_m)
    kept = np.ones(len(rows), bool)
    columns = _columns(off + here - here[0]) - _columns(here - here[0])
    for _ in range(ROUNDS):
        found, covariance, rest = _surface(columns, height, sigma, number, kept)
        spread = 1.4826 * np.median(np.abs(rest[kept] / sigma[kept]))  # normal distribution
        kept = np.abs(rest / sigma) <= WILD * max(spread, 1.0)
    passes = np.unique(number[kept])
    mean = _means(number, kept, passes)
    centre = mean @ columns
    own = np.array([
        _variance(rest, sigma, time_ns, np.flatnonzero(kept & (number == k))) for k in passes
    ])  # fmt: skip
    moved = -centre @ found
    of_shape = centre @ covariance @ centre.T
    return PassHeights(
        np.array(middle, np.int64)[passes], (mean > 0.0).sum(axis=1), mean @ height + moved,
        np.diag(own) + of_shape, moved, np.sqrt(np.diag(of_shape)), found[:2],
        np.sqrt(np.diag(covariance)[:2]), np.hypot(*(mean @ off).T),
    )  # fmt: skip


def _near(points, place_at, near_m, scale):
    """Return (rows, offsets from the station and its places (n, 2), passes (n,), their times).

    Offsets and places in true metres.
    """
    number = passes_of(points.time_ns, AltimetrySettings().pass_gap_s)
    kept, offs, places, numbers, middle = [], [], [], [], []
    for k in np.unique(number):
        rows = np.flatnonzero(number == k)
        here = place_at(int(np.median(points.time_ns[rows])))
        if here is None:
            continue
        off = (points.point_m[rows] - here) / scale
        near = np.hypot(*off.T) <= near_m
        if near.sum() >= LEAST_POINTS:
            kept.append(rows[near])
            offs.append(off[near])
            places.append(np.broadcast_to(here / scale, (near.sum(), 2)))
            numbers.append(np.full(near.sum(), len(middle)))
            middle.append(int(np.median(points.time_ns[rows[near]])))
    if not kept:
        return np.zeros(0, int), np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, int), ()
    return *map(np.concatenate, (kept, offs, places, numbers)), middle


def _columns(off):
    """Return the columns (n, 5) of slope and bend."""
    x, y = off.T
    return np.stack([x, y, 0.5 * x**2, x * y, 0.5 * y**2], axis=1)


def _means(number, kept, passes):
    """Return the matrix (p, n) that takes means over the kept points of passes."""
    mean = (number[None] == passes[:, None]) & kept[None]
    return mean / mean.sum(axis=1, keepdims=True)


def _surface(columns, height, sigma, number, kept):
    """Return (slope and bend (5,), covariance, residuals (n,)), heights of passes left free."""
    passes = np.unique(number[kept])
    mean = _means(number, kept, passes)
    place = np.searchsorted(passes, number).clip(max=len(passes) - 1)
    free, rest = columns - (mean @ columns)[place], height - (mean @ height)[place]
    weight = kept / sigma**2
    prior = np.diag([SLOPE**-2.0] * 2 + [BEND_1_M**-2.0] * 3)
    covariance = np.linalg.inv(free.T @ (weight[:, None] * free) + prior)
    found = covariance @ (free.T @ (weight * rest))
    left = rest - free @ found
    misfit = np.sum(weight * left**2) / max(kept.sum() - len(passes), 1)
    # noise that is larger than told widens what it makes of slope and bend
    covariance = np.linalg.inv(free.T @ (weight[:, None] * free) / max(misfit, 1.0) + prior)
    return found, covariance, left


def _variance(rest, sigma, time_ns, rows):
    """Return the variance of a pass's mean: points correlated along the track count for fewer."""
    left = rest[rows][np.argsort(time_ns[rows], kind="stable")]
    near = float(np.clip(left[1:] @ left[:-1] / max(left @ left, 1e-12), 0.0, 0.95))
    count = max(len(left) * (1.0 - near) / (1.0 + near), 1.0)  # Bartlett 1935, of an AR(1)
    return max(float(np.mean(sigma[rows] ** 2)), float(np.var(left))) / count


def height_bias(difference_m, covariance_m2, common_sigma_m=0.0, level=0.95):
    """Return the :class:`HeightBias` of differences (p,) with a covariance (p, p).

    What passes scatter beyond their covariance is found so that chi-square is p - 1 (Paule & Mandel
    1982, J. Res. Natl. Bur. Stand. 87, 377); the mean is that of generalised least squares, its
    interval that of Student with p - 1 degrees of freedom. ``common_sigma_m`` is what no mean over
    passes lessens.

    Raises SolutionError for fewer than three differences.
    """
    good = np.flatnonzero(np.isfinite(difference_m))
    if len(good) < LEAST_PASSES:
        raise SolutionError(f"{len(good)} passes with both heights; a bias needs {LEAST_PASSES}")
    rest = np.asarray(difference_m, float)[good]
    covariance = np.asarray(covariance_m2, float)[np.ix_(good, good)]

    def solved(tau):
        inverse = np.linalg.inv(covariance + tau**2 * np.eye(len(rest)))
        precision = inverse.sum()
        mean = inverse.sum(axis=0) @ rest / precision
        return mean, precision**-0.5, (rest - mean) @ inverse @ (rest - mean) - (len(rest) - 1)

    tau = 0.0 if solved(0.0)[2] <= 0.0 else brentq(lambda t: solved(t)[2], 0.0, TAU_M)
    mean, sigma, _ = solved(tau)
    half = student.ppf(0.5 + 0.5 * level, len(rest) - 1) * sigma
    whole = np.hypot(half, 1.96 * common_sigma_m)  # 95 % of a normal distribution
    sides = np.array([-1.0, 1.0])
    return HeightBias(
        float(mean), float(sigma), float(tau), mean + half * sides, mean + whole * sides, len(rest)
    )
