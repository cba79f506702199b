"""Arcs of unbroken phase, and the slot of the state vector that each one's ambiguity sits in."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Arcs:
    """``arc`` (n, m): number or -1; ``slot`` (n, m): its slot or -1; ``ending`` (n, m): its end."""

    arc: np.ndarray
    slot: np.ndarray
    ending: np.ndarray
    count: int
    slots: int


def split_arcs(usable, slip, max_gap, min_epochs):
    """Return the number of the arc of each observation, (n, m), -1 where there is none.

    Parameters
    ----------
    usable, slip : bool, shape (n, m)
        Where there is a phase; where an arc starts anew.
    max_gap : int
        A gap of more epochs than this starts a new arc.
    min_epochs : int
        Shorter arcs are given up: their ambiguity takes what they bring.
    """
    arc = np.full(usable.shape, -1)
    number = 0
    for s in range(usable.shape[1]):
        seen = np.flatnonzero(usable[:, s])
        if not seen.size:
            continue
        begins = np.r_[True, np.diff(seen) > max_gap] | _slip_since(slip[:, s], seen)
        which = np.cumsum(begins) - 1
        enough = np.bincount(which)[which] >= min_epochs
        arc[seen[enough], s] = number + which[enough]
        number += which[-1] + 1
    return arc


def _slip_since(slip, seen):
    """Return for each seen epoch whether a slip was marked after the one seen before."""
    total = np.cumsum(slip)[seen]
    return np.r_[False, np.diff(total) > 0]


def place_arcs(arc):
    """Return :class:`Arcs`: each arc gets the first slot free from its first to its last epoch."""
    n, m = arc.shape
    slot = np.full((n, m), -1)
    ending = np.zeros((n, m), bool)
    spans = []
    for s in range(m):
        seen = np.flatnonzero(arc[:, s] >= 0)
        if seen.size:
            cut = np.flatnonzero(np.diff(arc[seen, s])) + 1
            spans += [(int(part[0]), int(part[-1]), s, part) for part in np.split(seen, cut)]
    free_after = []
    for first, last, s, part in sorted(spans, key=lambda span: span[:3]):
        k = next((i for i, end in enumerate(free_after) if end < first), len(free_after))
        if k == len(free_after):
            free_after.append(-1)
        free_after[k] = last
        slot[part, s] = k
        ending[last, s] = True
    return Arcs(arc, slot, ending, len(spans), len(free_after))
