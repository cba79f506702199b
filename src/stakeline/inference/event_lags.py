"""How late a response is: a lag for each event, drawn together by how much lags of events scatter.

    lag_e = middle + own_e,    own_e ~ N(0, deviation^2)

What the series knows is when the response to an event came, what else is known is when the event
began: the likelihood of a lag is that of its arrivals, averaged over the samples of that event's
onset alone. One lag for all events would let samples of onsets that happen to lie equally far from
the arrivals weigh most, though lags of events differ and few samples are drawn of all onsets
together. What events share besides, how large a response is and how long it lasts, is not known
either: it is summed over for all events at once. Were it free for each, a response below the noise
would be found wherever the noise is largest.
"""

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from .mixture import grid_quantile
from .shape import ShapeGrid, columns

OWN_SIZE = 0.3  # of the common amplitude, by which that of an event differs; our choice
REACH, TRIED = 5.0, 21  # sigmas about the common amplitude, values tried; our choice
LEAST_FORM = 0.02  # of the likeliest form's share: less likely ones are left out; our choice
LEAST_CASE = 1e-3  # of the best case's likelihood: less likely ones are left out; our choice
PER_STEP = 5  # lags tried between two of the grid; our choice
OWN = np.geomspace(0.003, 0.1, 8)  # of the range of lags, own deviations tried; our choice


def lag_quantiles(problem, tails):
    """Return quantiles (q,) of the mean lag of the events that the series sees. [time]

    Parameters
    ----------
    problem : Problem
        Of :mod:`~stakeline.inference.response`, its noise known and its shapes weighed.
    tails : array (q,)
        Probabilities of the quantiles.
    """
    lags = fine_lags(problem.grid)
    if len(lags) == 1:
        return np.full(len(tails), lags[0])
    share = problem.joint[:, problem.best]
    each = problem.each_shape(problem.best, share / share.sum())
    each = problem.whitened_shapes(each.T, problem.peak[problem.best])
    seen = np.flatnonzero((each**2).sum(axis=0) > 0.0)
    sizes, forms = common_sizes(problem), likely_forms(problem)
    likely = []
    for number in seen:
        others = each[:, seen[seen != number]]
        likely.append(lag_likelihood(problem, number, others, lags, (sizes, forms)))
    return mean_lag(lags, np.stack(likely, axis=1), tails)


def likely_forms(problem):
    """Return plateaus and decays (f, 2) that events share, without those that hardly can be."""
    forms, own = np.unique(problem.grid.table[:, 2:], axis=0, return_inverse=True)
    share = np.bincount(own, weights=problem.joint.sum(axis=0))
    return forms[share > LEAST_FORM * share.max()]


def common_sizes(problem):
    """Return amplitudes (s,) about that of all events together, equally likely. [value]"""
    known = problem.joint > 0.0
    weight, each = problem.joint[known], problem.amplitudes[known]
    centre = weight @ each
    sigma = np.sqrt(weight @ (problem.sigmas[known] ** 2 + (each - centre) ** 2))
    return centre + sigma * np.linspace(-REACH, REACH, TRIED)


def fine_lags(grid):
    """Return lags (a,) over all cells of the grid's lags, up to half a step beyond its ends."""
    lags = np.unique(grid.lags)
    if len(lags) == 1:
        return lags
    step = np.diff(lags).min()
    count = round((np.ptp(lags) + step) / step * PER_STEP)
    edges = np.linspace(lags[0] - 0.5 * step, lags[-1] + 0.5 * step, count + 1)
    return 0.5 * (edges[1:] + edges[:-1])


def lag_likelihood(problem, number, others, lags, shared):
    """Return the likelihood (c, a) of lags (a,), evenly spaced, of one event, 1 for the best.

    ``shared``: common sizes (s,) and forms (f, 2), the c = f * s cases are all pairs of them. Rises
    are the event's own. The ``others`` (m, e), responses to the other events as the noise sees
    them, have free amplitudes.
    """
    own = problem.events.onset[number] - problem.events.middle[number]
    step = lags[1] - lags[0]
    late = np.arange(own.min() + lags[0], own.max() + lags[-1] + 1.5 * step, step)
    sizes, forms = shared
    log = [arrival_likelihoods(problem, number, others, late, sizes, form) for form in forms]
    log = np.concatenate(log)
    likely = np.exp(log - log.max()).reshape(len(log), len(late), -1).sum(axis=2)
    at = lags + own[:, None]
    found = np.array([np.interp(at, late, each).mean(axis=0) for each in likely])
    return found / found.max()


def arrival_likelihoods(problem, number, others, late, sizes, form):
    """Return log likelihoods (s, a * rises) of a response that begins ``late`` (a,). [time]

    ``form``: its plateau and decay. [time] Its amplitude is normal around each of the common
    ``sizes`` (s,), with :data:`OWN_SIZE` of it.
    """
    grid, events = problem.grid, problem.median_events()
    tried = ShapeGrid(late, grid.rises, form[:1], form[1:], as_event=grid.as_event)
    one = events.only(np.array([number]))
    table = columns(problem.ready.time, one, tried, problem.width, 0)[0]
    white = problem.whitened_shapes(table, tried.peak(problem.width))
    basis, _ = np.linalg.qr(others)
    rest = problem.rest - basis @ (basis.T @ problem.rest)
    white = white - basis @ (basis.T @ white)
    information, product = (white**2).sum(axis=0), white.T @ rest
    size = sizes[:, None]
    variance = (OWN_SIZE * size) ** 2 / problem.noise.level
    away = product - information * size
    gain = size * (2.0 * product - information * size)
    gain = gain + variance * away**2 / (1.0 + variance * information)
    return 0.5 * (gain / problem.noise.level - np.log1p(variance * information))


def mean_lag(lags, likelihoods, tails):
    """Return quantiles of the mean lag of all events.

    Parameters
    ----------
    lags : array (a,)
        Evenly spaced, equally likely beforehand. [time]
    likelihoods : array (..., events, a)
        Summed over what stands before: unknowns that events share.
    tails : array (q,)
        Probabilities of the quantiles.

    Returns
    -------
    array (q,)
        [time]

    Notes
    -----
    Summed over the middle of all lags and over the deviation of each from it (equally likely
    logarithms). The mean is that of the events themselves, not of others yet to come.
    """
    events, count = likelihoods.shape[-2:]
    cases = likelihoods.reshape(-1, events, count)
    best = cases.max(axis=2).prod(axis=1)
    cases = cases[best > LEAST_CASE * best.max()]
    length = events * (count - 1) + 1
    fast = next_fast_len(length, real=True)
    total = 0.0
    for own in OWN * (lags[-1] - lags[0]):
        kernel = np.exp(-0.5 * ((lags - lags[:, None]) / own) ** 2)
        kernel /= kernel.sum(axis=1, keepdims=True)
        for each in cases:
            spectra = rfft(kernel[:, None] * each, fast, axis=2)
            total = total + spectra.prod(axis=1).sum(axis=0)
    weights = np.maximum(irfft(total, fast)[:length], 0.0)
    means = np.linspace(lags[0], lags[-1], length)
    return grid_quantile(tails, weights, means)
