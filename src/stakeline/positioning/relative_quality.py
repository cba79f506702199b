"""What a relative solution says of itself: states in words, covariances, figures."""

from dataclasses import replace

import numpy as np

from .estimate import Estimate, Problem
from .fixing import state_words
from .network import difference_sigma
from .quality import (
    SLOW_HOURS,
    Calibration,
    averaging_epochs,
    memory_factor,
    slow_covariance,
)
from .still import root_mean_square

# Sizes below: chosen on invented pairs of seed 1, told in validation/relative_simulated.py
SLOW_M = 0.003  # m, ionosphere-free errors that no smoothing averages: both multipaths
SLOW_SIGNAL_M = 0.002  # m, of each signal by itself


def states_of(posed, fixed):
    """Return (n,) in words what each epoch's position rests on.

    ``integer-fixed``: at least five satellites have integer ambiguities; ``partly fixed``: some
    have; ``float``: none; ``no solution``: fewer than four satellites.
    """
    used, arc = fixed.adjusted.phase_used[1], posed.network.arc[1]
    whole = used & (arc >= 0) & fixed.fixed[np.maximum(arc, 0)]
    return state_words(_count(posed, whole), _count(posed, used))


def satellites_of(posed, fixed):
    """Return (n,) how many satellites the rover used."""
    return _count(posed, fixed.adjusted.phase_used[1])


def _count(posed, which):
    """Return (n,) the satellites that have any of their columns in a mask (n, m)."""
    each = [which[:, posed.columns == s].any(axis=1) for s in np.unique(posed.columns)]
    return np.sum(each, axis=0)


def calibrated(posed, fixed, settings):
    """Return (covariance (n, 3, 3) [m2], Calibration).

    As of an absolute solution (:func:`.quality.calibrate`): formal times misfit and memory, plus
    slow errors, here the multipath of both ends; the height's share of the air grows with the
    distance, and where integers hold no level factor for float ambiguities is needed.
    """
    network, adjusted = posed.network, fixed.adjusted
    sigma = difference_sigma(network, network.phase_sigma_m)[1]
    problem = Problem(
        network.seconds,
        network.phase_m[1],
        network.code_m[1],
        network.unit,
        network.wet[1],
        network.north[1],
        network.east[1],
        np.where(np.isfinite(sigma), sigma, 1e3),
        np.where(np.isfinite(sigma), sigma, 1e3),
        network.group,
        network.arc[1],
        network.noise,
        network.moving,
    )
    done = adjusted.smoothed
    result = Estimate(
        done.states,
        done.covariance_m2,
        np.zeros(3),
        done.residual_m[0, 1],
        done.residual_m[1, 1],
        adjusted.phase_used[1],
        adjusted.code_used[1],
        adjusted.phase_scale,
        adjusted.code_scale,
        {},
        0,
        None,
        None,
    )
    slow_m = SLOW_M if posed.lanes is not None else SLOW_SIGNAL_M
    own = replace(settings, slow_sigma_m=slow_m)
    pieces, span = 1.0, averaging_epochs(problem, settings)
    if settings.mode == "static":
        pieces = max(1.0, (network.seconds[-1] - network.seconds[0]) / 3600.0 / SLOW_HOURS)
        span = len(network.seconds)
    memory, scale = memory_factor(problem, result, span), max(adjusted.phase_scale, 0.3)
    level = 1.0 if fixed.fixed.any() else None
    slow = slow_covariance(problem, result, own, level, air_sigma_m=posed.air_sigma_m) / pieces
    covariance = result.covariance_m2 * (scale * memory) ** 2 + slow
    return covariance, Calibration(scale, memory, slow_m)


NOT_USED = "asked for, and not used by relative solutions: {}"


def summary_of(solved, state, calibration, settings):
    """Return the dictionary of figures and warnings that goes beside the positions."""
    posed, fixed, together = solved.posed, solved.fixed, solved.together
    ambiguities = solved.ambiguities
    residual = fixed.adjusted.smoothed.residual_m[:, 1:]
    mine = ambiguities.receiver == 1
    words, count = np.unique(state, return_counts=True)
    asked = [name for name in ("estimate_walk", "learn_weights") if getattr(settings, name)]
    warnings = [NOT_USED.format(", ".join(asked))] if asked else []
    if not fixed.fixed.any():
        warnings.append("no ambiguity could be fixed to an integer: float positions")
    if fixed.released.any():
        warnings.append(
            f"{int(fixed.released.sum())} arcs let go of their integers again: residuals said so"
        )
    return {
        "bases": [together.names[0], *together.names[2:]],
        "distance m": {
            name: round(float(length), 1)
            for name, length in zip(together.names, together.length_m, strict=True)
            if name != together.names[1]
        },
        "combination": "each signal" if posed.lanes is None else "ionosphere-free",
        "epochs": len(posed.epochs),
        "states": dict(zip(words.tolist(), count.tolist(), strict=True)),
        "arcs": int((mine & (ambiguities.last >= 0)).sum()),
        "arcs fixed": int((fixed.fixed & mine).sum()),
        "arcs let go": int(fixed.released.sum()),
        "phase residual rms m": root_mean_square(residual[0]),
        "code residual rms m": root_mean_square(residual[1]),
        "sigma scale": calibration.scale,
        "sigma memory": calibration.memory,
        "slow error m": calibration.slow_m,
        "warnings": [*solved.notes, *together.notes, *warnings],
    }
