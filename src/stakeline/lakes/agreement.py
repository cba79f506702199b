"""Do two measures of the same changes agree within what they say of themselves?"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError

WINDOW_D = 1.0  # d, of a station's heights about a pass; choice
SLOW_M = 0.01  # m, what a station's height is off over weeks; choice: a good day of a good station
LEAST = 3  # common times; choice
DOUBLINGS = 30  # of the step by which the end of an interval is looked for; choice


@dataclass(frozen=True, eq=False)
class Agreement:
    """How heights agree at common times, their zeros free.

    Attributes
    ----------
    time_ns : int64 array, shape (n,)
    difference_m, sigma_m : arrays, shape (n,)
        First minus second, ``offset_m`` taken off, and what it should be off by.
    offset_m, offset_sigma_m : float
        Weighted mean of the differences: where both have one datum, the bias between them.
    slope, slope_sigma : float
        Metres of the first for a metre of the second; NaN where the second does not change.
    chi_square, freedom : float
    p_value : float
        Of differences as large or larger by chance, if all sigmas are true.
    """

    time_ns: np.ndarray
    difference_m: np.ndarray
    sigma_m: np.ndarray
    offset_m: float
    offset_sigma_m: float
    slope: float
    slope_sigma: float
    chi_square: float
    freedom: int
    p_value: float


def heights_near(time_ns, up_m, sigma_m, at_ns, window_d=WINDOW_D, slow_m=SLOW_M):
    """Return (means (n,), sigmas (n,)) of a station's heights about times. [m]

    Parameters
    ----------
    time_ns, up_m, sigma_m : arrays (m,)
        GPS time ascending; NaN is missing; sigma of what is independent between rows.
    at_ns : int64 array (n,)
    window_d : float
        Length of what is averaged. [d]
    slow_m : float
        Sigma of what is common to all rows of a window. [m]

    Returns
    -------
    NaN where the window holds no height.
    """
    good = np.isfinite(up_m) & np.isfinite(sigma_m)
    time_ns = np.asarray(time_ns, np.int64)[good]
    up, sigma = np.asarray(up_m, float)[good], np.broadcast_to(sigma_m, good.shape)[good]
    mean, spread = np.full((2, len(at_ns)), np.nan)
    half = round(0.5 * window_d * NS_PER_DAY)
    for k, middle in enumerate(np.asarray(at_ns, np.int64)):
        rows = slice(*np.searchsorted(time_ns, [middle - half, middle + half]))
        if rows.stop > rows.start:
            mean[k] = up[rows].mean()
            white = np.sqrt(np.mean(sigma[rows] ** 2) / (rows.stop - rows.start))
            spread[k] = np.hypot(white, slow_m)
    return mean, spread


def agreement(time_ns, first_m, first_covariance_m2, second_m, second_covariance_m2):
    """Return the :class:`Agreement` of two measures (n,) of the same heights, zeros free.

    Rows where either is NaN are left out. Generalised least squares with both covariances (Aitken
    1935, Proc. R. Soc. Edinb. 55, 42); chi-square with one degree of freedom less than there are
    rows. The slope has errors in both: the most probable one where the true heights are left free.

    Raises
    ------
    SettingsError
        Where shapes differ.
    SolutionError
        Where fewer than three times are common.
    """
    first, second = np.asarray(first_m, float), np.asarray(second_m, float)
    covariance = np.asarray(first_covariance_m2, float) + np.asarray(second_covariance_m2, float)
    if first.shape != second.shape or covariance.shape != (len(first), len(first)):
        raise SettingsError(
            f"heights {first.shape} and {second.shape}, covariance {covariance.shape}"
        )
    good = np.flatnonzero(np.isfinite(first + second + np.diag(covariance)))
    if len(good) < LEAST:
        raise SolutionError(f"{len(good)} common times; agreement needs {LEAST}")
    own = [np.asarray(c, float)[np.ix_(good, good)]
           for c in (first_covariance_m2, second_covariance_m2)]  # fmt: skip
    covariance = covariance[np.ix_(good, good)]
    root = cho_factor(covariance)
    one = np.ones(len(good))
    rest = (first - second)[good]
    precision = one @ cho_solve(root, one)
    offset = float(one @ cho_solve(root, rest) / precision)
    left = rest - offset
    chi_square = float(left @ cho_solve(root, left))
    slope, slope_sigma = line_of(second[good], own[1], first[good], own[0])
    freedom = len(good) - 1
    sigma = np.sqrt(np.maximum(np.diag(covariance) - 1.0 / precision, 0.0))
    return Agreement(
        np.asarray(time_ns, np.int64)[good], left, sigma, offset, float(precision**-0.5), slope,
        slope_sigma, chi_square, freedom, float(chi2.sf(chi_square, freedom)),
    )  # fmt: skip


def line_of(x, x_covariance, y, y_covariance):
    """Return (slope of y on x, its sigma) with errors (n, n) in both, the zero free; NaN if none.

    True x are left free; what is left is the normal density of y - a - b x with the covariance
    Cy + b^2 Cx, and b is the slope of the least square of it: with independent errors that of York
    et al. (2004), Am. J. Phys. 72, 367. Sigma: half the interval in which chi-square is less than
    1 above its least.
    """
    if np.ptp(x) == 0.0:
        return np.nan, np.nan
    design = np.stack([np.ones(len(x)), x - x.mean()], axis=1)
    root = cho_factor(x_covariance + y_covariance)
    covariance = np.linalg.inv(design.T @ cho_solve(root, design))
    start, wide = (covariance @ (design.T @ cho_solve(root, y)))[1], np.sqrt(covariance[1, 1])

    def square(slope):
        factor = cho_factor(y_covariance + slope**2 * x_covariance)
        rest = y - slope * x
        inverse = cho_solve(factor, np.stack([np.ones(len(x)), rest], axis=1))
        free = inverse[:, 0].sum()
        return rest @ inverse[:, 1] - inverse[:, 1].sum() ** 2 / free

    found = minimize_scalar(square, bracket=(start - wide, start + wide))
    ends = [_where(lambda b: square(b) - found.fun - 1.0, found.x, way * wide) for way in (-1, 1)]
    return float(found.x), 0.5 * float(ends[1] - ends[0])


def _where(over, start, step):
    """Return where a function that is -1 at ``start`` becomes 0 on one side; inf where nowhere."""
    for _ in range(DOUBLINGS):
        if over(start + step) > 0.0:
            return brentq(over, start, start + step)
        step *= 2.0
    return np.copysign(np.inf, step)
