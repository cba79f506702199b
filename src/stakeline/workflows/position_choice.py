"""Absolute or relative: which solution a station and day gets, by stated rules."""

from dataclasses import dataclass, replace

import numpy as np

from ..earth.ellipsoid import enu_axes, enu_from_xyz, geodetic_from_xyz

LEAST_EPOCHS = 0.8  # share of the absolute solution's epochs a relative one must have; our choice
LEAST_FIXED = 0.5  # share of its epochs that must have integers; our choice
APART_SIGMAS = 4.0  # -, a difference beyond it is an alarm; common practice
APART_M = 0.05  # m, and beyond this: a frame or a base is wrong; our choice


@dataclass(frozen=True)
class Choice:
    """``solution`` is ``absolute`` or ``relative``; the difference is relative minus absolute."""

    solution: str
    reason: str
    alarm: bool
    epochs: int
    fixed_share: float
    difference_m: tuple  # median east, north, up
    difference_rms_m: tuple  # about the median
    sigma_m: tuple  # median level sigma of absolute, relative


def choose_solution(absolute, relative, core_ns):
    """Return the :class:`Choice` for one arc.

    Parameters
    ----------
    absolute, relative : Positions
        In one frame: the base stands where the same products put it.
    core_ns : (begin, end)
        The arc's own day, half open. [ns]

    Notes
    -----
    In this order: a relative solution with too few epochs is not taken; one whose epochs mostly
    lack integers is not; one that differs by more than 5 cm and four sigmas is not, and is an
    alarm; else the one whose median level sigma is smaller is taken.
    """
    mine, theirs = (_within(part, core_ns) for part in (absolute, relative))
    _, first, second = np.intersect1d(
        absolute.time_ns[mine], relative.time_ns[theirs], return_indices=True
    )
    first, second = mine[first], theirs[second]
    fixed = float((relative.state[second] == "integer-fixed").mean()) if len(second) else 0.0
    apart, rms, sigma = _compared(absolute, relative, first, second)
    say = (len(second), fixed, apart, rms, sigma)
    if len(second) < LEAST_EPOCHS * len(mine) or not len(second):
        reason = f"relative positions at {len(second)} of {len(mine)} epochs only"
        return Choice("absolute", reason, False, *say)
    if fixed < LEAST_FIXED:
        reason = f"integers at {100 * fixed:.0f} % of the relative epochs only"
        return Choice("absolute", reason, False, *say)
    level, limit = np.hypot(*apart[:2]), APART_SIGMAS * np.hypot(*sigma)
    if level > max(APART_M, limit):
        reason = (
            f"relative minus absolute is {1e3 * level:.0f} mm level, more than four sigmas: a "
            "frame or a base is wrong; the absolute solution is kept"
        )
        return Choice("absolute", reason, True, *say)
    better = sigma[1] < sigma[0]
    reason = (
        f"median level sigma {1e3 * sigma[0]:.1f} mm absolute, {1e3 * sigma[1]:.1f} mm relative"
    )
    return Choice("relative" if better else "absolute", reason, False, *say)


def with_heights_of(level, heights):
    """Return positions with the up of others at the epochs both have; level, states as they are.

    Integers leave in heights what float ambiguities take up: the mean of an arc's slow reflections.
    On invented days heights worked from a base are off by twice as much as those without one. What
    level and up errors share is not known of two solutions; their covariance is set to nil.
    """
    _, mine, theirs = np.intersect1d(level.time_ns, heights.time_ns, return_indices=True)
    sound = np.isfinite(heights.position_m[theirs]).all(axis=1)
    mine, theirs = mine[sound], theirs[sound]
    place = level.position_m.copy()
    latitude, longitude, _ = geodetic_from_xyz(place[mine])
    up = enu_from_xyz(heights.position_m[theirs] - place[mine], latitude, longitude)[:, 2]
    place[mine] += up[:, None] * enu_axes(latitude, longitude)[..., 2, :]
    covariance = level.covariance_m2.copy()
    covariance[mine, 2, :] = covariance[mine, :, 2] = 0.0
    covariance[mine, 2, 2] = heights.covariance_m2[theirs, 2, 2]
    return replace(level, position_m=place, covariance_m2=covariance)


def _within(positions, core_ns):
    """Return the indices of sound rows inside a span."""
    inside = (positions.time_ns >= core_ns[0]) & (positions.time_ns < core_ns[1])
    return np.flatnonzero(inside & np.isfinite(positions.position_m).all(axis=1))


def _compared(absolute, relative, first, second):
    """Return median difference, its rms about it (east, north, up), median level sigmas. [m]"""
    if not len(first):
        nothing = (float("nan"),) * 3
        return nothing, nothing, nothing[:2]
    place = absolute.position_m[first]
    latitude, longitude, _ = geodetic_from_xyz(place)
    apart = enu_from_xyz(relative.position_m[second] - place, latitude, longitude)
    middle = np.median(apart, axis=0)
    rms = np.sqrt(np.mean((apart - middle) ** 2, axis=0))
    level = [
        float(np.median(np.sqrt(part.covariance_m2[rows, 0, 0] + part.covariance_m2[rows, 1, 1])))
        for part, rows in ((absolute, first), (relative, second))
    ]
    return tuple(map(float, middle)), tuple(map(float, rms)), tuple(level)
