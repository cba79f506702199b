"""Covariances that keep their word, and the figures by which a solution is judged."""

from dataclasses import dataclass

import numpy as np

from ..tables import SYSTEMS, satellite_name
from .still import root_mean_square

LONGEST_LAG_S = 1800.0  # s, over which the residuals' memory is measured; our choice
STATIC_FACTOR = 8.0  # -, memory longer than any arc shows: measured on real still antennas
LEAST_FACTOR = 1.3  # -, what arcs hide of slow errors: measured on real still antennas


@dataclass(frozen=True)
class Calibration:
    """Factor on formal sigmas: ``scale`` (misfit) times ``memory`` (red noise)."""

    scale: float
    memory: float
    correlation: np.ndarray  # by lag in epochs

    @property
    def factor(self):
        """What formal standard deviations are multiplied by."""
        return self.scale * self.memory


def calibrate(problem, result, settings):
    """Return (covariance (n, 3, 3) [m2], :class:`Calibration`).

    A smoothed position averages the phase noise of about n epochs. Noise with autocorrelation r
    leaves, instead of 1/n of its variance, (1 + 2 sum (1 - k/n) r_k) / n (Priestley 1981, section
    5.3): the formal covariance is multiplied by that sum and by the misfit of the residuals.
    """
    correlation = residual_correlation(problem, result)
    if settings.mode == "static":
        memory = STATIC_FACTOR
    else:
        n = averaging_epochs(problem, settings)
        lag = np.arange(1, len(correlation))
        taper = np.maximum(0.0, 1.0 - lag / n)
        memory = LEAST_FACTOR * np.sqrt(max(1.0 + 2.0 * (taper @ correlation[1:]), 1.0))
    calibration = Calibration(max(result.phase_scale, 0.3), float(memory), correlation)
    return result.covariance_m2 * calibration.factor**2, calibration


def averaging_epochs(problem, settings):
    """Return over how many epochs the smoother averages, from its process noise.

    For a velocity random walk q and a position noise r per epoch the smoother's time constant is
    (r^2 dt / q^2)^(1/4) (steady-state filter of a double integrator; Bar-Shalom 2001, section 6.5)
    """
    dt = float(np.median(np.diff(problem.seconds))) if len(problem.seconds) > 1 else 1.0
    noise = 1.5 * settings.phase_sigma_m
    walk = max(settings.acceleration_m_s15, 1e-12)
    constant_s = (noise**2 * dt / walk**2) ** 0.25
    if settings.position_walk_m_s05 > 0.0:
        constant_s = min(constant_s, noise * np.sqrt(dt) / settings.position_walk_m_s05)
    return max(1.0, 2.0 * constant_s / dt)


def residual_correlation(problem, result):
    """Return the autocorrelation of the standardised phase residuals by lag, pooled over arcs."""
    dt = float(np.median(np.diff(problem.seconds))) if len(problem.seconds) > 1 else 1.0
    longest = int(min(max(LONGEST_LAG_S / dt, 1), len(problem.seconds) // 2))
    z = result.phase_residual_m / problem.phase_sigma_m
    known = np.isfinite(z)
    z = np.where(known, z, 0.0)
    products = np.empty(longest + 1)
    for lag in range(longest + 1):
        same = known[lag:] & known[: len(z) - lag]
        same &= problem.arc[lag:] == problem.arc[: len(z) - lag]
        count = same.sum()
        products[lag] = (z[lag:] * z[: len(z) - lag])[same].sum() / count if count else 0.0
    return products / products[0] if products[0] > 0.0 else products


def summarise(tracks, model, slips, problem, result, settings, products, calibration, epochs):
    """Return the dictionary of figures and warnings that goes beside the positions."""
    residual = result.phase_residual_m
    used = np.isfinite(residual)
    share = 1.0 - used.sum() / max((problem.arc >= 0).sum(), 1)
    warnings = []
    if share > 0.05:
        warnings.append(f"{100 * share:.0f} % of the phases were left out as outliers")
    rms = root_mean_square(residual)
    if rms > 0.02:
        warnings.append(f"phase residual rms {1e3 * rms:.0f} mm is high (usual: 5-12 mm)")
    return {
        "mode": settings.mode,
        "epochs": len(epochs),
        "observations": int(used.sum()),
        "phase residual rms m": rms,
        "code residual rms m": root_mean_square(result.code_residual_m),
        "phase residual rms by satellite m": _by_satellite(tracks, residual),
        "phase residual rms by elevation m": _by_elevation(model.elevation_rad[epochs], residual),
        "signals": _signals(tracks),
        "rejected": result.rejected
        | {
            "slips found": int(slips.slip.sum()),
            "arcs": int(result.arcs.count),
            "in arcs too short": int(
                (np.isfinite(model.phase_m[epochs]) & (problem.arc < 0)).sum()
            ),
        },
        "rounds": result.rounds,
        "sigma factor": calibration.factor,
        "sigma scale": calibration.scale,
        "sigma memory": calibration.memory,
        "zenith delay m": _zenith(model, result, epochs),
        "warnings": warnings,
    }


def _by_satellite(tracks, residual):
    return {
        satellite_name(satellite): root_mean_square(residual[:, j])
        for j, satellite in enumerate(tracks.satellites)
        if np.isfinite(residual[:, j]).any()
    }


def _by_elevation(elevation, residual):
    """Return the rms in steps of 10 deg of elevation."""
    degrees = np.degrees(elevation)
    steps = {
        f"{low}-{low + 10} deg": (degrees >= low) & (degrees < low + 10) for low in range(0, 90, 10)
    }
    return {
        name: root_mean_square(residual[inside])
        for name, inside in steps.items()
        if np.isfinite(residual[inside]).any()
    }


def _signals(tracks):
    """Return the observables used, by system letter."""
    chosen = {}
    for satellite, signals in zip(tracks.satellites, tracks.signals, strict=True):
        chosen.setdefault(SYSTEMS[satellite // 100], set()).add(" ".join(signals))
    return {system: sorted(names) for system, names in sorted(chosen.items())}


def _zenith(model, result, epochs):
    """Return the mean and the range of the total zenith delay."""
    total = model.zenith_m[epochs] + result.states[:, 7]
    return {"mean": float(total.mean()), "least": float(total.min()), "most": float(total.max())}
