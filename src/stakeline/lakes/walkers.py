"""Samples of a law that may have several tops, the same from whichever top one begins.

Walkers are drawn from a mixture of t distributions about the tops that were found, and weighed from
the mixture's density over to the law's in steps (Neal 2001, Stat. Comput. 11, 125; Del Moral and
others 2006, J. R. Stat. Soc. B 68, 411): what share of them a top gets is so its share of the law,
and no longer how many began there. Between the steps they go along differences of one another
(ter Braak 2006, Stat. Comput. 16, 239).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, logsumexp

TAILS = 4.0  # degrees of freedom of the t distributions; choice
DRAWN = 2000  # from the mixture; choice
WALKERS = 400  # choice
KEPT_SHARE = 0.6  # -, of the walkers, effective number that a step must leave; choice
LEAST_STEP = 0.005  # -, of the way from the mixture to the law; choice
ROUNDS = 3  # of moves after a step; choice
LAST_ROUNDS, EVERY = 40, 20  # of moves under the law itself, and between samples kept; choice
JUMPS = 0.1  # -, share of moves by a whole difference, from top to top; ter Braak's
_HALVINGS = 12  # when a step is sought: to less than the least step


@dataclass(frozen=True, eq=False)
class Mixture:
    """t distributions about places (m, d), roots (m, d, d) of their shapes, weights (m,)."""

    place: np.ndarray
    root: np.ndarray
    weight: np.ndarray

    def drawn(self, rng, count):
        """Return places (count, d)."""
        which = rng.choice(len(self.weight), count, p=self.weight)
        normal = rng.standard_normal((count, self.place.shape[1]))
        normal *= np.sqrt(TAILS / rng.chisquare(TAILS, count))[:, None]
        return self.place[which] + np.einsum("nij,nj->ni", self.root[which], normal)

    def log_density(self, place):
        """Return the logarithm of the density (n,) at places (n, d)."""
        d = self.place.shape[1]
        one = gammaln(0.5 * (TAILS + d)) - gammaln(0.5 * TAILS) - 0.5 * d * np.log(TAILS * np.pi)
        found = []
        for middle, root, weight in zip(self.place, self.root, self.weight, strict=True):
            off = np.linalg.solve(root, (place - middle).T)
            log = one - 0.5 * (TAILS + d) * np.log1p((off**2).sum(axis=0) / TAILS)
            found.append(log - np.linalg.slogdet(root)[1] + np.log(weight))
        return logsumexp(found, axis=0)


def law_samples(valued, mixture, rng):
    """Return (samples (s, d), share of the last moves that were taken).

    Parameters
    ----------
    valued : callable
        Logarithm of the law's density (n,), up to a constant, at places (n, d); -inf outside.
    mixture : Mixture
        About its tops; a top that it does not reach is not seen.
    rng : numpy.random.Generator
    """
    place = mixture.drawn(rng, DRAWN)
    value, begun = valued(place), mixture.log_density(place)
    share, chosen = _next_share(value - begun, 0.0, WALKERS)
    while True:
        kept = _resampled(chosen, rng)
        place, value, begun = place[kept], value[kept], begun[kept]
        if share >= 1.0:
            break
        for _ in range(ROUNDS):
            _round(valued, mixture, place, value, begun, share, rng)
        share, chosen = _next_share(value - begun, share, KEPT_SHARE * WALKERS)
    stored, taken = [], 0.0
    for k in range(1, LAST_ROUNDS + 1):
        taken += _round(valued, mixture, place, value, begun, 1.0, rng)
        if k % EVERY == 0:
            stored.append(place.copy())
    return np.concatenate(stored), taken / LAST_ROUNDS


def _next_share(log_ratio, share, effective):
    """Return (the next share of the law, weights): as far as the effective number allows."""

    def weights(step):
        log = step * np.where(np.isfinite(log_ratio), log_ratio, -np.inf)
        flat = np.exp(log - log.max())
        return flat / flat.sum()

    def effective_of(step):
        return 1.0 / (weights(step) ** 2).sum()

    least, most = 0.0, 1.0 - share
    if effective_of(most) >= effective:
        return 1.0, weights(most)
    for _ in range(_HALVINGS):
        middle = 0.5 * (least + most)
        least, most = (middle, most) if effective_of(middle) >= effective else (least, middle)
    step = min(max(most, LEAST_STEP), 1.0 - share)
    return share + step, weights(step)


def _resampled(weight, rng):
    """Return which (WALKERS,) are kept by their weights, evenly spaced along their sum."""
    at = (np.arange(WALKERS) + rng.random()) / WALKERS
    return np.minimum(np.searchsorted(np.cumsum(weight), at), len(weight) - 1)


def _round(valued, mixture, place, value, begun, share, rng):
    """Move both halves once, in place, under a share of the law; return the share that moved."""
    order = rng.permutation(len(place))
    halves = order[::2], order[1::2]
    taken = 0
    for mine, others in (halves, halves[::-1]):
        new = place[mine] + _ways(place, mine, others, rng)
        trial, start = valued(new), mixture.log_density(new)
        gain = share * (trial - value[mine]) + (1.0 - share) * (start - begun[mine])
        moves = np.log(rng.random(len(mine))) < gain
        to = mine[moves]
        place[to], value[to], begun[to] = new[moves], trial[moves], start[moves]
        taken += len(to)
    return taken / len(place)


def _ways(place, mine, others, rng):
    """Return steps (n, d) along differences of the others."""
    d, n = place.shape[1], len(mine)
    first = rng.integers(len(others), size=n)
    second = (first + rng.integers(1, len(others), size=n)) % len(others)
    way = place[others[first]] - place[others[second]]
    usual = 2.38 / np.sqrt(2.0 * d) * np.where(rng.random(n) < 0.5, 1.0, 0.5)
    factor = np.where(rng.random(n) < JUMPS, 1.0, usual)
    return factor[:, None] * way * (1.0 + 0.02 * rng.standard_normal(way.shape))
