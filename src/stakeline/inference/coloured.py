"""Coloured noise of a series with gaps: white noise and noise with a memory, by likelihood.

All kinds are sums of Gauss-Markov processes and white noise, so that one Kalman filter whitens any
table of columns in linear time, exactly with gaps. ``power law`` is such a sum too: memories at
equal steps of their logarithm with variances growing as memory ** (-index - 1) have a spectrum
``f ** index`` between them (compare :func:`stakeline.inference.noise.flicker_memories`).
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit

from ..errors import SettingsError, SolutionError
from . import _kernels

KINDS = ("white", "memory", "two memories", "power law")
LONGEST_MEMORY = 1.0  # of the span of the series; our choice
SHORTEST_MEMORY = 0.3  # of the step; our choice
WIDEST_LOGIT = 9.0  # shares lie within 1.2e-4 of 0 and 1; our choice
PER_DECADE = 3  # memories of a power law; our choice: within 2 % of its spectrum
INDICES = [-1.95, -0.05]  # -, of a power law; its sum holds between -2 and 0
CURVATURE_STEP = 0.15  # of the logarithms and logits; our choice


@dataclass(frozen=True)
class ColouredNoise:
    """Noise of one kind, with unit total variance: ``level`` [value^2] times it is the noise.

    ``memories`` (k,) [time] and ``variances`` (k,) of the processes, ``white`` that of the white
    noise; ``parameters`` (q,) and ``limits`` (q, 2) of the search, ``parameter_covariance`` (q, q)
    from the curvature of the restricted likelihood; ``free`` values minus regressors;
    ``at_bound`` tells that a parameter ran against its limit: the data do not show one.
    """

    kind: str
    memories: np.ndarray
    variances: np.ndarray
    white: float
    level: float
    log_likelihood: float
    parameters: np.ndarray
    limits: np.ndarray
    parameter_covariance: np.ndarray
    free: int
    at_bound: bool

    @property
    def information(self):
        """Return Akaike's criterion of the restricted likelihood; smaller is better."""
        return 2.0 * (len(self.parameters) + 1) - 2.0 * self.log_likelihood


def whiten(noise, ready, table):
    """Return the columns of a table (m, c) as white noise sees them, under unit level."""
    return _whitened(ready, table, noise.memories, noise.variances, noise.white)[0]


def fit_coloured(ready, kind="memory", extra=None):
    """Estimate the noise of a series by restricted maximum likelihood.

    Parameters
    ----------
    ready : Prepared
        The series and its baseline.
    kind : str
        One of :data:`KINDS`, or ``best`` of them by Akaike's criterion.
    extra : array (m, e), optional
        Regressors beside the baseline.

    Returns
    -------
    ColouredNoise

    Notes
    -----
    Patterson & Thompson (1971), Biometrika 58, 545, by the innovations of a Kalman filter
    (Harvey 1989, *Forecasting, Structural Time Series Models and the Kalman Filter*, section 3.4)
    with the regressors swept out (de Jong 1991, Annals of Statistics 19, 1073).
    """
    if kind == "best":
        return min((fit_coloured(ready, k, extra) for k in KINDS), key=lambda f: f.information)
    if kind not in KINDS:
        raise SettingsError(f"noise '{kind}'; known are {', '.join(KINDS)} and best")
    search = _Search(ready, _table(ready, extra), kind)
    best = search.best()
    return search.noise(best, search.curvature(best))


def degrees_of_freedom(noise, ready, variance, extra=None):
    """Return the degrees of freedom with which a variance is known, noise parameters included.

    Satterthwaite's: ``2 / var(ln variance)`` by the first order in the noise parameters (Giesbrecht
    & Burns 1985, Biometrics 41, 477), the level's own share ``2 / free`` added. ``variance`` is a
    function of a noise, without its level; ``extra`` as in :func:`fit_coloured`. At least 2, at
    most ``free``.
    """
    search = _Search(ready, _table(ready, extra), noise.kind)
    q = len(noise.parameters)
    slopes = np.zeros(q)
    for j in range(q):
        ends = []
        for sign in (1.0, -1.0):
            x = noise.parameters.copy()
            x[j] = np.clip(x[j] + sign * CURVATURE_STEP, *noise.limits[j])
            ends.append((x[j], search.noise(x, noise.parameter_covariance)))
        values = [np.log(variance(other) * other.level) for _, other in ends]
        slopes[j] = (values[0] - values[1]) / (ends[0][0] - ends[1][0])
    spread = 2.0 / noise.free + slopes @ noise.parameter_covariance @ slopes
    return float(np.clip(2.0 / spread, 2.0, noise.free))


def simulate_noise(noise, time, generator, count=1):
    """Return draws (count, n) of a noise at ascending times (n,)."""
    time = np.asarray(time, float)
    total = np.sqrt(noise.white) * generator.standard_normal((count, len(time)))
    for memory, variance in zip(noise.memories, noise.variances, strict=True):
        draw = generator.standard_normal((count, len(time)))
        state = draw[:, 0]
        total[:, 0] += np.sqrt(variance) * state
        decay = np.exp(-np.diff(time) / memory)
        for i, d in enumerate(decay, 1):
            state = d * state + np.sqrt(1.0 - d * d) * draw[:, i]
            total[:, i] += np.sqrt(variance) * state
    return np.sqrt(noise.level) * total


def _whitened(ready, table, memories, variances, white):
    """Return (whitened table, logarithm of the determinant of the covariance)."""
    table = np.ascontiguousarray(table, float)
    out = np.empty_like(table)
    kinds, columns = len(memories), table.shape[1]
    logarithms = _kernels.states_whiten(
        ready.time,
        table,
        memories,
        variances,
        np.maximum(white, 1e-9) * ready.relative,
        np.empty((kinds, kinds)),
        np.empty((2, kinds)),
        np.empty((kinds, columns)),
        out,
    )
    return out, logarithms


def _table(ready, extra):
    """Return the regressors and values (m, p + 1), the latter without their plain baseline.

    The likelihood does not know the difference; its normal matrix keeps its digits.
    """
    extra = np.empty((len(ready.time), 0)) if extra is None else extra
    rest = ready.values - ready.design @ (ready.design.T @ ready.values)
    return np.column_stack([ready.design, extra, rest])


def _solve(ready, table, memories, variances, white):
    """Return (-2 log restricted likelihood, level)."""
    out, logarithms = _whitened(ready, table, memories, variances, white)
    try:
        triangle = np.diag(np.linalg.cholesky(out.T @ out))
    except np.linalg.LinAlgError:  # values without noise, or columns that are nearly the same
        triangle = np.maximum(np.abs(np.diag(np.linalg.qr(out, mode="r"))), 1e-150)
    free = len(out) - len(triangle) + 1
    level = max(triangle[-1] ** 2 / free, np.finfo(float).tiny)
    twice = logarithms + 2.0 * np.log(triangle[:-1]).sum()
    return twice + free * (np.log(2.0 * np.pi * level) + 1.0), level


class _Search:
    """The restricted likelihood of one kind of noise over its parameters."""

    def __init__(self, ready, table, kind):
        self.ready, self.table, self.kind = ready, table, kind
        self.free = len(table) - table.shape[1] + 1
        memory = np.log([SHORTEST_MEMORY * ready.step, LONGEST_MEMORY * ready.span])
        logit = [-WIDEST_LOGIT, WIDEST_LOGIT]
        limits = {
            "white": np.empty((0, 2)),
            "memory": [memory, logit],
            "two memories": [memory, logit, [0.7, np.ptp(memory)], logit],
            "power law": [INDICES, logit],
        }
        self.limits = np.array(limits[kind], float)

    def states(self, x):
        """Return (memories (k,), variances (k,), white variance) of parameters, 1 together."""
        if self.kind == "white":
            return np.empty(0), np.empty(0), 1.0
        white = float(expit(x[1]))
        if self.kind == "memory":
            return np.exp(x[:1]), np.array([1.0 - white]), white
        if self.kind == "two memories":
            short = float(expit(x[3]))
            memories = np.exp([x[0], x[0] + x[2]])
            return memories, (1.0 - white) * np.array([short, 1.0 - short]), white
        first, last = 0.5 * self.ready.step, 2.0 * self.ready.span
        count = max(2, round(PER_DECADE * np.log10(last / first)) + 1)
        memories = np.geomspace(first, last, count)
        variances = memories ** (-x[0] - 1.0)
        return memories, (1.0 - white) * variances / variances.sum(), white

    def solve(self, x):
        """Return (-2 log restricted likelihood, level)."""
        return _solve(self.ready, self.table, *self.states(x))

    def noise(self, x, parameter_covariance):
        """Return the :class:`ColouredNoise` of parameters."""
        twice, level = self.solve(x)
        memories, variances, white = self.states(x)
        near = np.minimum(x - self.limits[:, 0], self.limits[:, 1] - x) < 0.05
        return ColouredNoise(
            kind=self.kind,
            memories=memories,
            variances=variances,
            white=white,
            level=level,
            log_likelihood=-0.5 * twice,
            parameters=x,
            limits=self.limits,
            parameter_covariance=parameter_covariance,
            free=self.free,
            at_bound=bool(near.any()),
        )

    def best(self):
        """Return the most likely parameters: the best of a coarse grid, then a simplex."""
        if self.kind == "white":
            return np.empty(0)
        low, high = self.limits.T
        first = np.linspace(low[0], high[0], 7)[1:-1]
        rest = {"two memories": [(1.5, -2.0), (3.0, 0.0), (3.0, 2.0)]}.get(self.kind, [()])
        starts = [np.array([a, b, *r]) for a in first for b in (-4.0, 0.0, 4.0) for r in rest]
        starts = [np.clip(start, low, high) for start in starts]
        start = min(starts, key=lambda x: self.solve(x)[0])
        found = minimize(
            lambda x: self.solve(x)[0],
            start,
            method="Nelder-Mead",
            bounds=[tuple(pair) for pair in self.limits],
            options={"xatol": 2e-3, "fatol": 2e-3, "maxiter": 400},
        )
        if not np.isfinite(found.fun):
            raise SolutionError("the noise of the series has no likelihood: are values absurd?")
        return found.x

    def curvature(self, best):
        """Return the covariance (q, q) of the parameters; none narrower than data allow."""
        q = len(best)
        if q == 0:
            return np.empty((0, 0))
        step = CURVATURE_STEP
        inside = np.clip(best, self.limits[:, 0] + 2.0 * step, self.limits[:, 1] - 2.0 * step)
        away = step * np.eye(q)

        def cost(x):
            return 0.5 * self.solve(x)[0]

        centre, hessian = cost(inside), np.empty((q, q))
        for i in range(q):
            ends = cost(inside + away[i]) + cost(inside - away[i])
            hessian[i, i] = (ends - 2.0 * centre) / step**2
            for j in range(i):
                cross = cost(inside + away[i] + away[j]) + cost(inside - away[i] - away[j])
                turn = cost(inside + away[i] - away[j]) + cost(inside - away[i] + away[j])
                hessian[i, j] = hessian[j, i] = (cross - turn) / (4.0 * step**2)
        value, vector = np.linalg.eigh(hessian)
        return (vector / np.maximum(value, 0.25)) @ vector.T
