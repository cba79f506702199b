"""Is an antenna that is worked as still really still? If not: say how fast it moved."""

from dataclasses import replace

import numpy as np

from ..errors import SolutionError
from .estimate import estimate

DAY_S = 86400.0  # s; definition
FORMAL_FACTOR = 10.0  # -, formal static sigmas are this much too small: measured on real data
FLOOR_FACTOR = 9.0  # 1/d, speed floor over the slow error: still antennas showed up to 5: measured
RMS_GATE_FACTOR = 8.0  # -, phase residual rms over the slow error: still ones leave 1-2.5: measured


def refuse_if_moving(problem, result, slow_sigma_m):
    """Raise SolutionError where a constant velocity explains the data better than standing still.

    The scatter of a velocity grows with the 1.5th power of the inverse of the time span, so a
    short session is judged less sharply. ``slow_sigma_m`` is what the products allow to see: with
    precise ones 4 mm, so that a day shows 0.036 m/d; with broadcast orbits half a metre.
    """
    noise = problem.noise.copy()
    noise[:, [0, 1, 4]] = 0.0
    free = estimate(replace(problem, noise=noise, moving=True), max_rounds=4)
    velocity = free.states[-1, 4:7] * DAY_S
    sigma = FORMAL_FACTOR * free.phase_scale * free.velocity_sigma_m_s * DAY_S
    span_d = max((problem.seconds[-1] - problem.seconds[0]) / DAY_S, 1e-3)
    floor = FLOOR_FACTOR * slow_sigma_m * max(1.0, span_d**-1.5)
    speed = float(np.hypot(velocity[0], velocity[1]))
    if speed > floor and speed > 4.0 * float(np.hypot(sigma[0], sigma[1])):
        raise SolutionError(
            f"the antenna moved while it was worked as static: {speed:.2f} m/d toward azimuth "
            f"{np.degrees(np.arctan2(velocity[0], velocity[1])) % 360.0:.0f} deg, "
            f"{velocity[2]:+.2f} m/d up; use the kinematic mode"
        )
    rms = root_mean_square(result.phase_residual_m)
    gate = RMS_GATE_FACTOR * slow_sigma_m
    if rms > gate:
        raise SolutionError(
            f"the phases do not fit a still antenna: residual rms {1e3 * rms:.0f} mm where a still "
            f"one leaves less than {1e3 * gate:.0f} mm; use the kinematic mode"
        )


def root_mean_square(values):
    """Return the root mean square of the finite values; NaN where there are none."""
    values = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(values**2))) if values.size else float("nan")
