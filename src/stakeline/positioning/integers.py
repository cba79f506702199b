"""Whole numbers from real ones: integer least squares, and when to believe it.

Double-differenced phase ambiguities are whole numbers of cycles. Their real-valued estimates are
strongly correlated, so rounding each is poor. Integer least squares takes the integer vector
nearest in the metric of their covariance; a whole-number change of variables first makes the
search short (Teunissen 1995, J. Geodesy 70, 65-82; de Jonge & Tiberius 1996, LGR series 12,
Delft; search: Chang, Yang & Zhou 2005, J. Geodesy 79, 552-565).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from ..errors import SolutionError
from ._integer_kernels import factor, reduce, search

SAMPLES = 10_000  # of the simulated failure rate; resolves 1e-3 to a third of it; our choice
FAILURE_RATE = 1e-3  # -, common practice: Verhagen & Teunissen 2013


@dataclass(frozen=True)
class Decorrelated:
    """A covariance after the change of variables: ``lower' diag(variance) lower``.

    ``back`` (n, n) turns transformed vectors into the original ones, ``forth`` is its inverse;
    both hold whole numbers. ``variance`` are those of each entry given all later ones.
    """

    lower: np.ndarray
    variance: np.ndarray
    back: np.ndarray
    forth: np.ndarray

    @property
    def success(self):
        """Probability that rounding one after the other, from the last, is right.

        A lower bound of that of integer least squares (Teunissen 1999, J. Geodesy 73, 587-593).
        """
        return float(np.prod(certainties(self.variance)))


@dataclass(frozen=True)
class IntegerFit:
    """Nearest integer vectors (c, n), best first, and their squared distances (c,)."""

    vectors: np.ndarray
    distances: np.ndarray
    success: float

    @property
    def ratio(self):
        """Second distance over the best one; infinity where the best is exact."""
        best = self.distances[0]
        return float(self.distances[1] / best) if best > 0.0 else np.inf


def certainties(variance):
    """Return the probability (n,) that a normal error of a variance stays under half a cycle."""
    return 2.0 * ndtr(0.5 / np.sqrt(variance)) - 1.0


def decorrelate(covariance):
    """Return the :class:`Decorrelated` form of a covariance (n, n) [cycles2].

    Raises
    ------
    SolutionError
        Where it is not symmetric and positive definite.
    """
    q = np.array(covariance, float)
    if q.ndim != 2 or q.shape[0] != q.shape[1] or not q.size:
        raise SolutionError(f"covariance of shape {q.shape}; a square one is needed")
    if not np.isfinite(q).all() or np.abs(q - q.T).max() > 1e-6 * np.abs(q).max():
        raise SolutionError("the covariance of the ambiguities is not symmetric and finite")
    lower, d, back = np.zeros_like(q), np.empty(len(q)), np.eye(len(q))
    bad = factor(q, lower, d)
    if bad:
        raise SolutionError(
            f"the covariance of the ambiguities is not positive definite (row {bad} of {len(q)}): "
            "two of them depend on each other; leave one out"
        )
    reduce(lower, d, back)
    return Decorrelated(lower, d, back, np.round(np.linalg.inv(back)))


def integer_least_squares(values, covariance, candidates=2):
    """Return the :class:`IntegerFit` of real values (n,) with a covariance (n, n). [cycles]

    Raises SolutionError where the covariance is none or a value is not finite.
    """
    values = np.asarray(values, float)
    if not np.isfinite(values).all():
        raise SolutionError("an ambiguity is not finite; leave it out before fixing")
    if candidates < 1:
        raise SolutionError(f"{candidates} candidates asked for; at least one is needed")
    form = decorrelate(covariance)
    whole = np.floor(values)
    vectors, distances = _nearest(form, form.forth @ (values - whole), candidates)
    return IntegerFit(np.round(vectors @ form.back.T + whole), distances, form.success)


def _nearest(form, center, candidates):
    vectors, distances = np.empty((candidates, len(center))), np.empty(candidates)
    search(form.lower, form.variance, np.ascontiguousarray(center), vectors, distances)
    return vectors, distances


def critical_ratio(covariance, rng, failure_rate=FAILURE_RATE, samples=SAMPLES):
    """Return the ratio from which on accepted integers are wrong at most at a given rate.

    The rate is over all trials: accepted and wrong. Found by simulation with the covariance itself,
    which is how the published tables were made (Verhagen & Teunissen 2013, GPS Solutions 17,
    535-548). At least 1: where integer least squares alone fails more rarely, all is accepted.

    Parameters
    ----------
    covariance : array, shape (n, n)
        [cycles2]
    rng : numpy.random.Generator
    failure_rate : float
    samples : int
        Must be enough to see failures: three over the rate at least.
    """
    if samples * failure_rate < 3.0:
        raise SolutionError(
            f"{samples} samples cannot show a failure rate of {failure_rate:g}; give at least "
            f"{int(np.ceil(3.0 / failure_rate))}"
        )
    form = decorrelate(covariance)
    spread = np.sqrt(form.variance)
    wrong = []
    for _ in range(samples):
        center = (rng.standard_normal(len(spread)) * spread) @ form.lower
        vectors, distances = _nearest(form, center, 2)
        if vectors[0].any():
            wrong.append(distances[1] / distances[0])
    allowed = int(failure_rate * samples)
    if len(wrong) <= allowed:
        return 1.0
    return float(np.sort(wrong)[::-1][allowed])
