"""Levels of a lake: what all sources of them share, and levels that maps or series give ready."""

from dataclasses import dataclass

import numpy as np

from ..errors import SolutionError

LEAST_LEVELS = 2  # a change needs two
EXACT_M = 1e-3  # m, sigma of a level at least: maps of change tell 0 of their first; choice


class Levels:
    """Differences of levels ``level_m`` (p,) with covariance ``covariance_m2`` (p, p)."""

    def __len__(self):
        return len(self.time_ns)

    def since(self, first=0):
        """Return (levels since number ``first``, their sigmas), both (p,). [m]"""
        c = self.covariance_m2
        variance = np.diag(c) + c[first, first] - 2.0 * c[first]
        return self.level_m - self.level_m[first], np.sqrt(np.maximum(variance, 0.0))

    def change(self, before, after):
        """Return (level of number ``after`` minus that of ``before``, its sigma). [m]"""
        level, sigma = self.since(before)
        return float(level[after]), float(sigma[after])


@dataclass(frozen=True, eq=False)
class GivenLevels(Levels):
    """Levels of a lake as maps of height change or a ready series tell them.

    ``time_ns`` int64 (p,) GPS time; ``level_m`` (p,), mean over the lake relative to the ground
    around, its zero free; ``covariance_m2`` (p, p); ``pattern``: :class:`~.motion_pattern.Pattern`
    beforehand, for these sources tell nothing of it.
    """

    lake: str
    time_ns: np.ndarray
    level_m: np.ndarray
    covariance_m2: np.ndarray
    pattern: object
    notes: tuple = ()

    def share(self, point_m):
        """Return (motion at a map point (2,) for 1 m of mean level, its sigma), beforehand."""
        point = np.atleast_2d(np.asarray(point_m, float))
        row = self.pattern.weights(point)[0]
        variance = row @ np.linalg.solve(self.pattern.precision, row)
        return float(self.pattern.base(point)[0]), float(np.sqrt(variance))

    def at(self, point_m):
        """Return (heights (p,), covariance (p, p)) at a map point (2,) as the levels tell. [m]"""
        share, sigma = self.share(point_m)
        moved = self.level_m - self.level_m.mean()
        covariance = share**2 * self.covariance_m2 + sigma**2 * np.outer(moved, moved)
        return share * self.level_m, covariance


def given_levels(lake, time_ns, level_m, sigma_m, pattern, summed=False, notes=()):
    """Return the :class:`GivenLevels` of times, levels and sigmas (n,).

    Rows where one of them is NaN are left out. Errors are independent between rows; of a sum of
    changes (``summed``) the changes' are, so that errors of the sum walk:
    cov(i, j) = sum of sigma^2 to the earlier one. For change since a first map, independence makes
    the sigma of a difference between two later maps too large rather than too small.

    Raises SolutionError where fewer than two rows are left.
    """
    columns = [np.asarray(v, float) for v in (level_m, sigma_m)]
    good = np.isfinite(columns[0] + columns[1])
    if good.sum() < LEAST_LEVELS:
        raise SolutionError(
            f"lake {lake}: {int(good.sum())} levels with a sigma; a change needs {LEAST_LEVELS}"
        )
    time_ns, (level, sigma) = np.asarray(time_ns, np.int64)[good], (c[good] for c in columns)
    variance = np.maximum(sigma, EXACT_M) ** 2
    row = np.arange(len(level))
    covariance = np.diag(variance)
    if summed:
        covariance = np.cumsum(variance)[np.minimum(row[:, None], row[None])]
    return GivenLevels(lake, time_ns, level, covariance, pattern, tuple(notes))
