"""Covariances that keep their word, and the figures by which a solution is judged."""

from dataclasses import dataclass

import numpy as np

from ..tables import SYSTEMS, satellite_name
from ._quality_kernels import lagged_products
from .still import root_mean_square

LONGEST_LAG_S = 1800.0  # s, over which the residuals' memory is measured; our choice
SLOW_HOURS = 3.0  # h, after which a slow error is another one: measured on real still antennas
GPS = SYSTEMS.index("G")
NO_PATTERN_FACTOR = 1.9  # -, slow errors of GPS without its antenna variations: measured
NO_PATTERN_HEIGHT_M = 0.02  # m, constant height error without antenna variations: measured
# Where antennas are fully known, level errors are larger than one epoch's geometry tells: invented
# days whose error spectra are those of real still antennas (validation/simulate_spectrum.py)
KNOWN_LEVEL_FACTOR = 1.5  # -
AIR_SIGMA_M = 0.009  # m, height error that all satellites share by the zenith delay: measured


@dataclass(frozen=True)
class Calibration:
    """What formal covariances are made honest by.

    ``scale``: misfit of the residuals; ``memory``: factor for noise red within the smoother's
    window; ``slow_m``: sigma at the zenith of the errors of each satellite that no smoothing
    averages (orbits, clocks, antenna patterns, multipath of hours).
    """

    scale: float
    memory: float
    slow_m: float


def calibrate(problem, result, settings):
    """Return (covariance (n, 3, 3) [m2], :class:`Calibration`).

    The covariance is the formal one times (scale x memory)^2, plus that of slow errors.

    A smoothed position averages the phase noise of about n epochs. Noise with autocorrelation r
    leaves, instead of 1/n of its variance, (1 + 2 sum (1 - k/n) r_k) / n (Priestley 1981, section
    5.3). Slow errors are averaged over the satellites of one epoch only: their covariance is that
    of a position and clock from a single epoch; over a static session, divided by the number of
    independent pieces in it.
    """
    pieces = 1.0
    if settings.mode == "static":
        memory = memory_factor(problem, result, len(problem.seconds))
        span_h = (problem.seconds[-1] - problem.seconds[0]) / 3600.0
        pieces = max(1.0, span_h / SLOW_HOURS)
    else:
        memory = memory_factor(problem, result, averaging_epochs(problem, settings))
    scale = max(result.phase_scale, 0.3)
    slow = slow_covariance(problem, result, settings) / pieces
    covariance = result.covariance_m2 * (scale * memory) ** 2 + slow
    if settings.mode == "static" and problem.elevation_rad is not None:
        covariance[:, 2, 2] += NO_PATTERN_HEIGHT_M**2
    return covariance, Calibration(scale, memory, settings.slow_sigma_m)


def memory_factor(problem, result, n):
    """Return the factor on sigmas that the residuals' autocorrelation tells for n epochs."""
    correlation = residual_correlation(problem, result)
    lag = np.arange(1, len(correlation))
    taper = np.maximum(0.0, 1.0 - lag / n)
    return float(np.sqrt(max(1.0 + 2.0 * (taper @ correlation[1:]), 1.0)))


def slow_covariance(problem, result, settings, level_factor=None, air_sigma_m=AIR_SIGMA_M):
    """Return the covariance (n, 3, 3) of east, north, up that slow satellite errors leave. [m2]

    ``level_factor`` is on level sigmas, by default as float ambiguities and known antennas need.
    """
    spread = problem.phase_sigma_m / settings.phase_sigma_m
    if problem.elevation_rad is not None:  # antenna variations are missing
        spread = spread * np.where(problem.group == GPS, NO_PATTERN_FACTOR, 1.0)
    weight = np.where(result.phase_used, (spread * settings.slow_sigma_m) ** -2.0, 0.0)
    a = np.concatenate([problem.unit, np.ones((*weight.shape, 1))], axis=2)
    a = np.where(weight[..., None] > 0.0, a, 0.0)
    normal = (a * weight[..., None]).transpose(0, 2, 1) @ a
    normal += 1e-2 * np.eye(4)  # a prior of 10 m where an epoch alone gives no position
    covariance = np.linalg.inv(normal)[:, :3, :3]
    # float ambiguities leave the east, where tracks give least, as uncertain as the north
    level = 0.5 * (covariance[:, 0, 0] + covariance[:, 1, 1])
    if level_factor is None:
        level_factor = KNOWN_LEVEL_FACTOR if problem.elevation_rad is None else 1.0
    level = level * level_factor**2
    covariance[:, 0, 0] = covariance[:, 1, 1] = level
    covariance[:, 0, 1] = covariance[:, 1, 0] = 0.0
    covariance[:, 2, 2] += air_sigma_m**2
    return covariance


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
    products, counts = np.zeros(longest + 1), np.zeros(longest + 1)
    lagged_products(
        np.ascontiguousarray(z.T), np.ascontiguousarray(problem.arc.T), products, counts
    )
    products /= np.maximum(counts, 1.0)
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
        "sigma scale": calibration.scale,
        "sigma memory": calibration.memory,
        "slow error m": calibration.slow_m,
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
