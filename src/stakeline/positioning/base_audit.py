"""Is a base still, and is it the glacier that moves, or everything at once?

A base is judged by its own daily positions: a drift, a jump. Where all stations share the same
motion from day to day, base on rock included, it is not the glacier's: it is of the frame, the
products, or a base that all were worked from.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY

FEWEST_DAYS = 3  # below that nothing can be said of a base; our choice
FEWEST_COMMON_DAYS, FEWEST_STATIONS = 7, 3  # nor of common motion; our choice
SIGMAS = 4.0  # -, of drifts and jumps; common practice, no source
DRIFT_M_D = 1e-4  # m/d, 4 cm/a: more than rock moves by plates within a season's frame; our choice
JUMP_M = 0.010  # m, smaller jumps of daily positions are not told; our choice
DAILY_SIGMA_M = (0.002, 0.002, 0.006)  # m, no daily mean is taken as better; from still antennas
BLOCK_H = 4.0  # h, of medians by which a base of few days is judged; our choice
BLOCK_SIGMA_M = (0.005, 0.005, 0.015)  # m, of these: slow errors hardly average in so short a time
COMMON_SHARE = 0.5  # -, of the variance shared: told as common; our choice


@dataclass(frozen=True)
class BaseAudit:
    """What daily positions (d, 3) say of a base.

    ``verdict`` is ``still``, ``moves``, ``jumps`` or ``too few days``; ``rate_m_d`` and ``jump_m``
    (3,) are east, north, up, with the day index of the largest jump (-1: none).
    """

    verdict: str
    rate_m_d: np.ndarray
    rate_sigma_m_d: np.ndarray
    jump_m: np.ndarray
    jump_day: int
    words: str


def audit_base(time_ns, enu_m, sigma_m=None):
    """Return the :class:`BaseAudit` of daily positions.

    Parameters
    ----------
    time_ns : int64 array, shape (d,)
    enu_m : array, shape (d, 3)
        East, north, up from any point. [m]
    sigma_m : array, shape (d, 3), optional
        Of the daily positions; taken as no better than a still antenna's. [m]

    Notes
    -----
    A jump is sought as the day at which two means differ most in their sigmas; a drift by least
    squares with a sigma from its own residuals. A jump that explains more than a drift wins.
    """
    days = (np.asarray(time_ns) - time_ns[0]) / NS_PER_DAY
    enu = np.asarray(enu_m, float)
    given = np.zeros_like(enu) if sigma_m is None else np.asarray(sigma_m, float)
    sigma = np.maximum(given, DAILY_SIGMA_M)
    nothing = np.full(3, np.nan)
    if len(days) < FEWEST_DAYS:
        words = f"{len(days)} days: too few to say whether it is still"
        return BaseAudit("too few days", nothing, nothing, nothing, -1, words)
    rate, rate_sigma, by_drift = _drift(days, enu, sigma)
    jump, day, by_jump = _jump(enu, sigma)
    drifts = (np.abs(rate) > np.maximum(SIGMAS * rate_sigma, DRIFT_M_D)).any()
    jumps = day >= 0 and (np.abs(jump) > JUMP_M).any()
    if jumps and (by_jump < by_drift or not drifts):
        words = f"jumps by {_millimetres(jump)} on its day {day + 1}"
        return BaseAudit("jumps", rate, rate_sigma, jump, day, words)
    if drifts:
        words = f"moves by {_millimetres(rate)} a day"
        return BaseAudit("moves", rate, rate_sigma, jump, -1, words)
    words = f"still: {_millimetres(rate)} a day, sigma {_millimetres(rate_sigma, '')}"
    return BaseAudit("still", rate, rate_sigma, jump, -1, words)


def place_covariance(time_ns, enu_m, audit):
    """Return the covariance (3, 3) of the mean place of a base called still. [m2]

    By the scatter of its daily positions (at least a still antenna's), which are taken as
    independent, and by the drift that the audit may have missed over their span. East, north, up.
    """
    scatter = np.maximum(np.std(enu_m, axis=0), DAILY_SIGMA_M) / np.sqrt(len(enu_m))
    span_d = max((time_ns[-1] - time_ns[0]) / NS_PER_DAY, 1.0)
    missed = np.nan_to_num(audit.rate_sigma_m_d) * span_d / np.sqrt(12.0)
    return np.diag(scatter**2 + missed**2)


def _millimetres(values, sign="+"):
    return "/".join(f"{1e3 * v:{sign}.1f}" for v in values) + " mm east/north/up"


def _drift(days, enu, sigma):
    """Return rates (3,), their sigmas, and the weighted sum of squared residuals."""
    middle = days - days.mean()
    weight = 1.0 / sigma**2
    span = (weight * middle[:, None] ** 2).sum(axis=0)
    mean = (weight * enu).sum(axis=0) / weight.sum(axis=0)
    rate = (weight * middle[:, None] * (enu - mean)).sum(axis=0) / span
    left = enu - mean - middle[:, None] * rate
    chi = (weight * left**2).sum(axis=0)
    scale = np.maximum(chi / max(len(days) - 2, 1), 1.0)
    return rate, np.sqrt(scale / span), float(chi.sum())


def _jump(enu, sigma):
    """Return the largest jump (3,), the first day after it (-1: none), and what is left."""
    weight = 1.0 / sigma**2
    best = np.zeros(3), -1, np.inf
    for day in range(1, len(enu)):
        parts = [slice(0, day), slice(day, None)]
        total = [weight[part].sum(axis=0) for part in parts]
        means = [(weight[p] * enu[p]).sum(axis=0) / t for p, t in zip(parts, total, strict=True)]
        jump = means[1] - means[0]
        left = [weight[p] * (enu[p] - m) ** 2 for p, m in zip(parts, means, strict=True)]
        chi = sum(part.sum(axis=0) for part in left)
        scale = np.maximum(chi / max(len(enu) - 2, 1), 1.0)
        sure = np.abs(jump) > SIGMAS * np.sqrt(scale * (1.0 / total[0] + 1.0 / total[1]))
        if sure.any() and chi.sum() < best[2]:
            best = jump, day, float(chi.sum())
    return best


@dataclass(frozen=True)
class CommonMotion:
    """Motion that all stations share: ``enu_m`` (d, 3) by day, and its share of each variance."""

    enu_m: np.ndarray
    share: np.ndarray  # (stations, 3)
    words: str


def common_motion(enu_m, on_rock):
    """Return the :class:`CommonMotion` of daily positions of several stations.

    Parameters
    ----------
    enu_m : array, shape (stations, d, 3)
        NaN where a day is missing; each station's own line is taken off first. [m]
    on_rock : bool array, shape (stations,)
        At least one must be: a glacier's stations share its motion, rock does not.

    Notes
    -----
    The common part of a day is the median over all stations; it is told as common only where it
    explains half of the variance of the stations on rock too.
    """
    left = np.stack([_without_line(station) for station in np.asarray(enu_m, float)])
    known = np.isfinite(left).any(axis=0)
    common = np.full(left.shape[1:], np.nan)
    common[known] = np.nanmedian(left[:, known], axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        before = np.nanmean(left**2, axis=1)
        share = 1.0 - np.nanmean((left - common) ** 2, axis=1) / before
    rock = share[np.asarray(on_rock, bool)]
    if not len(rock) or len(left) < FEWEST_STATIONS or left.shape[1] < FEWEST_COMMON_DAYS:
        words = "too few stations, days or bases on rock to tell common motion from the glacier's"
        return CommonMotion(common, share, words)
    rms = np.sqrt(np.nanmean(common**2, axis=0))
    shared = np.nanmean(rock, axis=0) > COMMON_SHARE
    if not shared.any():
        return CommonMotion(common, share, "no motion that the rock shares")
    axes = " and ".join(np.array(["east", "north", "up"])[shared])
    size = "/".join(f"{1e3 * v:.1f}" for v in rms)
    words = (
        f"all stations move alike {axes}, the rock too ({size} mm rms east/north/up): of the frame "
        "or the products, not of the glacier"
    )
    return CommonMotion(common, share, words)


def _without_line(enu):
    """Return positions (d, 3) less a straight line through each axis."""
    days, left = np.arange(len(enu), dtype=float), enu.copy()
    for axis in range(3):
        known = np.isfinite(enu[:, axis])
        if known.sum() > 2:
            line = np.polynomial.Polynomial.fit(days[known], enu[known, axis], 1)
            left[:, axis] -= line(days)
    return left
