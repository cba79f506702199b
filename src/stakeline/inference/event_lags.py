"""How late a response is: a lag for each event, drawn together by how much lags of events scatter.

    lag_e = middle + own_e,    own_e ~ N(0, deviation^2)

What the series knows is when the response to an event came, what else is known is when the event
began: the likelihood of a lag is that of its arrivals, averaged over the samples of that event's
onset alone. One lag for all events would let samples of onsets that happen to lie equally far from
the arrivals weigh most, though lags of events differ and few samples are drawn of all onsets
together.
"""

import numpy as np

from .mixture import grid_quantile, log_likelihood_of
from .shape import ShapeGrid, columns

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
    likely = []
    for number in seen:
        others = each[:, seen[seen != number]]
        likely.append(lag_likelihood(problem, number, others, lags))
    return mean_lag(lags, np.array(likely), tails)


def fine_lags(grid):
    """Return lags (a,) over all cells of the grid's lags, up to half a step beyond its ends."""
    lags = np.unique(grid.lags)
    if len(lags) == 1:
        return lags
    step = np.diff(lags).min()
    count = round((np.ptp(lags) + step) / step * PER_STEP)
    edges = np.linspace(lags[0] - 0.5 * step, lags[-1] + 0.5 * step, count + 1)
    return 0.5 * (edges[1:] + edges[:-1])


def lag_likelihood(problem, number, others, lags):
    """Return the likelihood (a,) of the lags (a,), evenly spaced, of one event, 1 for the best.

    Plateau and decay are the most likely ones, rises are summed over. The ``others`` (m, e),
    responses to the other events as the noise sees them, have free amplitudes.
    """
    own = problem.events.onset[number] - problem.events.middle[number]
    step = lags[1] - lags[0]
    late = np.arange(own.min() + lags[0], own.max() + lags[-1] + 1.5 * step, step)
    score = arrival_scores(problem, number, others, late)
    log = log_likelihood_of(score, problem.noise.free)
    likely = np.exp(log).reshape(len(late), -1).sum(axis=1)
    found = np.interp(lags + own[:, None], late, likely).mean(axis=0)
    return found / found.max()


def arrival_scores(problem, number, others, late):
    """Return the t^2 (a * rises,) of one event's response that begins ``late`` (a,). [time]

    0 where its sign is not that of all events together: that is no news of its lag.
    """
    grid, events = problem.grid, problem.median_events()
    shape = grid.table[problem.best]
    tried = ShapeGrid(late, grid.rises, shape[2:3], shape[3:4], as_event=grid.as_event)
    one = events.only(np.array([number]))
    table = columns(problem.ready.time, one, tried, problem.width, 0)[0]
    white = problem.whitened_shapes(table, tried.peak(problem.width))
    basis, _ = np.linalg.qr(others)
    rest = problem.rest - basis @ (basis.T @ problem.rest)
    white = white - basis @ (basis.T @ white)
    information = (white**2).sum(axis=0)
    product = np.maximum(problem.direction * (white.T @ rest), 0.0)
    return product**2 / np.where(information > 0.0, information, np.inf) / problem.noise.level


def mean_lag(lags, likelihoods, tails):
    """Return quantiles of the mean lag of all events.

    Parameters
    ----------
    lags : array (a,)
        Evenly spaced, equally likely beforehand. [time]
    likelihoods : array (events, a)
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
    events, count = likelihoods.shape
    length = events * (count - 1) + 1
    total = 0.0
    for own in OWN * (lags[-1] - lags[0]):
        kernel = np.exp(-0.5 * ((lags - lags[:, None]) / own) ** 2)
        kernel /= kernel.sum(axis=1, keepdims=True)
        spectra = np.fft.rfft(kernel[:, None] * likelihoods, length, axis=2)
        total = total + spectra.prod(axis=1).sum(axis=0)
    weights = np.maximum(np.fft.irfft(total, length), 0.0)
    means = np.linspace(lags[0], lags[-1], length)
    return grid_quantile(tails, weights, means)
