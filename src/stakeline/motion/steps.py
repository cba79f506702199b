"""Steps that equipment makes: logged or found, their size, and what they are not.

A pole that is reset, an antenna that is changed, moves the measured position between one row and
the next and leaves the speed alone: a step has no duration. A lake that fills moves the ice for
hours to days; ice that slips moves for 10 to 30 minutes and along the flow only. Each jump that
the motion and the noise of the station cannot explain is compared with motion of every duration,
on all axes together, and the reason for the verdict is kept in words. Nothing is removed
silently: :func:`remove_steps` takes away what the table calls equipment and adds its uncertainty.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from ._step_search import AXES, KINDS, Series, Settings, search, sizes
from .rows import checked_times
from .shocks import rough_model

__all__ = [
    "KINDS",
    "Steps",
    "find_steps",
    "moved_by_hand",
    "remove_steps",
    "rotated",
    "step_design",
]

DAYS_A_YEAR = 365.25  # d/a, Julian year; definition
NOT_SEEN = "not seen"
GIVEN_REASON = "logged: given by the station's history"
NOT_SEEN_REASON = "logged, but no rows on both sides"


@dataclass(frozen=True)
class Steps:
    """Jumps of one station, in the order of time; k of them.

    Attributes
    ----------
    before_ns, after_ns : arrays (k,)
        Last row before and first row after; the jump is somewhere between. [ns]
    size_m : array (k, 3)
        Along, across and up (or east, north, up after :func:`rotated`). [m]
    covariance_m2 : array (3k, 3k)
        Of all sizes, step by step (along, across, up of the first, of the second, ...). [m2]
    logged : array (k,) of bool
    kind : tuple of str
        ``equipment``; or what is no step of the equipment and stays in the motion: ``slip``,
        ``motion``, ``spell`` (went and came back), ``undecided`` (in a gap); ``not seen``.
    chi_square : array (k,)
        Squared size over its covariance, 3 degrees of freedom.
    log_odds : array (k,)
        Natural logarithm of the likelihood of a jump over that of the best motion with a
        duration; NaN for logged ones, which are not asked.
    duration_d : array (k,)
        Of that best motion. [d]
    reason : tuple of str
    """

    before_ns: np.ndarray
    after_ns: np.ndarray
    size_m: np.ndarray
    covariance_m2: np.ndarray
    logged: np.ndarray
    kind: tuple
    chi_square: np.ndarray
    log_odds: np.ndarray
    duration_d: np.ndarray
    reason: tuple

    def __len__(self):
        return len(self.before_ns)

    @property
    def sigma_m(self):
        """Sigma of each size (k, 3). [m]"""
        return np.sqrt(np.diag(self.covariance_m2)).reshape(-1, 3)

    @property
    def gap_d(self):
        """Distance between the rows before and after (k,). [d]"""
        return (self.after_ns - self.before_ns) / NS_PER_DAY

    def only(self, kind):
        """Return the steps of one kind."""
        return self.take([j for j, name in enumerate(self.kind) if name == kind])

    def take(self, index):
        """Return the steps of these numbers, in this order."""
        index = np.asarray(index, int)
        rows = (3 * index[:, None] + np.arange(3)).ravel()
        return Steps(
            self.before_ns[index],
            self.after_ns[index],
            self.size_m[index],
            self.covariance_m2[np.ix_(rows, rows)],
            self.logged[index],
            tuple(self.kind[j] for j in index),
            self.chi_square[index],
            self.log_odds[index],
            self.duration_d[index],
            tuple(self.reason[j] for j in index),
        )


def find_steps(
    time_ns,
    position_m,
    sigma_m,
    models=None,
    *,
    logged_ns=(),
    design=None,
    false_alarms_per_a=0.02,
    search_unlogged=True,
    longest_gap_d=0.1,
    largest_slip_m=0.5,
    least_size_m=0.03,
):
    """Estimate logged steps and find others.

    Parameters
    ----------
    time_ns : array (n,)
        GPS time, strictly ascending. [ns]
    position_m, sigma_m : array (n, 3)
        Along the flow, across it, up, cleaned of outliers; a row with NaN is left out. [m]
    models : three MotionModel, optional
        Of each axis; rough ones from the series itself where none are given.
    logged_ns : sequence of int or (int, int)
        Times of known steps; a pair where only the interval is known: the best place within it is
        taken. [ns]
    design : array (n, p), optional
        Regressors of all axes, such as tides. A tide that is not given must be removed before.
    false_alarms_per_a : float
        Jumps called significant by chance in a year of rows, before they are judged, if the model
        were true. Measured rates with flicker noise are in the tests.
    search_unlogged : bool
        False: estimate the logged ones only.
    longest_gap_d : float
        In a gap longer than this an unlogged jump is ``undecided``: only the sum of jump and
        motion is known. [d]
    largest_slip_m : float
        Above this a jump along the flow is no slip of the ice: the largest slips of an ice stream
        move 0.2 to 0.6 m. [m]
    least_size_m : float
        An unlogged jump that is smaller on every axis is ``undecided``: what satellites, snow and
        reflections leave jumps by so much. [m]

    Returns
    -------
    Steps
        Honest under the noise of the models, whose misfit over the whole series inflates sigmas;
        axes are taken as independent.

    Raises
    ------
    SettingsError, SolutionError
        Shapes that do not fit; times that do not ascend; too few rows for a rough model.
    """
    time_ns, position, sigma, design = _checked(time_ns, position_m, sigma_m, design)
    if len(time_ns) < 8:
        raise SolutionError(f"{len(time_ns)} complete rows; steps need at least 8")
    if models is None:
        models = [rough_model(time_ns, position[:, a], sigma[:, a]) for a in range(3)]
    if len(models) != 3 or not false_alarms_per_a > 0.0:
        raise SettingsError(
            f"{len(models)} models, {false_alarms_per_a} false alarms a year; expected 3 and a "
            "positive rate"
        )
    series = Series(time_ns, position, sigma, design, tuple(models))
    interval_d = np.median(np.diff(time_ns)) / NS_PER_DAY
    threshold = float(chi2.isf(false_alarms_per_a * interval_d / DAYS_A_YEAR, 3))
    settings = Settings(threshold, longest_gap_d, largest_slip_m, least_size_m)
    logged = [_interval(given) for given in logged_ns]
    found = search(series, logged, settings, search_unlogged)
    return _table(series, found, [pair for pair in logged if not _inside(pair, time_ns)])


def step_design(time_ns, steps):
    """Return the regressors (n, k): 0 before a step, 1 from the first row after it on.

    For the smoother, which estimates the sizes with the motion; ``not seen`` ones have no column.
    """
    seen = [j for j, kind in enumerate(steps.kind) if kind != NOT_SEEN]
    time_ns = np.asarray(time_ns, np.int64)
    return (time_ns[:, None] >= steps.after_ns[seen]).astype(float)


def remove_steps(time_ns, position_m, steps):
    """Return (positions without the equipment's steps (n, 3), sigma that this adds (n, 3)).

    The position of the first row keeps its meaning. The sigma added is common to all rows between
    two steps; two rows on one side of a step differ by nothing of it.
    """
    chosen = steps.only("equipment")
    design = step_design(time_ns, chosen)
    added = np.zeros((len(design), 3))
    for axis in range(3):
        covariance = chosen.covariance_m2[axis::3, axis::3]
        variance = np.einsum("ij,jk,ik->i", design, covariance, design)
        added[:, axis] = np.sqrt(np.maximum(variance, 0.0))
    return np.asarray(position_m, float) - design @ chosen.size_m, added


def rotated(steps, azimuth_rad):
    """Return steps along, across, up as steps east, north, up; azimuth of the flow. [rad]

    Across is positive to the left, looking downstream.
    """
    s, c = np.sin(azimuth_rad), np.cos(azimuth_rad)
    turn = np.array([[s, -c, 0.0], [c, s, 0.0], [0.0, 0.0, 1.0]])
    whole = np.kron(np.eye(len(steps)), turn)
    return replace(
        steps,
        size_m=steps.size_m @ turn.T,
        covariance_m2=whole @ steps.covariance_m2 @ whole.T,
    )


def moved_by_hand(time_ns, intervals_ns):
    """Return the mask (n,) of rows inside intervals (begin, end) in which hands moved the antenna.

    Such rows are no motion of the ice; give the interval as a logged step as well, for what has
    changed after it.
    """
    time_ns = np.asarray(time_ns, np.int64)
    mask = np.zeros(len(time_ns), bool)
    for begin, end in map(_interval, intervals_ns):
        mask |= (time_ns >= begin) & (time_ns <= end)
    return mask


def _interval(given):
    """Return (begin, end) of a time or of an interval."""
    begin, end = (given, given) if np.ndim(given) == 0 else given
    if end < begin:
        raise SettingsError(f"a logged step ends at {end} before it begins at {begin}")
    return int(begin), int(end)


def _inside(pair, time_ns):
    """Tell whether there are rows before the end and after the begin of a logged step."""
    return time_ns[0] < pair[1] and pair[0] <= time_ns[-1]


def _table(series, found, unseen):
    """Return the :class:`Steps` of jumps and of logged steps outside the record."""
    found = sorted(found, key=lambda jump: jump.row)
    rows = np.array([jump.row for jump in found], int)
    lost = len(unseen)
    size, whole = _sizes(series, found)
    whole = np.pad(whole, (0, 3 * lost), constant_values=np.nan)
    size = np.vstack([size, np.full((lost, 3), np.nan)])
    variance = np.diag(whole).reshape(-1, 3)
    before = np.concatenate([series.time_ns[rows - 1], [pair[0] for pair in unseen]])
    after = np.concatenate([series.time_ns[rows], [pair[1] for pair in unseen]])
    nothing = [np.nan] * lost
    table = Steps(
        before.astype(np.int64),
        after.astype(np.int64),
        size,
        whole,
        np.array([jump.logged for jump in found] + [True] * lost, bool),
        tuple(jump.kind for jump in found) + (NOT_SEEN,) * lost,
        (size**2 / variance).sum(axis=1),
        np.array([jump.log_odds for jump in found] + nothing),
        np.array([jump.duration_d for jump in found] + nothing),
        tuple(jump.reason or GIVEN_REASON for jump in found) + (NOT_SEEN_REASON,) * lost,
    )
    return table.take(np.argsort(table.after_ns, kind="stable"))


def _sizes(series, found):
    """Return sizes (k, 3) and covariance (3k, 3k): all at once, but those of motion as seen."""
    size, whole = np.zeros((len(found), 3)), np.zeros((3 * len(found), 3 * len(found)))
    sudden = [j for j, jump in enumerate(found) if jump.kind != "motion"]
    size[sudden], covariance = sizes(series, [found[j].row for j in sudden])
    rows = (3 * np.array(sudden, int)[:, None] + np.arange(3)).ravel()
    whole[np.ix_(rows, rows)] = covariance
    for j, jump in enumerate(found):
        if jump.kind == "motion":
            size[j] = jump.size_m
            whole[range(3 * j, 3 * j + 3), range(3 * j, 3 * j + 3)] = jump.sigma_m**2
    return size, whole


def _checked(time_ns, position_m, sigma_m, design):
    """Return times, positions, sigmas and design of the complete rows."""
    time_ns = checked_times(time_ns)
    position = np.asarray(position_m, float)
    sigma = np.broadcast_to(np.asarray(sigma_m, float), position.shape)
    if position.shape != (len(time_ns), 3):
        raise SettingsError(
            f"{len(time_ns)} times, positions of shape {position.shape}; expected three columns: "
            f"{', '.join(AXES)}"
        )
    design = np.zeros((len(time_ns), 0)) if design is None else np.asarray(design, float)
    if design.ndim != 2 or len(design) != len(time_ns):
        raise SettingsError(f"design of shape {design.shape}; expected ({len(time_ns)}, p)")
    whole = np.isfinite(position).all(axis=1) & np.isfinite(sigma).all(axis=1)
    whole &= np.isfinite(design).all(axis=1)
    if (sigma[whole] <= 0.0).any():
        raise SettingsError("a sigma is not positive")
    return time_ns[whole], position[whole], sigma[whole], design[whole]
