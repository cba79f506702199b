"""One p for many shapes: is the best of all possible responses better than chance would make it?"""

from dataclasses import dataclass

import numpy as np

from .permutation import p_value
from .response import Choices, begin, fit_noise_rounds


@dataclass(frozen=True)
class Scan:
    """The strongest of all shapes against what the noise alone makes of the strongest.

    ``p`` two-sided for all shapes together, ``scores`` (g,) the t of each shape, ``best`` its
    number, ``draws``, ``resolution`` of p.
    """

    p: float
    scores: np.ndarray
    best: int
    draws: int
    resolution: float


def scan_shapes(time, values, events, grid, generator, choices=None, sigma=None, draws=4999):
    """Return the :class:`Scan` of one series; arguments as of ``fit_response``.

    The scores of all shapes are jointly normal, with the correlations of the whitened shapes
    without baseline; their largest is drawn from that, the level of the noise from its
    chi-square. Exact for known noise up to the number of draws. The times of events enter as the
    mean of the shapes over their samples.
    """
    choices = Choices() if choices is None else choices
    problem = begin(time, values, events, grid, choices, sigma)
    fit_noise_rounds(problem, choices.noise)
    samples = range(events.samples)
    rest = sum(problem.whitened_shapes(problem.shapes(s), problem.peak) for s in samples)
    size = np.sqrt((rest**2).sum(axis=0))
    unit = rest / np.where(size > 0.0, size, 1.0)
    scores = unit.T @ problem.rest / np.sqrt(problem.noise.level)
    value, vector = np.linalg.eigh(unit.T @ unit)
    root = vector * np.sqrt(np.maximum(value, 0.0))
    kept = root[:, value > 1e-9 * value.max()]
    chance = np.abs(generator.standard_normal((draws, kept.shape[1])) @ kept.T).max(axis=1)
    chance /= np.sqrt(generator.chisquare(problem.degrees, draws) / problem.degrees)
    best = int(np.abs(scores).argmax())
    return Scan(
        p=float(p_value((chance >= abs(scores[best])).sum(), draws)),
        scores=scores,
        best=best,
        draws=draws,
        resolution=1.0 / (1.0 + draws),
    )
