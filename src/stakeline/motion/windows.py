"""Velocity by straight lines in windows that do not overlap, for those who want them."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError
from ..inference.memory import (
    coloured_variance,
    effective_size,
    lag_one_correlation,
    line_weights,
)
from .rows import checked_rows

SHORTEST_D, LONGEST_D = 1.0 / 24.0, 30.0  # d, of a window; our choice: an hour to a month


@dataclass(frozen=True)
class Windows:
    """Velocity of one axis in windows, honest under the noise given.

    ``start_ns``, ``end_ns`` (m,); ``time_ns`` the weighted mean of the times measured inside, the
    middle where there is no velocity. ``position_m`` (m,) the weighted mean of the positions
    measured inside, that at ``time_ns``. ``count`` of positions, and ``independent`` (m,): how many
    independent ones of the same total sigma would give the same sigma of the velocity.
    ``effective_count``: how many independent windows the row of velocities counts for, by its
    lag-one correlation, signal included: the number to use in a test of a mean.
    """

    start_ns: np.ndarray
    end_ns: np.ndarray
    time_ns: np.ndarray
    velocity_m_d: np.ndarray
    velocity_sigma_m_d: np.ndarray
    position_m: np.ndarray
    count: np.ndarray
    independent: np.ndarray
    effective_count: float


def window_velocities(
    time_ns, position_m, sigma_m, window_d, *,
    coloured_sigma_m=(), coloured_memory_d=(), white_scale=1.0,
    least_share=0.5, longest_gap_d=np.inf,
):  # fmt: skip
    """Fit a weighted straight line in each window of one axis.

    Parameters
    ----------
    time_ns, position_m, sigma_m : array (n,)
        As for :func:`stakeline.motion.smoother.smooth`.
    window_d : float
        Length, 1 h to 30 d; windows begin at whole multiples since 1970-01-01T00 GPS. [d]
    coloured_sigma_m, coloured_memory_d : array (k,)
        Gauss-Markov noises, any number: for flicker noise those of
        :func:`stakeline.inference.noise.flicker_memories`. [m], [d]
    white_scale : float
        Factor on ``sigma_m``.
    least_share, longest_gap_d : float
        There is no velocity where the measured times span less of the window than the share, or
        leave a longer gap in it, or are fewer than three.

    Returns
    -------
    Windows

    Notes
    -----
    Weights are those of the white sigmas; the sigma is that of this estimator under the whole
    noise, ``w' C w`` (the covariance of an estimator with other weights than the best), and so
    includes the memory of the noise within the window; it takes no account of a velocity that
    changes within it.
    """
    if not SHORTEST_D * (1.0 - 1e-9) <= window_d <= LONGEST_D * (1.0 + 1e-9):
        raise SettingsError(f"window is {window_d} d; expected {SHORTEST_D:.4f} (1 h) to 30 d")
    sigmas, memories = np.atleast_1d(coloured_sigma_m), np.atleast_1d(coloured_memory_d)
    if sigmas.shape != memories.shape or not (memories > 0.0).all():
        raise SettingsError(
            f"coloured sigmas {sigmas.shape} and memories {memories.shape}; expected as many of "
            "each, memories more than 0"
        )
    time_ns, position, sigma, _ = checked_rows(time_ns, position_m, sigma_m)
    measured = np.isfinite(position) & np.isfinite(sigma)
    time_ns, position, sigma = time_ns[measured], position[measured], sigma[measured] * white_scale
    length = round(window_d * NS_PER_DAY)
    edges, bounds = _edges(time_ns, length)
    rows = []
    for start, first, last in zip(edges, bounds[:-1], bounds[1:], strict=False):
        own = slice(first, last)
        days = (time_ns[own] - start) / NS_PER_DAY
        if _fit_for_a_line(days, window_d, least_share, longest_gap_d):
            rows.append(_line(days, position[own], sigma[own], sigmas, memories))
        else:
            rows.append((0.5 * window_d, np.nan, np.nan, 0.0, np.nan))
    table = np.array(rows, float).reshape(-1, 5)
    return Windows(
        start_ns=edges,
        end_ns=edges + length,
        time_ns=edges + np.round(table[:, 0] * NS_PER_DAY).astype(np.int64),
        velocity_m_d=table[:, 1],
        velocity_sigma_m_d=table[:, 2],
        position_m=table[:, 4],
        count=np.diff(bounds),
        independent=table[:, 3],
        effective_count=_effective(table[:, 1]),
    )


def _edges(time_ns, length):
    """Return the starts (m,) of all windows from first to last row, and the bounds (m + 1,)."""
    if not len(time_ns):
        return np.empty(0, np.int64), np.zeros(1, int)
    index = np.arange(time_ns[0] // length, time_ns[-1] // length + 1)
    bounds = np.searchsorted(time_ns, np.append(index, index[-1] + 1) * length)
    return index * length, bounds


def _fit_for_a_line(days, window_d, least_share, longest_gap_d):
    if len(days) < 3 or days[-1] - days[0] < least_share * window_d:
        return False
    return float(np.diff(days).max()) <= longest_gap_d


def _line(days, position, sigma, sigmas, memories):
    """Return (mean time [d], velocity, its sigma, independent positions, mean position)."""
    weights = line_weights(days, sigma)
    white = float(weights**2 @ sigma**2)
    variance = white + coloured_variance(days, weights, sigmas, memories)
    # the same total variance of each position, without memory
    alone = white + float((weights**2).sum() * (sigmas**2).sum())
    middle, mean = np.average([days, position], axis=1, weights=sigma**-2.0)
    velocity = weights @ (position - position[0])
    independent = min(alone / variance, 1.0) * len(days)
    return middle, velocity, np.sqrt(variance), independent, mean


def _effective(velocity):
    """Return the number of independent windows; 0 where there is none, all of few."""
    count = int(np.isfinite(velocity).sum())
    correlation = lag_one_correlation(velocity)
    return float(effective_size(count, correlation if np.isfinite(correlation) else 0.0))
