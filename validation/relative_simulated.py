"""Invented pairs at 1, 30 and 120 km with truth: fixed, rightly fixed, and how near to the truth.

The rover moves on the ice, 150 m below a base on rock; weather is shared the less the further it
is. True whole cycles are read from twins of the observations without noise.
"""

import numpy as np
from _measured import Table

from stakeline.constants import SPEED_OF_LIGHT_M_S
from stakeline.positioning.relative import positions_of, solve_network
from stakeline.signals.tracks import build_tracks
from stakeline.simulate.baselines import make_baselines

mm = 1e-3
SEEDS = (1, 2)
HOURS = 24.0
CONVERGED_S = 3600.0  # s; what comes after counts, before it arcs are too short; our choice
BARS_mm = {1e3: (5, 5, 12), 30e3: (8, 8, 18), 120e3: (10, 10, 25)}
BAR = "bar set for this work, no source"


def errors_of(positions, world):
    """Return the errors (n, 3) of positions: east, north, up. [m]"""
    at = np.searchsorted(world.truth.time_ns, positions.time_ns)
    return (positions.position_m - world.truth.position_m[at]) @ world.truth.axes.T


def true_cycles(twins, solved, signal):
    """Return the true single-differenced cycles (n, m) of the rover less the pivot, by epoch.

    Code and phase of a noiseless twin: P1 - L1 = 2 I1 - wave N1, with I1 from P2 - P1.
    """
    together, total = solved.together, 0.0
    for sign, observations in ((1.0, twins[0]), (-1.0, twins[1])):
        tracks, _ = build_tracks(observations, "GE")
        column = np.searchsorted(tracks.satellites, together.satellites)
        epoch = np.searchsorted(tracks.time_ns, together.time_ns[solved.posed.epochs])
        some = tracks.select(np.minimum(epoch, len(tracks.time_ns) - 1), column)
        f = some.frequency_hz
        first = (some.code_m[1] - some.code_m[0]) / (f[:, 0] ** 2 / f[:, 1] ** 2 - 1.0)
        delay = first * (f[:, 0] / f[:, signal]) ** 2
        wave = SPEED_OF_LIGHT_M_S / f[:, signal]
        total += sign * (2.0 * delay - some.code_m[signal] + some.phase_m[signal]) / wave
    return total


def wrong_of(twins, solved):
    """Return (wrong, all) observations of fixed arcs, by the true cycles of every arc.

    In each family the difference of estimated and true cycles is one number for all right arcs.
    """
    a, fixed, posed = solved.ambiguities, solved.fixed, solved.posed
    m = len(solved.together.satellites)
    first, second = (true_cycles(twins, solved, signal) for signal in (0, 1))
    own = np.flatnonzero(fixed.fixed & (a.receiver == 1))
    apart = []
    for arc in own:
        rows = posed.network.arc[1] == arc
        k, s = np.nonzero(rows)
        found = solved.near_code_cycles[arc] + fixed.cycles[arc]
        if posed.lanes is None:
            true = (first if s[0] < m else second)[k, s % m]
            apart.append([found - np.nanmedian(true), 0.0])
        else:
            lane = posed.lanes.cycles[arc] - np.nanmedian(first[k, s] - second[k, s])
            apart.append([found - np.nanmedian(first[k, s]), lane])
    apart, wrong = np.array(apart), 0
    for family in np.unique(a.family[own]):
        here = a.family[own] == family
        usual = np.median(apart[here], axis=0)
        off = (np.abs(apart[here] - usual) > 0.4).any(axis=1)
        wrong += a.count[own[here]][off].sum()
    return int(wrong), int(a.count[own].sum())


def one(length_m, seed):
    """Return (positions, errors (n, 3), wrong, all fixed observations) of one pair."""
    world = make_baselines(seed, [length_m], hours=HOURS, twins=True)
    solved = solve_network(world.rover, world.bases, world.products, world.settings)
    positions = positions_of(solved, world.settings)
    return positions, errors_of(positions, world), *wrong_of(world.twins, solved)


def main():
    table = Table(f"Invented pairs, {HOURS:.0f} h at 30 s, GPS + Galileo, seeds {SEEDS}")
    for length_m, bars in BARS_mm.items():
        name = f"{length_m / 1e3:.0f} km"
        errors, states, wrong, fixed = [], [], 0, 0
        for seed in SEEDS:
            positions, error, bad, count = one(length_m, seed)
            late = (positions.time_ns - positions.time_ns[0]) >= CONVERGED_S * 1e9
            errors.append(error[late])
            states.append(positions.state[late] == "integer-fixed")
            wrong, fixed = wrong + bad, fixed + count
        rms = np.sqrt(np.mean(np.concatenate(errors) ** 2, axis=0)) / mm
        for axis, value, bar in zip("ENU", rms, bars, strict=True):
            table.line(f"{name}, rms {axis}", value, bar, "mm", BAR)
        share = 100.0 * np.concatenate(states).mean()
        table.line(f"{name}, epochs integer-fixed", share, 95, "%", BAR, least=True)
        table.line(f"{name}, wrong of fixed observations", 100 * wrong / fixed, 0.1, "%", BAR)
    table.end()


if __name__ == "__main__":
    main()
