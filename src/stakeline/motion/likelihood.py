"""The parameters of the motion model from the series itself, by maximum likelihood."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from .rows import checked_rows
from .smoother import MotionModel, log_likelihood

FREE = ("acceleration_m2_d3", "coloured_sigma_m", "coloured_memory_d", "white_scale")
SAMPLES = 20_000  # rows after thinning; our choice: some seconds
LOG_STEP = 0.1  # -, of the finite differences of the curvature; our choice
RANGES = {
    "acceleration_m2_d3": (1e-12, 1e8),  # m2/d3; our choice: slips of 20 m/d in minutes have 1e5
    "coloured_sigma_m": (1e-5, 10.0),  # m; our choice
    "white_scale": (0.02, 50.0),  # -; our choice
}


@dataclass(frozen=True)
class ParameterFit:
    """The model of the largest likelihood, and how well the series knows it.

    ``log_sigma`` holds one sigma of the natural logarithm for each of ``names`` (NaN where the
    likelihood is not curved there); ``at_bound`` names what ran against its limit: the series
    does not know it. ``rows`` were used, ``interval_d`` apart after thinning.
    """

    model: MotionModel
    names: tuple
    log_sigma: np.ndarray
    at_bound: tuple
    log_likelihood: float
    evaluations: int
    rows: int
    interval_d: float


def fit_model(time_ns, position_m, sigma_m, start, design=None, *, free=FREE, samples=SAMPLES):
    """Estimate parameters of the model of one axis by restricted maximum likelihood.

    Parameters
    ----------
    time_ns, position_m, sigma_m, design
        As for :func:`stakeline.motion.smoother.smooth`.
    start : MotionModel
        First guess; what is not ``free`` is kept. It says how many noises there are, and whether
        the velocity is a random walk or wanders.
    free : tuple of str
        Fields of the model to be estimated.
    samples : int
        The series is thinned to about this many weighted means of equal pieces of time.

    Returns
    -------
    ParameterFit

    Raises
    ------
    SettingsError, SolutionError
        As the smoother, and for a name that is no field, or one that the model does not use.

    Notes
    -----
    Nelder-Mead on the logarithms, within bounds, from the best of nine starts. ``white_scale`` is
    that of means over ``interval_d``: what is not white within it counts in.
    """
    time_ns, position, sigma, design, interval_d = thinned(
        time_ns, position_m, sigma_m, design, samples
    )
    space = _Space(start, free, interval_d, (time_ns[-1] - time_ns[0]) / NS_PER_DAY)
    count = [0]

    def cost(x):
        count[0] += 1
        return -log_likelihood(time_ns, position, sigma, space.model(x), design)

    first = min(space.starts(), key=cost)
    options = {"xatol": 0.02, "fatol": 0.01, "maxfev": 400}
    simplex = np.vstack([first, first + 0.7 * np.eye(len(first))])
    simplex = np.clip(simplex, *np.transpose(space.bounds))
    options["initial_simplex"] = simplex
    found = minimize(cost, first, method="Nelder-Mead", bounds=space.bounds, options=options)
    near = [min(v - b[0], b[1] - v) < 0.05 for v, b in zip(found.x, space.bounds, strict=True)]
    return ParameterFit(
        model=space.model(found.x),
        names=space.names,
        log_sigma=_log_sigma(cost, found.x, found.fun),
        at_bound=tuple(n for n, is_near in zip(space.names, near, strict=True) if is_near),
        log_likelihood=-float(found.fun),
        evaluations=count[0],
        rows=len(time_ns),
        interval_d=interval_d,
    )


def thinned(time_ns, position_m, sigma_m, design, samples):
    """Return (time, position, sigma, design, interval [d]) of weighted means of equal pieces.

    Pieces without a measurement are left out; the design is averaged as the positions are. Where
    there are no more than ``samples`` measurements, they are returned as they are.
    """
    time_ns, position, sigma, design = checked_rows(time_ns, position_m, sigma_m, design)
    measured = np.isfinite(position) & np.isfinite(sigma)
    time_ns, position, sigma = time_ns[measured], position[measured], sigma[measured]
    design = design[measured]
    if len(time_ns) < 3:
        raise SolutionError(f"{len(time_ns)} measured positions; a model of motion needs more")
    if len(time_ns) <= max(samples, 2):
        interval = float(np.median(np.diff(time_ns))) / NS_PER_DAY
        return time_ns, position, sigma, design, interval
    step_ns = int(np.median(np.diff(time_ns)))
    piece_ns = step_ns * int(np.ceil((time_ns[-1] - time_ns[0]) / samples / step_ns))
    _, first = np.unique((time_ns - time_ns[0]) // piece_ns, return_index=True)
    weight = sigma**-2.0
    total = np.add.reduceat(weight, first)

    def mean(values):
        return (np.add.reduceat(weight * values.T, first, axis=-1) / total).T

    middle = time_ns[0] + np.round(mean((time_ns - time_ns[0]).astype(float))).astype(np.int64)
    origin = position[0]
    position = origin + mean(position - origin)
    return middle, position, total**-0.5, mean(design), float(piece_ns / NS_PER_DAY)


class _Space:
    """The free parameters as a vector of logarithms."""

    def __init__(self, start, free, interval_d, span_d):
        self.start, self.names, self.x, self.bounds = start, (), [], []
        ranges = RANGES | {
            "coloured_memory_d": (2.0 * interval_d, max(0.5 * span_d, 4.0 * interval_d)),
            "velocity_memory_d": (4.0 * interval_d, max(10.0 * span_d, 40.0 * interval_d)),
        }
        for name in free:
            if name not in ranges:
                raise SettingsError(f"'{name}' is no parameter; known are {', '.join(ranges)}")
            values = np.atleast_1d(getattr(start, name))
            if name == "velocity_memory_d" and not np.isfinite(values).all():
                raise SettingsError("the velocity of the first guess is a random walk: no memory")
            for k, value in enumerate(values):
                low, high = np.log(ranges[name])
                self.names += (f"{name}[{k}]" if name.startswith("coloured") else name,)
                self.x.append(np.clip(np.log(max(value, 1e-300)), low, high))
                self.bounds.append((low, high))
        if not self.names:
            raise SettingsError("no parameter is free in this model")

    def model(self, x):
        """Return the model of one vector."""
        values = dict(zip(self.names, np.exp(x).tolist(), strict=True))
        changes = {}
        for name in ("acceleration_m2_d3", "velocity_memory_d", "white_scale"):
            if name in values:
                changes[name] = values[name]
        for name in ("coloured_sigma_m", "coloured_memory_d"):
            if f"{name}[0]" in values:
                count = len(getattr(self.start, name))
                changes[name] = tuple(values[f"{name}[{k}]"] for k in range(count))
        return replace(self.start, **changes)

    def starts(self):
        """Return the first guess and others about it."""
        found = []
        for factor in (0.0, np.log(100.0), -np.log(100.0)):
            for other in (0.0, np.log(3.0), -np.log(3.0)):
                x = np.array(self.x)
                for k, name in enumerate(self.names):
                    x[k] += factor if name == "acceleration_m2_d3" else 0.0
                    x[k] += other if name.startswith("coloured_memory") else 0.0
                found.append(np.clip(x, *np.transpose(self.bounds)))
        return found


def _log_sigma(cost, x, least):
    """Return the sigmas of the logarithms from the curvature of the cost at its least."""
    size = len(x)
    shift = LOG_STEP * np.eye(size)
    away = [(cost(x + s), cost(x - s)) for s in shift]
    curvature = np.diag([(a + b - 2.0 * least) / LOG_STEP**2 for a, b in away])
    for i in range(size):
        for j in range(i):
            both = cost(x + shift[i] + shift[j]) + cost(x - shift[i] - shift[j])
            mixed = both - sum(away[i]) - sum(away[j]) + 2.0 * least
            curvature[i, j] = curvature[j, i] = mixed / (2.0 * LOG_STEP**2)
    if (np.linalg.eigvalsh(curvature) <= 0.0).any():
        return np.full(size, np.nan)
    return np.sqrt(np.diag(np.linalg.inv(curvature)))
