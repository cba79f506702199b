"""In which order to visit stations: the shortest way round, exactly for a dozen."""

import itertools
from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError

EXACT = 11  # stations besides the start for which every order is looked at; 2^n n^2 steps
ROUNDS = 200  # most improvements of a larger round; own choice


@dataclass(frozen=True)
class Round:
    """A way from the start through every place and back.

    Attributes
    ----------
    order : tuple of int
        Rows in order of visit, the start first and last.
    legs_m : array, shape (n,)
        Length of each leg.
    exact : bool
        Whether no shorter round exists.
    """

    order: tuple
    legs_m: np.ndarray
    exact: bool

    @property
    def length_m(self):
        """Of the whole round. [m]"""
        return float(self.legs_m.sum())


def shortest_round(distance_m, start=0):
    """Return the :class:`Round` through all places.

    Up to a dozen places by dynamic programming over subsets (Held & Karp 1962, J. SIAM 10, 196);
    more from the nearest neighbour on, parts of the way turned round while that shortens it.

    Parameters
    ----------
    distance_m : array, shape (n, n)
        Symmetric, with a zero diagonal.
    start : int
    """
    distance = np.asarray(distance_m, float)
    n = len(distance)
    if distance.shape != (n, n) or n == 0 or not np.isfinite(distance).all():
        raise SettingsError(f"distances of shape {distance.shape}: expected finite (n, n)")
    if not np.allclose(distance, distance.T) or np.diagonal(distance).any():
        raise SettingsError("distances: expected the same in both directions, and none to itself")
    others = [k for k in range(n) if k != start]
    exact = len(others) <= EXACT
    middle = _every_order(distance, start, others) if exact else _improved(distance, start, others)
    order = (start, *middle, start)
    legs = np.array([distance[a, b] for a, b in itertools.pairwise(order)])
    return Round(order, legs, exact)


def _every_order(distance, start, others):
    """Return the shortest order of the others, by dynamic programming."""
    count = len(others)
    if count == 0:
        return ()
    between = distance[np.ix_(others, others)]
    best = np.full((1 << count, count), np.inf)
    before = np.zeros((1 << count, count), int)
    for k in range(count):
        best[1 << k, k] = distance[start, others[k]]
    for visited in range(1 << count):
        for last in range(count):
            if not visited >> last & 1 or visited == 1 << last:
                continue
            ways = best[visited ^ 1 << last] + between[:, last]
            before[visited, last] = int(np.argmin(ways))
            best[visited, last] = ways[before[visited, last]]
    visited, found = (1 << count) - 1, []
    last = int(np.argmin(best[visited] + distance[others, start]))
    while visited:
        found.append(others[last])
        visited, last = visited ^ 1 << last, int(before[visited, last])
    return tuple(found[::-1])


def _improved(distance, start, others):
    """Return a short order of the others: nearest next, then parts turned round."""
    left, order = set(others), [start]
    while left:
        order.append(min(left, key=lambda k: (distance[order[-1], k], k)))
        left.remove(order[-1])
    order.append(start)
    for _ in range(ROUNDS):
        gain, cut = max(
            (
                distance[order[i - 1], order[i]]
                + distance[order[j], order[j + 1]]
                - distance[order[i - 1], order[j]]
                - distance[order[i], order[j + 1]],
                (i, j),
            )
            for i in range(1, len(order) - 2)
            for j in range(i + 1, len(order) - 1)
        )
        if gain <= 1e-9:
            break
        i, j = cut
        order[i : j + 1] = order[i : j + 1][::-1]
    return tuple(order[1:-1])
