"""Courses of one or several overlapping changes fitted to a lake's series, as samples.

A change is a ramp of :mod:`~.curve` of which the surface shows a part at once and the rest with the
ice's relaxation; sizes, offset, line and the other regressors enter linearly and are integrated
over. Onsets, lengths and forms are sampled by :mod:`~.walkers` that begin about all tops of the law
(:mod:`~.beginnings`).
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from ._curve_kernels import fill_courses
from .beginnings import mixture_of, tops
from .straight import bent
from .walkers import law_samples
from .whitening import Whitener, taken_out

FORM = (1.0, 9.0)  # -, bounds of the exponents of a ramp; choice
USUAL_FORM, FORM_LOG_SIGMA = 3.5, 0.5  # -, middle of the prior of an exponent, and sigma of its
# logarithm: the rate of a flood comes from nothing and goes to nothing without a corner, which
# asks for more than 2; choice, the middle by what invented floods of the tuning seeds ask for
LENGTH_D = (0.2, 400.0)  # d, bounds of a length; choice
MEMORY_D = 2.5  # d, of the ice's relaxation, middle of the prior; choice: 1e14 Pa s over 0.35 GPa
MEMORY_LOG_SIGMA = 1.0  # -, of its logarithm; choice
AT_ONCE_SIGMA = 0.2  # -, of the share at once where maps give it: Young's modulus known to half its
# logarithm leaves 0.1, the rest is for the plate's surround and for ice that is no plate; choice
SIZE_FACTOR = 1.0  # -, sigma of the prior of a size over the range of the heights: a filling and a
# draining that undo each other are not made larger than the heights ask for; choice
KEPT = 400  # samples kept; choice
_AT_ONCE = 50  # vectors solved together; choice
_TOLD = 20  # vectors whose slopes are worked out together; choice
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

    def numbers(self):
        """Return the vectors (s, d) that :class:`Changes` takes."""
        form = np.log([self.length_d, self.rise, self.fall])
        each = np.concatenate([self.onset_d[None], form]).transpose(1, 2, 0)
        ice = (self.at_once, np.log(self.memory_d))
        return np.column_stack([each.reshape(len(each), -1), *ice])


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
        self.at_once = series.at_once
        self.feeds = feeds or {}
        for k, feed in self.feeds.items():
            self.low[4 * k], self.high[4 * k] = feed.first_d, feed.last_d

    def pulled(self, numbers):
        """Return what is known beforehand, as residuals (w, r): of the ice, of forms, of feeds."""
        found = [(numbers[:, -1:] - np.log(MEMORY_D)) / MEMORY_LOG_SIGMA]
        if self.at_once is not None:
            found.append((numbers[:, -2:-1] - self.at_once) / AT_ONCE_SIGMA)
        for k in range(self.count):
            if k in self.feeds:
                away = numbers[:, 4 * k + 1 : 4 * k + 4] - self.feeds[k].form
                found.append(away @ self.feeds[k].inverse_root.T)
            else:
                away = numbers[:, 4 * k + 2 : 4 * k + 4] - np.log(USUAL_FORM)
                found.append(away / FORM_LOG_SIGMA)
        return np.hstack(found)

    def courses(self, numbers):
        """Return the courses (rows, w, k) at the surface of vectors (w, 4 k + 2)."""
        return self.courses_at(np.atleast_2d(numbers), self.row) * self.gain[:, :, None]

    def courses_at(self, numbers, row):
        """Return the courses (r, w, k), gain left aside, at places ``row`` (r,) from the first row.

        They ascend, and may lie beyond the last row.
        """
        changes = numbers[:, :-2].reshape(len(numbers), -1, 4)
        onset, length, rise, fall = np.moveaxis(changes, -1, 0)
        found = np.empty((len(row), *onset.shape))
        fill_courses(
            self.grid[0], self.step, onset, np.exp(length), np.exp(rise), np.exp(fall),
            numbers[:, -2], np.exp(numbers[:, -1]), row, found,
        )  # fmt: skip
        return found

    def solved(self, numbers):
        """Return (sizes (w, count), their normal matrices, log posterior (w,))."""
        numbers = np.atleast_2d(numbers)
        columns = self.white(self.courses(numbers).reshape(len(self.row), -1))
        return self._solved(numbers, columns)[:3]

    def left(self, numbers):
        """Return (sizes (w, count), the whitened rows without changes and regressors (n, w))."""
        numbers = np.atleast_2d(numbers)
        size, _, _, columns = self._solved(numbers, self._each_once(numbers))
        rest = self.data[:, None] - np.einsum("nwi,wi->nw", columns, size)
        return size, rest - self.base @ (self.base.T @ rest)

    def _each_once(self, numbers):
        """Return the whitened courses (n, w count), each worked out once: slopes repeat most."""
        ice = np.repeat(numbers[:, -2:], self.count, axis=0)
        each = np.hstack([numbers[:, :-2].reshape(-1, 4), ice])
        each, place = np.unique(each, axis=0, return_inverse=True)
        return self.white(self.courses(each)[:, :, 0])[:, place.ravel()]

    def _solved(self, numbers, columns):
        shape = (len(self.row), len(numbers), self.count)
        inside = (self.base.T @ columns).reshape(-1, *shape[1:])
        right = (self.data @ columns).reshape(shape[1:])
        columns = columns.reshape(shape)
        normal = _products(columns) - _products(inside)
        normal += np.eye(self.count) * self.scale / self.spread**2
        size = np.linalg.solve(normal, right[..., None])[..., 0]
        gained = np.einsum("wi,wi->w", right, size) / self.scale
        volume = np.linalg.slogdet(normal * self.spread**2 / self.scale)[1]
        value = 0.5 * (gained - volume - (self.pulled(numbers) ** 2).sum(axis=1))
        outside = ((numbers < self.low) | (numbers > self.high)).any(axis=1)
        return size, normal, np.where(outside, -np.inf, value), columns

    def valued(self, place):
        """Return the log posterior (w,) of straightened vectors; -inf outside the bounds."""
        numbers = bent(place, self.count)
        value = np.full(len(numbers), -np.inf)
        inside = np.flatnonzero(((numbers > self.low) & (numbers < self.high)).all(axis=1))
        for k in range(0, len(inside), _AT_ONCE):
            some = inside[k : k + _AT_ONCE]
            value[some] = self.solved(numbers[some])[2]
        return value

    def best(self, start, evaluations=60):
        """Return (numbers, covariance (d, d)) of the nearest greatest posterior."""
        start = np.clip(start, self.low + 1e-6, self.high - 1e-6)

        def rest(numbers):
            size, left = self.left(numbers)
            pulled = self.pulled(numbers[None])[0]
            return np.concatenate([left[:, 0], size[0] / self.spread, pulled])

        def slope(numbers):
            move = self.moves(numbers)
            away = np.vstack([numbers + np.diag(move), numbers - np.diag(move)])
            size, left = self.left(away)
            all_rows = np.vstack([left, size.T / self.spread, self.pulled(away).T])
            d = len(numbers)
            return (all_rows[:, :d] - all_rows[:, d:]) / (2.0 * move)

        found = least_squares(
            rest, start, slope, bounds=(self.low, self.high), x_scale=self.moves(start) * 10.0,
            max_nfev=evaluations,
        )  # fmt: skip
        normal = found.jac.T @ found.jac + np.diag(1.0 / (self.high - self.low) ** 2)
        return found.x, np.linalg.inv(normal)

    def told(self, numbers):
        """Return log determinants (w,) of what heights and priors tell of numbers and sizes.

        Information by the slopes of the courses, sizes as solved.
        """
        w, d = numbers.shape
        move = np.stack([self.moves(one) for one in numbers])
        step = move[:, :, None] * np.eye(d)
        away = np.concatenate([numbers[:, None] + step, numbers[:, None] - step], axis=1)
        size = self.solved(numbers)[0]
        moved = self._each_once(away.reshape(-1, d)).reshape(len(self.row), w, 2 * d, self.count)
        moved = np.einsum("nwdk,wk->nwd", moved, size)
        slope = (moved[:, :, :d] - moved[:, :, d:]) / (2.0 * move)
        own = self._each_once(numbers).reshape(len(self.row), w, self.count)
        columns = np.concatenate([slope, own], axis=2)
        inside = (self.base.T @ columns.reshape(len(self.row), -1)).reshape(-1, *columns.shape[1:])
        normal = (_products(columns) - _products(inside)) / self.scale
        pull = self.pulled(numbers[:1] + np.eye(d)) - self.pulled(numbers[:1])
        normal[:, :d, :d] += pull @ pull.T
        normal[:, d:, d:] += np.eye(self.count) / self.spread**2
        return np.linalg.slogdet(normal)[1]

    def moves(self, numbers):
        """Return the steps (d,) of finite differences about numbers."""
        changes = numbers[:-2].reshape(self.count, 4)
        move = np.tile(_STEP, (self.count, 1))
        move[:, 0] *= np.exp(changes[:, 1])
        return np.append(move.ravel(), [0.02, 0.02])

    def set_misfit(self, numbers):
        """Set the widening from the left-over of the best numbers near the changes; return it."""
        rest = self.left(numbers)[1][:, 0]
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


def _products(columns):
    """Return the sums of products (w, k, k) of columns (n, w, k)."""
    lines = np.ascontiguousarray(columns.transpose(1, 2, 0))
    return lines @ lines.transpose(0, 2, 1)


def sampled(changes, numbers, rng):
    """Return the :class:`Fit` of changes, from numbers of one of its tops.

    The walkers go in coordinates in which a ramp is nearly straight (:mod:`~.straight`).
    """
    found = tops(changes, numbers)
    misfit = changes.set_misfit(found[0][0])
    place, accepted = law_samples(changes.valued, mixture_of(changes, found), rng)
    numbers = _evened(changes, bent(place, changes.count), rng)
    return _fit(changes, numbers, misfit, accepted, rng)


def _evened(changes, numbers, rng):
    """Return KEPT of the samples, so that the law is even in what heights can tell apart.

    Each counts by the root of the determinant of its information (Jeffreys 1946, Proc. R. Soc. A
    186, 453; with the priors' own as that of earlier measurements). Even in onset, length and share
    at once, the law gives more room to long courses and to ice that answers late, since these look
    alike over a wide range: half of the samples then have too early an onset or peak.
    """
    told = [changes.told(numbers[k : k + _TOLD]) for k in range(0, len(numbers), _TOLD)]
    log = 0.5 * np.concatenate(told)
    weight = np.exp(log - log.max())
    return numbers[rng.choice(len(numbers), KEPT, p=weight / weight.sum())]


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
