"""What satellite passes alone say of the size of events that stations have dated."""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from ..constants import NS_PER_DAY
from .curve import ramp

WANDER_M2_D3 = 1e-8  # m2/d3, at least, by which a lake's rate wanders: 1 mm/d in 100 d; choice
HELD = 0.8  # -, of a change that passes must hold to size it; choice
LEAST_PASSES = 4  # choice
FREE_DAY_M = 1e3  # m and m/d, sigma of zero and rate beforehand: none; choice


@dataclass(frozen=True, eq=False)
class PassChange:
    """The change of a lake's mean level by passes, given each sample of an event (s,). [m]

    ``sigma_m`` (s,): of noise of the passes and of the wandering of the lake between them.
    ``why``: in words, why there is none; then the arrays are empty.
    """

    change_m: np.ndarray
    sigma_m: np.ndarray
    passes: int
    why: str = ""


def pass_changes(levels, events, first_ns, last_ns, wander_m2_d3=0.0):
    """Return a tuple of :class:`PassChange`, one for each event.

    Parameters
    ----------
    levels : LakeLevels
    events : sequence of LakeEvent
        Of this lake, samples of one posterior.
    first_ns, last_ns : int
        Of the stations' record, in which every event is known: other passes are left aside. [ns]
    wander_m2_d3 : float
        Of the integrated random walk of the lake's rate between events.

    Notes
    -----
    Levels of passes are a zero, a line, a size times the course of each event, and noise with their
    covariance and that of an integrated random walk: generalised least squares for each sample of
    onset, length and form. An event has no size where passes hold less than four fifths of it, or
    where their sigma is larger than its change: as of two events without a pass between them.
    """
    inside = (levels.time_ns >= first_ns) & (levels.time_ns <= last_ns)
    count = int(inside.sum())
    if count < LEAST_PASSES or not events:
        why = f"{count} passes within the record of the stations; a change needs {LEAST_PASSES}"
        return tuple(_none(count, why) for _ in events)
    time_ns = levels.time_ns[inside]
    day = (time_ns - time_ns[0]) / NS_PER_DAY
    wander = walked(day, max(wander_m2_d3, WANDER_M2_D3))
    root = np.linalg.cholesky(levels.covariance_m2[np.ix_(inside, inside)] + wander)
    courses = np.stack([_courses(event, time_ns) for event in events], axis=2)
    plain = np.stack([np.ones(count), day], axis=1)
    found = [_solved(root, plain, course, levels.level_m[inside]) for course in courses]
    size, variance = (np.array(part) for part in zip(*found, strict=True))
    held = np.median(np.ptp(courses, axis=1), axis=0)
    return tuple(
        _change(event, size[:, j], np.sqrt(variance[:, j]), held[j], count)
        for j, event in enumerate(events)
    )


def walked(day, q_m2_d3):
    """Return the covariance (n, n) of the integral of a random walk of a rate, 0 at the first day.

    q a^2 (3 b - a) / 6 for days a <= b. [m2]
    """
    a, b = np.minimum.outer(day, day), np.maximum.outer(day, day)
    return q_m2_d3 * a**2 * (3.0 * b - a) / 6.0


def _courses(event, time_ns):
    """Return how much of the event is over at each time (s, n), 0 to 1."""
    day = (time_ns - event.origin_ns) / NS_PER_DAY
    share = (day - event.onset_d[:, None]) / event.length_d[:, None]
    return ramp(share, event.rise[:, None], event.fall[:, None])


def _solved(root, plain, course, level):
    """Return (sizes (k,), variances (k,)) of the courses (n, k) of one sample."""
    design = np.concatenate([plain, course], axis=1)
    white = solve_triangular(root, np.column_stack([design, level]), lower=True)
    normal = white[:, :-1].T @ white[:, :-1] + FREE_DAY_M**-2 * np.eye(design.shape[1])
    covariance = np.linalg.inv(normal)
    free = plain.shape[1]
    return (covariance @ (white[:, :-1].T @ white[:, -1]))[free:], np.diag(covariance)[free:]


def _change(event, size, sigma, held, count):
    """Return the :class:`PassChange` of one event, or why there is none."""
    if held < HELD:
        return _none(count, f"passes hold {held:.0%} of it: none before it, or none after it")
    if np.median(sigma) > abs(np.median(event.change_m)):
        return _none(
            count,
            "passes leave its size open by more than it is: too few of them between it and what "
            "lies beside it",
        )
    return PassChange(size, sigma, count)


def _none(count, why):
    return PassChange(np.empty(0), np.empty(0), count, why)
