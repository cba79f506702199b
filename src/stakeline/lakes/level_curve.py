"""One curve of a lake's level from dense stations and sparse passes.

The level's rate is a process of Ornstein and Uhlenbeck that forgets within days, as drainings do,
and whose size the data choose by their likelihood; each station feels its share of the level, with
a zero of its own, steps, and an error that wanders over days; all passes have one free zero, and
errors with the covariance of their levels. Shares multiply an unknown level; they and the size of
the rate are found by the likelihood with the level integrated out, for the most probable pair of
share and level would make the level too small. Given them, everything is solved as one Gaussian
problem with sparse precisions (Rue & Held 2005, Gaussian Markov Random Fields, chapter 2).
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.sparse import block_diag, coo_matrix, csc_matrix, diags, hstack, identity
from scipy.sparse.linalg import splu

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError

ZERO_M = 50.0  # m, sigma of a free zero beforehand; choice
RATES_M_D = np.geomspace(0.003, 1.0, 13)  # m/d, standard deviations of the rate; choice
RATE_D = 5.0  # d, over which the rate is forgotten: drainings last days; choice
EXACT_M = 1e-3  # m, by which the level may differ from the sum of its rate; choice
NUGGET_M = 1e-3  # m, sigma of a height of a station's day, least; choice
ROUNDS = 2  # of looking for rate and shares in turn; choice
WITHIN = 4.0  # -, sigmas within which a share is looked for; choice


@dataclass(frozen=True, eq=False)
class LevelStation:
    """Heights of a station over a lake.

    ``time_ns``, ``up_m``, ``sigma_m`` (n,): as of :class:`~.combined.StationUp`; ``share``: motion
    there for 1 m of level, with its sigma; ``slow_sigma_m``, ``slow_d``: size and length of an
    error that wanders; ``step_ns``: equipment steps of unknown size.
    """

    station: str
    time_ns: np.ndarray
    up_m: np.ndarray
    sigma_m: np.ndarray
    share: float = 1.0
    share_sigma: float = 0.1
    slow_sigma_m: float = 0.01
    slow_d: float = 10.0
    step_ns: tuple = ()


@dataclass(frozen=True, eq=False)
class LevelCurve:
    """Level of a lake at even times; its zero is free, the mean of the curve is 0.

    ``time_ns``, ``level_m``, ``sigma_m`` (n,): sigma of what differs from the curve's mean.
    ``rate_m_d``: standard deviation of the rate that the data chose. ``share``: {station: (share,
    sigma)} found.
    """

    time_ns: np.ndarray
    level_m: np.ndarray
    sigma_m: np.ndarray
    rate_m_d: float
    share: dict
    notes: tuple = field(default=())


def level_curve(begin_ns, end_ns, levels=None, stations=(), step_d=1.0):
    """Return the :class:`LevelCurve` of passes and stations, or of either alone.

    Parameters
    ----------
    begin_ns, end_ns : int
        GPS time.
    levels : LakeLevels, optional
    stations : sequence of LevelStation
    step_d : float
        Of the curve; heights of stations are averaged over it. [d]

    Raises
    ------
    SettingsError
        Where the time runs backward.
    SolutionError
        Where nothing lies between the two times.
    """
    if end_ns - begin_ns < 2.0 * step_d * NS_PER_DAY:
        raise SettingsError(f"a curve from {begin_ns} to {end_ns} ns: expected two steps or more")
    problem = _Curve(begin_ns, end_ns, levels, stations, step_d)
    if not len(problem.value):
        raise SolutionError("no pass and no height of a station between the two times")
    problem.look_for_shares()
    return problem.curve()


class _Curve:
    """Unknowns: level, rate; of each station wander and zeros; of passes zero and errors."""

    def __init__(self, begin_ns, end_ns, levels, stations, step_d):
        self.step_d, self.begin_ns = step_d, begin_ns
        self.count = int((end_ns - begin_ns) / (step_d * NS_PER_DAY)) + 1
        self.stations = tuple(stations)
        self.share = np.array([s.share for s in self.stations], float)
        self.rate_m_d = RATES_M_D[len(RATES_M_D) // 2]
        self.rows, self.value, self.sigma = [], [], []
        self.fixed, self.width = [], 2 * self.count
        for station in self.stations:
            self._add_station(station)
        self._add_passes(levels)
        self.value, self.sigma = np.array(self.value), np.array(self.sigma)
        self.sparse, self.known = self._sparse(), {}

    def _node(self, time_ns):
        """Return (node before, share of the way to the next) of times (n,)."""
        place = (np.asarray(time_ns, np.int64) - self.begin_ns) / (self.step_d * NS_PER_DAY)
        node = np.clip(np.floor(place).astype(int), 0, self.count - 2)
        return node, place - node

    def _unknown(self, precision):
        """Add unknowns with a precision; return the first one's number."""
        first, self.width = self.width, self.width + precision.shape[0]
        self.fixed.append(csc_matrix(precision))
        return first

    def _add_station(self, station):
        good = np.isfinite(station.up_m) & np.isfinite(station.sigma_m)
        node, share = self._node(station.time_ns)
        near = np.round(node + share).astype(int)
        good &= (near >= 0) & (near < self.count)
        segment = np.searchsorted(np.sort(station.step_ns), station.time_ns, side="right")
        wander = self._unknown(
            _wander(self.count, self.step_d, station.slow_sigma_m, station.slow_d)
        )
        zero = self._unknown(identity(len(station.step_ns) + 1) / ZERO_M**2)
        place = self.stations.index(station)
        key = near * (len(station.step_ns) + 1) + segment
        for k in np.unique(key[good]):
            rows = np.flatnonzero(good & (key == k))
            white = np.sqrt(np.mean(np.broadcast_to(station.sigma_m, good.shape)[rows] ** 2))
            self.value.append(float(np.asarray(station.up_m)[rows].mean()))
            self.sigma.append(np.hypot(white / np.sqrt(len(rows)), NUGGET_M))
            day = int(near[rows[0]])
            own = [(wander + day, 1.0), (zero + int(segment[rows[0]]), 1.0)]
            self.rows.append((place, [(day, 1.0)], own))

    def _add_passes(self, levels):
        if levels is None:
            return
        node, share = self._node(levels.time_ns)
        inside = np.flatnonzero((node + share >= 0.0) & (node + share <= self.count - 1))
        if not inside.size:
            return
        zero = self._unknown(identity(1) / ZERO_M**2)
        covariance = levels.covariance_m2[np.ix_(inside, inside)]
        error = self._unknown(np.linalg.inv(covariance))
        for k, p in enumerate(inside):
            self.value.append(float(levels.level_m[p]))
            self.sigma.append(NUGGET_M)
            at = [(int(node[p]), 1.0 - share[p]), (int(node[p]) + 1, share[p])]
            self.rows.append((None, at, [(zero, 1.0), (error + k, 1.0)]))

    def _moving(self, rate_m_d):
        """Return the precision (2 n, 2 n) of level and rate beforehand."""
        shape = (self.count - 1, self.count)
        step = diags([-1.0, 1.0], [0, 1], shape=shape)
        mean = diags([0.5, 0.5], [0, 1], shape=shape) * self.step_d
        exact = hstack([step, -mean]) / (EXACT_M * np.sqrt(self.step_d))
        rate = _wander(self.count, self.step_d, rate_m_d, RATE_D)
        return exact.T @ exact + block_diag([identity(self.count) / ZERO_M**2, rate])

    def _sparse(self):
        """Return (row, column, entry, station or -1) of the design; levels wait for shares."""
        parts = []
        for k, (place, at, own) in enumerate(self.rows):
            station = -1 if place is None else place
            parts += [(k, c, v, station) for c, v in at] + [(k, c, v, -1) for c, v in own]
        row, column, entry, station = np.array(parts, float).reshape(-1, 4).T
        return row.astype(int), column.astype(int), entry, station.astype(int)

    def _before(self, rate_m_d):
        """Return (precision beforehand, half the logarithm of its determinant)."""
        if rate_m_d not in self.known:
            prior = block_diag([self._moving(rate_m_d), *self.fixed], format="csc")
            half = 0.5 * np.log(np.abs(splu(prior).U.diagonal())).sum()
            self.known = {rate_m_d: (prior, half)}
        return self.known[rate_m_d]

    def _solved(self, rate_m_d, shares):
        """Return (unknowns, logarithm of the posterior of rate and shares, factor)."""
        prior, before = self._before(rate_m_d)
        row, column, entry, station = self.sparse
        entry = entry * np.append(shares, 1.0)[station]  # -1: the last one
        design = coo_matrix((entry, (row, column)), (len(self.rows), self.width)).tocsc()
        weight = self.sigma**-2.0
        factor = splu(csc_matrix(prior + design.T @ diags(weight) @ design))
        right = design.T @ (weight * self.value)
        unknown = factor.solve(right)
        after = 0.5 * np.log(np.abs(factor.U.diagonal())).sum()
        off = [(v - s.share) / _spread(s) for v, s in zip(shares, self.stations, strict=True)]
        squares = weight @ self.value**2 - right @ unknown + np.sum(np.square(off))
        return unknown, before - after - 0.5 * squares, factor

    def look_for_shares(self):
        """Find the most probable size of the rate and shares, the level integrated out."""
        for _ in range(ROUNDS if self.stations else 1):
            self.rate_m_d = float(max(RATES_M_D, key=lambda r: self._solved(r, self.share)[1]))
            for k, station in enumerate(self.stations):
                reach = WITHIN * _spread(station)
                self.share[k] = minimize_scalar(
                    lambda v, k=k: -self._solved(self.rate_m_d, self._with(k, v))[1],
                    bounds=(station.share - reach, station.share + reach), method="bounded",
                    options={"xatol": 0.02 * _spread(station)},
                ).x  # fmt: skip

    def _with(self, k, value):
        """Return the shares with one replaced."""
        shares = self.share.copy()
        shares[k] = value
        return shares

    def _share_covariance(self):
        """Return the covariance of the shares by the curvature of the posterior."""
        count = len(self.stations)
        step = np.array([0.3 * _spread(s) for s in self.stations])
        middle = self._solved(self.rate_m_d, self.share)[1]

        def value(*moves):
            shares = self.share.copy()
            for k, sign in moves:
                shares[k] += sign * step[k]
            return self._solved(self.rate_m_d, shares)[1]

        curve = np.zeros((count, count))
        for k in range(count):
            curve[k, k] = (2.0 * middle - value((k, 1)) - value((k, -1))) / step[k] ** 2
            for m in range(k):
                cross = value((k, 1), (m, 1)) + value((k, -1), (m, -1))
                cross -= value((k, 1), (m, -1)) + value((k, -1), (m, 1))
                curve[k, m] = curve[m, k] = -cross / (4.0 * step[k] * step[m])
        # in units of the steps; never less sure than beforehand
        size, axes = np.linalg.eigh(curve * np.outer(step, step))
        inverse = axes @ np.diag(1.0 / np.maximum(size, 0.3**2)) @ axes.T
        return inverse * np.outer(step, step)

    def curve(self):
        """Return the :class:`LevelCurve`."""
        unknown, _, factor = self._solved(self.rate_m_d, self.share)
        unit = np.zeros((self.width, self.count))
        unit[np.arange(self.count), np.arange(self.count)] = 1.0
        own = factor.solve(unit)[: self.count]
        centre = np.eye(self.count) - 1.0 / self.count
        variance = np.diag(centre @ own @ centre).copy()
        level = centre @ unknown[: self.count]
        shares = self._share_covariance()
        if self.stations:
            moved = np.stack([self._moved(k, centre) for k in range(len(self.stations))], axis=1)
            variance += np.einsum("ij,jk,ik->i", moved, shares, moved)
        step_ns = round(self.step_d * NS_PER_DAY)
        time_ns = self.begin_ns + step_ns * np.arange(self.count, dtype=np.int64)
        sure = np.sqrt(np.diag(shares))
        names = [s.station for s in self.stations]
        found = {n: (float(a), float(b)) for n, a, b in zip(names, self.share, sure, strict=True)}
        sigma = np.sqrt(np.maximum(variance, 0.0))
        return LevelCurve(time_ns, level, sigma, self.rate_m_d, found)

    def _moved(self, k, centre):
        """Return what a share more of a station does to the curve (n,)."""
        step = 0.3 * _spread(self.stations[k])
        ends = [
            centre
            @ self._solved(self.rate_m_d, self._with(k, self.share[k] + way * step))[0][
                : self.count
            ]
            for way in (1.0, -1.0)
        ]
        return (ends[0] - ends[1]) / (2.0 * step)


def _spread(station):
    """Return the sigma of a share beforehand, not quite 0."""
    return max(float(station.share_sigma), 1e-4)


def _wander(count, step_d, sigma, length_d):
    """Return the precision (n, n) of a process of Ornstein and Uhlenbeck at even steps."""
    kept = np.exp(-step_d / length_d)
    fresh = max(sigma, 1e-4) ** 2 * (1.0 - kept**2)
    middle = np.full(count, (1.0 + kept**2) / fresh)
    middle[[0, -1]] = 1.0 / fresh
    beside = np.full(count - 1, -kept / fresh)
    return diags([beside, middle, beside], [-1, 0, 1])
