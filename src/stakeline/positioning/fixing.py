"""From float ambiguities to integers: which arcs are fixed, to what, and which are let go again.

A fixed arc gives up its own ambiguity: its whole cycles are taken off its phases and it shares one
ambiguity with all fixed arcs of its family (a receiver and a signal group). What they share is the
receivers' phase bias, a real number. An arc whose residuals then contradict the integers gets its
own ambiguity back and is not fixed again.
"""

import itertools
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2

from ..errors import SolutionError
from .integers import decorrelate, integer_least_squares
from .network import Adjusted, Network, adjust

CHECK_S = 1800.0  # s, between epochs at which ambiguities are searched; our choice
SUCCESS = 0.9999  # -, bootstrapped, of each search; failure rate of common practice, a tenth
RATIO = 2.0  # -, second distance over the best; common practice
LARGEST = 24  # ambiguities searched at once; the surest first; our choice
FIT = 0.9999  # -, a best distance beyond this quantile contradicts the covariance; our choice
FEWEST_SIGMA_CYCLES = 0.02  # cycles, no float ambiguity is taken as surer: multipath; our choice
RELEASE_CYCLES = 0.25  # cycles, mean residual that contradicts an integer; our choice
RELEASE_S = 1800.0  # s, of the means by which arcs are judged; our choice
LEAST_SHARE = 0.5  # of an arc's phases that must stay in use; our choice
FIVE = 5  # satellites with integers that make a position; four and one to check; our choice
FEWEST = 4  # satellites below which there is no position
ROUNDS = 8  # at most; our choice


def state_words(sure, seen):
    """Return the states (n,) in words from how many satellites have integers, and are used."""
    state = np.where(sure > 0, "partly fixed", "float").astype("U13")
    state[sure >= FIVE] = "integer-fixed"
    state[seen < FEWEST] = "no solution"
    return state


@dataclass(frozen=True)
class Ambiguities:
    """One row for each arc: whose it is, when, and how long its cycle is."""

    receiver: np.ndarray
    column: np.ndarray
    family: np.ndarray  # of receiver and signal group, from 0
    first: np.ndarray  # epochs
    last: np.ndarray
    count: np.ndarray
    wavelength_m: np.ndarray
    candidate: np.ndarray  # bool: whether its ambiguity is an integer of that wavelength at all

    def __len__(self):
        return len(self.family)


@dataclass(frozen=True)
class Fixed:
    """The outcome: network with whole cycles taken off, last adjustment, and what was done."""

    network: Network
    adjusted: Adjusted
    fixed: np.ndarray  # (arcs,) bool
    cycles: np.ndarray  # (arcs,) whole cycles taken off
    released: np.ndarray  # (arcs,) bool
    searches: int


def list_ambiguities(network, wavelength_m, candidate):
    """Return :class:`Ambiguities` of all arcs; ``wavelength_m`` (m,), ``candidate`` (arcs,)."""
    r, k, s = np.nonzero(network.arc >= 0)
    which = network.arc[r, k, s]
    count = int(network.arc.max(initial=-1)) + 1
    first, last = np.full(count, network.arc.shape[1]), np.full(count, -1)
    np.minimum.at(first, which, k)
    np.maximum.at(last, which, k)
    receiver, column = np.zeros(count, int), np.zeros(count, int)
    receiver[which], column[which] = r, s
    groups = int(network.group.max(initial=0)) + 1
    return Ambiguities(
        receiver,
        column,
        receiver * groups + network.group[column],
        first,
        last,
        np.bincount(which, minlength=count),
        wavelength_m[column],
        candidate & (last >= 0),
    )


def near_code(network, ambiguities):
    """Return the network with phases shifted by whole cycles near their codes, and the cycles."""
    phase = network.phase_m.copy()
    apart = phase - network.code_m
    cycles = np.zeros(len(ambiguities))
    for number, rows in enumerate(_rows(network, len(ambiguities))):
        if len(rows[0]):
            wave = ambiguities.wavelength_m[number]
            cycles[number] = np.round(np.median(apart[rows]) / wave)
            phase[rows] -= cycles[number] * wave
    return replace(network, phase_m=phase), cycles


def _rows(network, count):
    """Return the indices (receiver, epoch, column) of each arc's observations."""
    where = np.nonzero(network.arc >= 0)
    order = np.argsort(network.arc[where], kind="stable")
    where = tuple(part[order] for part in where)
    edges = np.searchsorted(network.arc[where], np.arange(count + 1))
    return [tuple(part[a:b] for part in where) for a, b in itertools.pairwise(edges)]


def fix(network, ambiguities, memory=1.0):
    """Fix what can be fixed, in rounds; return :class:`Fixed`.

    Parameters
    ----------
    network : Network
        Phases near their codes, wide lanes taken off where they are needed.
    ambiguities : Ambiguities
    memory : float
        Factor on sigmas because noise of the phases is red.
    """
    state = _State(network, ambiguities, memory)
    state.adjust()
    if state.choose_data():
        for _ in range(ROUNDS):
            if not state.search():
                break
            state.adjust(2)
            if state.release():
                state.adjust(2)
    state.finish()
    return Fixed(
        state.network, state.adjusted, state.fixed, state.cycles, state.released, state.searches
    )


def contradicted(network, ambiguities, adjusted, arcs):
    """Return those of some fixed arcs whose residuals contradict their integers.

    A mean over half an hour is further off than a quarter of a cycle, or more than half of the
    phases were left out.
    """
    residual, rows = adjusted.smoothed.residual_m[0], _rows(network, len(ambiguities))
    step = float(np.median(np.diff(network.seconds))) if len(network.seconds) > 1 else 1.0
    block, bad = max(1, round(RELEASE_S / step)), []
    for arc in arcs:
        values = residual[rows[arc]] / ambiguities.wavelength_m[arc]
        parts = np.array_split(values, max(1, len(values) // block))
        means = np.array([np.nanmean(part) for part in parts if np.isfinite(part).any()])
        lost = np.isfinite(values).mean() < LEAST_SHARE
        if lost or np.abs(means).max(initial=0.0) > RELEASE_CYCLES:
            bad.append(int(arc))
    return bad


class _State:
    """A solution on its way from float to fixed."""

    def __init__(self, network, ambiguities, memory):
        self.network, self.ambiguities, self.memory = network, ambiguities, memory
        count = len(ambiguities)
        self.rows = _rows(network, count)
        self.fixed, self.released = np.zeros(count, bool), np.zeros(count, bool)
        self.cycles = np.zeros(count)
        self.datum = {}  # family -> arc
        self.adjusted, self.searches = None, 0
        step = float(np.median(np.diff(network.seconds))) if len(network.seconds) > 1 else 1.0
        every = max(1, round(CHECK_S / step))
        self.shots = list(range(every // 2 % len(network.seconds), len(network.seconds), every))

    @property
    def label(self):
        """Arcs by number; fixed ones by family beyond."""
        own = np.arange(len(self.fixed))
        return np.where(self.fixed, len(own) + self.ambiguities.family, own)

    def adjust(self, rounds=6):
        """Adjust with the present integers and all shots."""
        self.adjusted = adjust(
            self.network,
            self.label,
            start=self.adjusted,
            spread=True,
            shots=self.shots,
            rounds=rounds,
            always=len(self.fixed),
        )

    def choose_data(self):
        """Take each family's longest arc as what the others are counted from."""
        a = self.ambiguities
        for family in np.unique(a.family[a.candidate]):
            own = np.flatnonzero(a.candidate & (a.family == family))
            if len(own) > 1:
                self.datum[int(family)] = own[np.argmax(a.count[own])]
                self.fixed[self.datum[int(family)]] = True
        if self.datum:
            self.adjust(1)
        return bool(self.datum)

    def search(self):
        """Search integers at all shots; take those on which all agree; return how many."""
        votes = {}
        for shot, k in enumerate(self.shots):
            for arc, whole in self._at(shot, k):
                votes.setdefault(int(arc), set()).add(int(whole))
        agreed = {arc: whole.pop() for arc, whole in votes.items() if len(whole) == 1}
        for arc, whole in agreed.items():
            self._shift(arc, whole)
            self.fixed[arc] = True
        return len(agreed)

    def _shift(self, arc, whole):
        self.network.phase_m[self.rows[arc]] -= whole * self.ambiguities.wavelength_m[arc]
        self.cycles[arc] += whole

    def _at(self, shot, k):
        """Return [(arc, whole cycles)] that are safe at one epoch."""
        a, placed = self.ambiguities, self.adjusted.placed
        alive = a.candidate & ~self.fixed & ~self.released & (a.first <= k) & (a.last >= k)
        arcs = np.array([i for i in np.flatnonzero(alive) if int(a.family[i]) in self.datum], int)
        if not arcs.size:
            return []
        x, c = (part[shot] for part in self.adjusted.smoothed.shots)
        own, shared = placed.at[arcs], placed.at[len(self.fixed) + a.family[arcs]]
        wave = a.wavelength_m[arcs]
        value = (x[own] - x[shared]) / wave
        joint = c[np.ix_(own, own)] - c[np.ix_(own, shared)]
        joint += c[np.ix_(shared, shared)] - c[np.ix_(shared, own)]
        joint *= (max(self.adjusted.phase_scale, 0.3) * self.memory) ** 2
        joint = joint / wave[:, None] / wave + FEWEST_SIGMA_CYCLES**2 * np.eye(len(arcs))
        self.searches += 1
        return self._surest(arcs, value, 0.5 * (joint + joint.T))

    def _surest(self, arcs, value, joint):
        """Return [(arc, cycles)] of the largest set that passes all tests, the surest first."""
        order = np.argsort(np.diag(joint))[:LARGEST]
        for count in range(len(order), 0, -1):
            some = order[:count]
            part = joint[np.ix_(some, some)]
            try:
                if decorrelate(part).success < SUCCESS:
                    continue
            except SolutionError:
                continue
            found = integer_least_squares(value[some], part)
            if found.ratio >= RATIO and found.distances[0] <= chi2.ppf(FIT, count):
                return list(zip(arcs[some], found.vectors[0], strict=True))
        return []

    def release(self):
        """Let go of arcs whose residuals contradict their integers; return how many."""
        judged = self.fixed.copy()
        judged[list(self.datum.values())] = False
        bad = contradicted(self.network, self.ambiguities, self.adjusted, np.flatnonzero(judged))
        self.fixed[bad] = False
        self.released[bad] = True
        return len(bad)

    def finish(self):
        """Call a family whose datum stayed alone float."""
        for family, arc in self.datum.items():
            if self.fixed[self.ambiguities.family == family].sum() < 2:
                self.fixed[arc] = False
