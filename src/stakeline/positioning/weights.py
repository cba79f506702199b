"""How far phases scatter over elevation and signal strength, learnt from a station's residuals.

A usual weighting by elevation knows nothing of a station's horizon, of rime on its antenna, or what
stands beside it. The scatter of a first solution's residuals does. Its factor on the assumed sigmas
is that of the elevation, by system, times that of how far the strength lies below what is usual at
this elevation (deficit): obstructed and reflected signals are weak. The idea of weights by carrier
to noise: Hartinger & Brunner 1999, GPS Solutions 2(4), 26-43; the factors here are empirical.
"""

from dataclasses import dataclass, replace

import numpy as np

from .estimate import estimate, robust_scale

STEP_DEG = 10.0  # deg, of elevation; our choice
USUAL_SHARE = 0.75  # -, of strengths lie below what is called usual; our choice
DEFICIT_DB = (2.0, 4.0, 7.0, 10.0)  # dB, where steps of the deficit begin; our choice
ENOUGH_S = 9000.0  # s, of observations in a step that make its scatter count half; our choice
LEAST, MOST = 0.5, 5.0  # -, factors; our choice
TURNS = 3  # of fitting one factor to what the other leaves; our choice


@dataclass(frozen=True)
class Weights:
    """Factors on sigmas: by system and step of elevation (g, e), by step of deficit (d,)."""

    systems: np.ndarray  # (g,) numbers of systems
    by_elevation: np.ndarray
    by_deficit: np.ndarray

    @property
    def words(self):
        """Return one sentence of the factors."""
        low, high = self.by_elevation.min(), self.by_elevation.max()
        return (
            f"weights from the residuals: sigmas times {low:.1f} to {high:.1f} by elevation, times "
            f"{self.by_deficit[-1]:.1f} where signals are {DEFICIT_DB[-1]:g} dB weaker than usual"
        )


def with_learnt_weights(problem, result, elevation_rad, group, strength_dB_Hz):
    """Return (problem with learnt phase sigmas, its :class:`Estimate`, :class:`Weights`).

    Parameters
    ----------
    problem : Problem
    result : Estimate
        Of the problem as it stands.
    elevation_rad, strength_dB_Hz : array, shape (n, m)
        Of the first signal; NaN where not known: the deficit is then none.
    group : int array, shape (m,)
        System of each satellite.
    """
    step = np.clip((np.degrees(np.nan_to_num(elevation_rad)) / STEP_DEG).astype(int), 0, 8)
    deficit = deficit_steps(step, group, strength_dB_Hz)
    weights = learn(problem, result, step, deficit, group)
    row = np.searchsorted(weights.systems, group)
    factor = weights.by_elevation[row[None, :], step] * weights.by_deficit[deficit]
    better = replace(problem, phase_sigma_m=problem.phase_sigma_m * factor)
    return better, estimate(better), weights


def deficit_steps(step, group, strength_dB_Hz):
    """Return the step (n, m) of how far strengths lie below the usual of system and elevation."""
    found = np.zeros(step.shape, int)
    for g in np.unique(group):
        columns = np.flatnonzero(group == g)
        strength, own = strength_dB_Hz[:, columns], step[:, columns]
        known = np.isfinite(strength)
        part = np.zeros(own.shape, int)
        for e in np.unique(own[known]):
            here = known & (own == e)
            usual = np.quantile(strength[here], USUAL_SHARE)
            part[here] = np.searchsorted(DEFICIT_DB, usual - strength[here])
        found[:, columns] = part
    return found


def learn(problem, result, step, deficit, group):
    """Return the :class:`Weights` that the residuals of a solution tell."""
    z = _standardised(problem, result)
    used = np.isfinite(z)
    systems, row = np.unique(group, return_inverse=True)
    cell = (row[None, :] * 9 + step)[used]
    weak, z = deficit[used], z[used]
    z = z / robust_scale(z)
    times = np.diff(problem.seconds)
    enough = ENOUGH_S / float(np.median(times)) if times.size else np.inf
    elevation, strength = np.ones(len(systems) * 9), np.ones(len(DEFICIT_DB) + 1)
    for _ in range(TURNS):
        elevation = _scatter(z / strength[weak], cell, len(elevation), enough)
        strength = _scatter(z / elevation[cell], weak, len(strength), enough)
    return Weights(systems, elevation.reshape(-1, 9), strength)


def _standardised(problem, result):
    """Return the size of phase residuals over their sigmas, freed of what the clock takes up.

    An epoch's free clock takes the share w / sum(w) of a residual's variance.
    """
    used = np.isfinite(result.phase_residual_m)
    weight = np.where(used, problem.phase_sigma_m**-2.0, 0.0)
    share = weight / np.maximum(weight.sum(axis=1, keepdims=True), 1e-300)
    left = np.sqrt(np.maximum(1.0 - share, 0.1))
    return np.abs(result.phase_residual_m) / (problem.phase_sigma_m * left)


def _scatter(z, cell, count, enough):
    """Return the robust scatter of each cell, drawn to 1 where it holds little."""
    found = np.ones(count)
    for c in np.unique(cell):
        own = z[cell == c]
        share = own.size / (own.size + enough)
        found[c] = max(robust_scale(own), 1e-3) ** share
    return np.clip(found, LEAST, MOST)
