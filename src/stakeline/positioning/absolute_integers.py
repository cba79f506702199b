"""Integers without a base: where products hold what satellites add to wide lanes and phases.

Satellite clocks of some centres are made with integer ambiguities; with them the narrow lane of a
single receiver is an integer once the wide lane is known (Laurichesse et al. 2009, Navigation 56,
135-149). What a satellite adds to the wide lane comes as one number a day, or follows from biases
of each observable (Villiger et al. 2019, J. Geodesy 93, 1487-1500).
"""

from dataclasses import dataclass, replace

import numpy as np

from ..signals.slips import wide_lane_cycles
from ..tables import SYSTEMS
from .fixing import Ambiguities, Fixed, fix, list_ambiguities, near_code, state_words
from .network import Network
from .wide_lanes import WideLanes, fix_wide_lanes, lane_lengths

MEMORY = 3.0  # -, float sigmas are this much too small: red noise; as of relative positions
GOOD_CYCLES = 0.2  # cycles, a fraction within it agrees; the usual figure of publications
LEAST_GOOD = 0.7  # share of wide lanes within it, below which products do not fit; our choice
LEAST_FIXED = 0.5  # share of the arcs with wide lanes, below which all stays float; our choice
PRIOR_ZENITH_M = (1.0, 0.3, 5e-3)  # common (not used), zenith, gradients: as in estimate


@dataclass(frozen=True)
class AbsoluteFix:
    """What was fixed: None where the products do not allow it; ``words`` say why, or how much."""

    fixed: Fixed | None
    lanes: WideLanes | None
    ambiguities: Ambiguities | None
    words: str

    def states(self, used, arc):
        """Return the states (n,) in words; ``used`` and ``arc`` (n, m)."""
        seen = used.sum(axis=1)
        if self.fixed is None:
            return state_words(np.zeros_like(seen), seen)
        whole = used & (arc >= 0) & self.fixed.fixed[np.maximum(arc, 0)]
        return state_words(whole.sum(axis=1), seen)

    def estimate(self, result):
        """Return the :class:`Estimate` with the fixed solution in it; as it was where none is."""
        if self.fixed is None:
            return result
        adjusted = self.fixed.adjusted
        done = adjusted.smoothed
        return replace(
            result,
            states=done.states,
            covariance_m2=done.covariance_m2,
            phase_residual_m=done.residual_m[0, 1],
            code_residual_m=done.residual_m[1, 1],
            phase_used=adjusted.phase_used[1],
            code_used=adjusted.code_used[1],
            phase_scale=adjusted.phase_scale,
            code_scale=adjusted.code_scale,
        )


def without_biases(tracks, biases):
    """Return the tracks with the biases of observables taken off codes and phases."""
    code, phase = tracks.code_m.copy(), tracks.phase_m.copy()
    for j, (satellite, signals) in enumerate(zip(tracks.satellites, tracks.signals, strict=True)):
        for i in (0, 1):
            code[i, :, j] -= biases.get((int(satellite), signals[2 * i]), 0.0)
            phase[i, :, j] -= biases.get((int(satellite), signals[2 * i + 1]), 0.0)
    return replace(tracks, code_m=code, phase_m=phase)


def fix_absolute(problem, phase_m, tracks, epochs, elevation_rad, products):
    """Return the :class:`AbsoluteFix` of a posed problem.

    Parameters
    ----------
    problem : Problem
        Ionosphere-free.
    phase_m : array, shape (n, m)
        Its phases, not yet shifted near the codes: such shifts are no whole cycles.
    tracks : Tracks
        All epochs; biases of observables taken off where products hold them.
    epochs : int array, shape (n,)
        Those of the problem.
    elevation_rad : array, shape (n, m)
    products : Products
        ``wide_lanes`` of the two bands tracked, or ``biases`` of codes and phases.
    """
    known, bias = known_wide_lanes(tracks, products)
    if not known.any():
        return AbsoluteFix(None, None, None, "no satellite phase biases in the products: float")
    lanes = np.where(known, wide_lane_cycles(tracks)[epochs] + bias, np.nan)
    wide = _wide_lanes(problem, lanes, elevation_rad, tracks.satellites)
    share = good_share(wide)
    if not share >= LEAST_GOOD:
        words = (
            f"wide lanes do not fit the products ({100 * share:.0f} % within {GOOD_CYCLES} "
            "cycles): float"
        )
        return AbsoluteFix(None, wide, None, words)
    wide_m, narrow_m = lane_lengths(tracks.frequency_hz)
    phase = phase_m.copy()
    here = problem.arc >= 0
    cycles = np.where(wide.fixed, wide.cycles, 0.0)[problem.arc[here]]
    phase[here] -= cycles * np.broadcast_to(wide_m, phase.shape)[here]
    network = network_of(replace(problem, phase_m=phase))
    able = np.zeros(len(wide.fixed), bool)
    able[problem.arc[here]] = np.broadcast_to(known, phase.shape)[here]
    ambiguities = list_ambiguities(network, narrow_m, able & wide.fixed)
    network, _ = near_code(network, ambiguities)
    fixed = fix(network, ambiguities, MEMORY)
    count, arcs = int(fixed.fixed.sum()), int(ambiguities.candidate.sum())
    words = f"{count} of {arcs} arcs fixed, {100 * share:.0f} % of wide lanes fit"
    if count < LEAST_FIXED * arcs:
        return AbsoluteFix(
            None, wide, ambiguities,
            f"{words}: narrow lanes do not fit the products (antenna models other than those of "
            "the clocks?): float",
        )  # fmt: skip
    return AbsoluteFix(fixed, wide, ambiguities, words)


def known_wide_lanes(tracks, products):
    """Return (bool (m,), cycles (m,) to add to wide lanes) of the satellites that have them."""
    if products.biases:
        has = [
            all((int(s), code) in products.biases for code in signals)
            for s, signals in zip(tracks.satellites, tracks.signals, strict=True)
        ]
        return np.array(has, bool), np.zeros(len(has))
    lanes = products.wide_lanes or {}
    found = [lanes.get(int(s), (0.0, "")) for s in tracks.satellites]
    pairs = [signals[0][1] + signals[2][1] for signals in tracks.signals]
    known = [bands == pair for (_, bands), pair in zip(found, pairs, strict=True)]
    return np.array(known, bool), np.array([cycles for cycles, _ in found])


def good_share(wide):
    """Return the share of arcs whose wide-lane fraction is within 0.2 cycle; NaN without arcs."""
    size = np.abs(wide.fraction[np.isfinite(wide.fraction)])
    return float((size <= GOOD_CYCLES).mean()) if size.size else float("nan")


def _wide_lanes(problem, lanes, elevation_rad, satellites):
    count = int(problem.arc.max(initial=-1)) + 1
    family, here = np.full(count, -1), problem.arc >= 0
    system = np.array([SYSTEMS[s // 100] for s in satellites])
    group = np.unique(system, return_inverse=True)[1]
    family[problem.arc[here]] = np.broadcast_to(group, problem.arc.shape)[here]
    step = float(np.median(np.diff(problem.seconds))) if len(problem.seconds) > 1 else 30.0
    return fix_wide_lanes(lanes, elevation_rad, problem.arc, family, step)


def network_of(problem):
    """Return the problem of one receiver as a :class:`Network` whose satellite clocks are known."""

    def two(values, first):
        return np.stack([np.full_like(values, first), values])

    arc = two(problem.arc, -1)
    north = problem.gradient * np.cos(problem.azimuth_rad)
    east = problem.gradient * np.sin(problem.azimuth_rad)
    return Network(
        problem.seconds,
        two(problem.phase_m, 0.0),
        two(problem.code_m, 0.0),
        problem.unit,
        two(np.nan_to_num(problem.wet), 0.0),
        two(np.nan_to_num(north), 0.0),
        two(np.nan_to_num(east), 0.0),
        two(problem.phase_sigma_m, np.inf),
        two(problem.code_sigma_m, np.inf),
        problem.bias + 1,
        arc,
        problem.noise,
        np.ones(4),
        PRIOR_ZENITH_M,
        problem.moving,
        relative=False,
    )
