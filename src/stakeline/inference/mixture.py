"""Quantiles of a weighted mixture of Student's distributions: what is left when shapes are many."""

import numpy as np
from scipy.optimize import brentq
from scipy.stats import t as student


def mixture_quantile(probability, weights, means, sigmas, degrees):
    """Return the value below which a mixture of Student's t lies with a probability.

    ``weights`` (k,) positive; ``means``, ``sigmas`` (k,) [value]; ``degrees`` of freedom, infinite
    for normal ones. Components with less than a millionth of the weight are left out.
    """
    keep = weights > 1e-6 * weights.max()
    share = weights[keep] / weights[keep].sum()
    mean, sigma = means[keep], sigmas[keep]
    if len(share) == 1 or (np.ptp(mean) == 0.0 and np.ptp(sigma) == 0.0):
        return float(mean[0] + sigma[0] * student.ppf(probability, degrees))
    ends = mean + sigma * student.ppf(probability, degrees)

    def beyond(x):
        return share @ student.cdf((x - mean) / sigma, degrees) - probability

    low, high = ends.min(), ends.max()
    away = 1e-6 * sigma.min() + 1e-9 * max(abs(low), abs(high))  # beyond rounding
    return float(brentq(beyond, low - away, high + away, xtol=1e-6 * sigma.min()))


def mixture_below(value, weights, means, sigmas, degrees):
    """Return the probability that a mixture of Student's t lies below a value."""
    return float(weights @ student.cdf((value - means) / sigmas, degrees) / weights.sum())


def log_likelihood_of(score, free):
    """Return the logarithm of the marginal likelihood of shapes by their t^2, 0 for the best.

    The level of ``score`` is the one that the best shape leaves. What a shape leaves is then
    proportional to ``1 + (best t^2 - t^2) / f``; with the amplitude integrated out, and the level
    under Jeffreys' prior, its likelihood is that to the power ``-f / 2`` (Zellner 1986). ``free``
    are values minus regressors, not the degrees of freedom of an amplitude: shapes differ in their
    fast parts, whose noise is far better known than the slow noise under a long plateau.
    """
    return -0.5 * free * np.log1p((score.max() - score) / free)


def weighted_quantile(probabilities, weights, values):
    """Return the smallest values whose weight, with all below, reaches the probabilities."""
    unique, share = _gathered(weights, values)
    at = np.searchsorted(np.cumsum(share), np.asarray(probabilities) - 1e-12)
    return unique[np.minimum(at, len(unique) - 1)]


def grid_quantile(probabilities, weights, values):
    """Return quantiles where each value of a grid stands for its cell, up to halfway."""
    unique, share = _gathered(weights, values)
    if len(unique) == 1:
        return np.full(np.shape(probabilities), unique[0])
    inner = 0.5 * (unique[1:] + unique[:-1])
    edges = np.concatenate([[2 * unique[0] - inner[0]], inner, [2 * unique[-1] - inner[-1]]])
    return np.interp(probabilities, np.concatenate([[0.0], np.cumsum(share)]), edges)


def _gathered(weights, values):
    """Return the different values, ascending, and the share of weight that each carries."""
    unique, place = np.unique(values, return_inverse=True)
    share = np.bincount(place.reshape(-1), weights)
    return unique, share / share.sum()
