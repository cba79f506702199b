"""Courses of one or several overlapping changes fitted to a lake's series, as samples.

A change is a ramp of :mod:`~.curve` of which the surface shows a part at once and the rest with the
ice's relaxation; sizes, offset, line and the other regressors enter linearly and are integrated
over. Onsets, lengths and forms are sampled by walkers that stretch along one another (Goodman &
Weare 2010, Comm. App. Math. Comp. Sci. 5, 65).
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from .curve import ramp, relaxed
from .whitening import Whitener, taken_out

FORM = (1.0, 9.0)  # -, bounds of the exponents of a ramp; choice
LENGTH_D = (0.2, 400.0)  # d, bounds of a length; choice
MEMORY_D = 2.5  # d, of the ice's relaxation, middle of the prior; choice: 1e14 Pa s over 0.35 GPa
MEMORY_LOG_SIGMA = 1.0  # -, of its logarithm; choice
SIZE_FACTOR = 1.0  # -, sigma of the prior of a size over the range of the heights: a filling and a
# draining that undo each other are not made larger than the heights ask for; choice
WALKERS_PER_NUMBER = 4  # choice
STEPS = 700  # of the walkers; choice
KEPT = 400  # samples kept; choice
_STEP = np.array([0.02, 0.01, 0.02, 0.02])  # finite differences: onset by length, three logarithms


@dataclass(frozen=True, eq=False)
class Feed:
    """What is known beforehand of a filling by water from a lake above.

    ``form`` (3,): logarithms of length [d] and exponents; ``inverse_root`` (3, 3) whitens them.
    ``first_d``, ``last_d``: between which the water comes. [d]
    """

    form: np.ndarray
    inverse_root: np.ndarray
    first_d: float
    last_d: float


@dataclass(frozen=True, eq=False)
class Fit:
    """Samples (s,) of ``count`` changes fitted together.

    ``onset_d``, ``length_d``, ``rise``, ``fall``, ``size_m`` (s, count); ``at_once`` and
    ``memory_d`` (s,) of the ice. ``misfit``: variance of the whitened rest near the changes, by
    which the samples' spread is widened where above 1. ``first``, ``last``: rows used.
    """

    onset_d: np.ndarray
    length_d: np.ndarray
    rise: np.ndarray
    fall: np.ndarray
    size_m: np.ndarray
    at_once: np.ndarray
    memory_d: np.ndarray
    misfit: float
    accepted: float
    first: int
    last: int


class Changes:
    """The likelihood of changes in the rows ``first`` to ``last`` of a series.

    A vector of numbers has, for each change, onset [d] and the logarithms of length [d] and of the
    two exponents; then the share that the ice shows at once and the logarithm of its memory [d].
    """

    def __init__(self, series, model, count, rows, other=None, feeds=None):
        self.count, self.rows, self.step = count, rows, series.step_d
        part = slice(*rows)
        place = series.place[part]
        self.row, self.day = place - place[0], series.day[part]
        self.grid = self.day[0] + self.step * np.arange(self.row[-1] + 1)
        self.gain = series.gain[part, None]
        self.white = Whitener(self.day, series.sigma_m[part], model)
        base = series.design[part]
        base = base if other is None else np.hstack([base, other[part]])
        whitened = self.white(np.column_stack([base, series.up_m[part]]))
        self.base, data = taken_out(_told_apart(whitened[:, :-1]), whitened[:, -1:])
        self.data = data[:, 0]
        self.spread = SIZE_FACTOR * max(np.ptp(series.up_m[part]), 0.05)
        self.scale = 1.0
        span = self.day[-1] - self.day[0]
        one = [(self.day[0] - 0.25 * span, self.day[-1]), np.log(LENGTH_D)]
        one += [np.log(FORM)] * 2
        ice = [(0.0, 1.0), np.log([0.05, 40.0])]
        self.low, self.high = np.array([*one * count, *ice]).T
        self.feeds = feeds or {}
        for k, feed in self.feeds.items():
            self.low[4 * k], self.high[4 * k] = feed.first_d, feed.last_d

    def pulled(self, numbers):
        """Return what is known beforehand, as residuals (w, r): the ice's memory, and feeds."""
        found = [(numbers[:, -1:] - np.log(MEMORY_D)) / MEMORY_LOG_SIGMA]
        for k, feed in self.feeds.items():
            away = numbers[:, 4 * k + 1 : 4 * k + 4] - feed.form
            found.append(away @ feed.inverse_root.T)
        return np.hstack(found)

    def courses(self, numbers):
        """Return the courses (rows, w, count) at the surface of vectors (w, d)."""
        numbers = np.atleast_2d(numbers)
        changes = numbers[:, :-2].reshape(len(numbers), self.count, 4)
        onset, length = changes[..., 0], np.exp(changes[..., 1])
        share = (self.grid[:, None, None] - onset) / length
        roof = ramp(share, np.exp(changes[..., 2]), np.exp(changes[..., 3]))
        found = np.empty((len(self.row), *onset.shape))
        for k, (at_once, memory) in enumerate(numbers[:, -2:]):
            for j in range(self.count):
                late = relaxed(roof[:, k, j], self.step, np.exp(memory))
                found[:, k, j] = (at_once * roof[:, k, j] + (1.0 - at_once) * late)[self.row]
        return found * self.gain[:, :, None]

    def solved(self, numbers):
        """Return (sizes (w, count), their normal matrices, log posterior (w,), left-overs)."""
        numbers = np.atleast_2d(numbers)
        columns = self.courses(numbers).reshape(len(self.row), -1)
        columns = self.white(columns)
        columns -= self.base @ (self.base.T @ columns)
        columns = columns.reshape(len(self.row), len(numbers), self.count)
        normal = np.einsum("nwi,nwj->wij", columns, columns)
        normal += np.eye(self.count) * self.scale / self.spread**2
        right = np.einsum("nwi,n->wi", columns, self.data)
        size = np.linalg.solve(normal, right[..., None])[..., 0]
        gained = np.einsum("wi,wi->w", right, size) / self.scale
        volume = np.linalg.slogdet(normal * self.spread**2 / self.scale)[1]
        value = 0.5 * (gained - volume - (self.pulled(numbers) ** 2).sum(axis=1))
        outside = ((numbers < self.low) | (numbers > self.high)).any(axis=1)
        rest = self.data[:, None] - np.einsum("nwi,wi->nw", columns, size)
        return size, normal, np.where(outside, -np.inf, value), rest

    def best(self, start, evaluations=60):
        """Return (numbers, covariance (d, d)) of the nearest greatest posterior."""
        start = np.clip(start, self.low + 1e-6, self.high - 1e-6)

        def rest(numbers):
            size, _, _, left = self.solved(numbers)
            pulled = self.pulled(numbers[None])[0]
            return np.concatenate([left[:, 0], size[0] / self.spread, pulled])

        def slope(numbers):
            move = self._moves(numbers)
            away = np.vstack([numbers + np.diag(move), numbers - np.diag(move)])
            size, _, _, left = self.solved(away)
            all_rows = np.vstack([left, size.T / self.spread, self.pulled(away).T])
            d = len(numbers)
            return (all_rows[:, :d] - all_rows[:, d:]) / (2.0 * move)

        found = least_squares(
            rest, start, slope, bounds=(self.low, self.high), x_scale=self._moves(start) * 10.0,
            max_nfev=evaluations,
        )  # fmt: skip
        normal = found.jac.T @ found.jac + np.diag(1.0 / (self.high - self.low) ** 2)
        return found.x, np.linalg.inv(normal)

    def _moves(self, numbers):
        changes = numbers[:-2].reshape(self.count, 4)
        move = np.tile(_STEP, (self.count, 1))
        move[:, 0] *= np.exp(changes[:, 1])
        return np.append(move.ravel(), [0.02, 0.02])

    def set_misfit(self, numbers):
        """Set the widening from the left-over of the best numbers near the changes; return it."""
        rest = self.solved(numbers)[3][:, 0]
        changes = numbers[:-2].reshape(self.count, 4)
        near = np.zeros(len(rest), bool)
        for onset, log_length, *_ in changes:
            end = onset + np.exp(log_length)
            wide = 0.25 * (end - onset) + 2.0
            near |= (self.day > onset - wide) & (self.day < end + wide)
        number = near.sum() - 5.0 * self.count
        variance = rest[near] @ rest[near] / number if number > 10 else 1.0
        self.scale = max(1.0, float(variance))
        return float(variance)


def sampled(changes, numbers, covariance, rng, steps=STEPS, kept=KEPT):
    """Return the :class:`Fit` of changes, from walkers that begin about the best numbers."""
    misfit = changes.set_misfit(numbers)
    d = len(numbers)
    walkers = 2 * ((WALKERS_PER_NUMBER * d + 1) // 2)
    root = np.linalg.cholesky(covariance + 1e-12 * np.diag(np.diag(covariance)))
    width = 1e-4 * (changes.high - changes.low)
    place = numbers + 0.5 * rng.standard_normal((walkers, d)) @ root.T
    place = np.clip(place, changes.low + width, changes.high - width)
    place += width * rng.uniform(-0.5, 0.5, place.shape)
    value = changes.solved(place)[2]
    stored, taken = [], 0
    for step in range(steps):
        for half in (0, 1):
            mine = np.arange(half, walkers, 2)
            taken += _stretched(changes, place, value, mine, rng)
        if step >= steps // 3 and step % 5 == 0:
            stored.append(place.copy())
    numbers = np.concatenate(stored)
    numbers = numbers[np.linspace(0, len(numbers) - 1, kept).astype(int)]
    return _fit(changes, numbers, misfit, taken / (steps * walkers), rng)


def _stretched(changes, place, value, mine, rng, width=2.0):
    """Move half of the walkers; return how many moved."""
    others = np.setdiff1d(np.arange(len(place)), mine)
    partner = place[rng.choice(others, len(mine))]
    stretch = ((width - 1.0) * rng.random(len(mine)) + 1.0) ** 2 / width
    new = partner + stretch[:, None] * (place[mine] - partner)
    inside = ((new > changes.low) & (new < changes.high)).all(axis=1)
    trial = np.full(len(mine), -np.inf)
    if inside.any():
        trial[inside] = changes.solved(new[inside])[2]
    gain = (place.shape[1] - 1) * np.log(stretch) + trial - value[mine]
    moves = np.log(rng.random(len(mine))) < gain
    place[mine[moves]], value[mine[moves]] = new[moves], trial[moves]
    return int(moves.sum())


def _fit(changes, numbers, misfit, accepted, rng):
    parts = [changes.solved(numbers[k : k + 40])[:2] for k in range(0, len(numbers), 40)]
    size = np.concatenate([p[0] for p in parts])
    normal = np.concatenate([p[1] for p in parts])
    root = np.linalg.cholesky(np.linalg.inv(normal) * changes.scale)
    size = size + np.einsum("wij,wj->wi", root, rng.standard_normal(size.shape))
    each = numbers[:, :-2].reshape(len(numbers), changes.count, 4)
    return Fit(
        each[..., 0],
        *np.exp(np.moveaxis(each[..., 1:], -1, 0)),
        size,
        numbers[:, -2],
        np.exp(numbers[:, -1]),
        misfit,
        accepted,
        *changes.rows,
    )


def _told_apart(columns):
    """Return the columns without those that hold nothing in these rows."""
    kept = []
    base = np.zeros((len(columns), 0))
    for column in columns.T:
        rest = column - base @ (base.T @ column)
        if np.linalg.norm(rest) > 1e-7 * max(np.linalg.norm(column), 1e-30):
            kept.append(column)
            base = np.column_stack([base, rest / np.linalg.norm(rest)])
    return np.stack(kept, axis=1)
