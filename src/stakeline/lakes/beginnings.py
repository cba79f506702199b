"""Where the walkers of a fit begin: all tops of its law, whichever of them was found first.

A filling that runs into a draining hides where it ends, and the draining where it begins: the same
heights are then told by a longer filling and an earlier, larger draining nearly as well. Each such
telling is a top of its own. They are looked for by moving the corner between two neighbours.
"""

from itertools import pairwise

import numpy as np

from .straight import straightened
from .walkers import Mixture

# Corners: by how much of its length the later one's onset is moved, its end kept; factor of the
# earlier one's length, its onset kept; choice
CORNERS = ((-0.4, 1.0), (-0.2, 1.0), (0.2, 1.0), (0.4, 1.0), (0.0, 0.75), (0.0, 1.35))
REACH = 0.5  # -, of the later one's length, by which it may begin after the earlier one's end
LOOK = 12  # evaluations of a first look at a beginning; choice
WITHIN = 60.0  # -, of the log evidence, below the best first look, of those followed; choice
WORSE = 14.0  # -, of the log evidence, below the best top, of tops that are kept; choice
SAME = 0.5  # sigmas by each number, mean square, within which two tops are one; choice
WIDER = 1.6  # -, of the mixture's spread over that of the curvature; choice
LEAST_WEIGHT = 0.03  # -, of a top in the mixture, before the walkers weigh it; choice


def tops(changes, start):
    """Return [(numbers (d,), covariance (d, d), log evidence)] of a fit's tops, the best first.

    Parameters
    ----------
    changes : Changes
    start : array (d,)
        Numbers of one of them, or near it.
    """
    looked = [changes.best(begin, LOOK) for begin in beginnings(changes, start)]
    looked = _best_of(changes, looked, WITHIN)
    followed = [changes.best(numbers) for numbers, _, _ in looked]
    ordered = [_in_order(changes, start, *one) for one in followed]
    return _best_of(changes, ordered, WORSE)


def _best_of(changes, found, worse):
    """Return (numbers, covariance, log evidence), best first: each once, none worse by more."""
    worth = [(*one, _worth(changes, *one)) for one in found]
    kept = []
    for one in sorted(worth, key=lambda one: -one[2]):
        known = any(_same(one[0], other[0], one[1]) for other in kept)
        if not known and (not kept or one[2] > kept[0][2] - worse):
            kept.append(one)
    return kept


def beginnings(changes, start):
    """Return vectors of numbers: the given ones, then corners between neighbours moved."""
    found = [np.array(start)]
    each = np.reshape(start[:-2], (-1, 4))
    for first, second in pairwise(np.argsort(each[:, 0])):
        length = np.exp(each[:, 1])
        if each[first, 0] + length[first] + REACH * length[second] < each[second, 0]:
            continue
        for corner, longer in CORNERS:
            moved = each.copy()
            moved[first, 1] += np.log(longer)
            moved[second, 0] += corner * length[second]
            moved[second, 1] += np.log1p(-corner)
            found.append(np.concatenate([moved.ravel(), start[-2:]]))
    return found


def mixture_of(changes, found):
    """Return the :class:`~.walkers.Mixture` about tops, in straightened coordinates."""
    worth = np.array([one[2] for one in found])
    weight = np.maximum(np.exp(0.5 * (worth - worth.max())), LEAST_WEIGHT)
    places, roots = zip(*(_straight(changes, one[0], one[1]) for one in found), strict=True)
    return Mixture(np.array(places), np.array(roots), weight / weight.sum())


def _straight(changes, numbers, covariance):
    """Return (straightened numbers, root of the mixture's spread there)."""
    d = len(numbers)
    move = 1e-5 * np.eye(d)
    away = straightened(np.vstack([numbers + move, numbers - move]), changes.count)
    slope = (away[:d] - away[d:]).T / 2e-5
    spread = WIDER**2 * changes.scale * slope @ covariance @ slope.T
    root = np.linalg.cholesky(spread + 1e-12 * np.diag(np.diag(spread)))
    return straightened(numbers[None], changes.count)[0], root


def _worth(changes, numbers, covariance):
    """Return the logarithm of what a top holds of the law, by its curvature."""
    value = float(changes.solved(numbers)[2][0])
    return value + 0.5 * float(np.linalg.slogdet(covariance)[1])


def _same(numbers, other, covariance):
    """Say whether two vectors are one top: near by the spread of the first."""
    off = numbers - other
    return off @ np.linalg.solve(covariance, off) < SAME**2 * len(off)


def _in_order(changes, reference, numbers, covariance):
    """Return numbers and covariance with the changes as in the reference, by sign and middle.

    Two changes may have taken each other's place on their way to a top.
    """
    free = [k for k in range(changes.count) if k not in changes.feeds]
    ranks = []
    for vector in (reference, numbers):
        size = changes.solved(vector)[0][0]
        each = np.reshape(vector[:-2], (-1, 4))
        middle = each[:, 0] + 0.5 * np.exp(each[:, 1])
        ranks.append(sorted(free, key=lambda k, s=size, m=middle: (s[k] > 0.0, m[k])))
    place = np.arange(len(numbers))
    for to, origin in zip(*ranks, strict=True):
        place[4 * to : 4 * to + 4] = np.arange(4 * origin, 4 * origin + 4)
    return numbers[place], covariance[np.ix_(place, place)]
