"""What an estimator of the velocity makes of a step and of an impulse: resolution, lag, lead."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from .smoother import filtered, lagged, smooth

ESTIMATORS = ("smooth", "filtered", "lagged")
MOST_ROWS = 200_001  # our choice: a second of computing
SETTLED = 30.0  # time constants on either side of the cause; our choice
LEAD_SHARE = 0.05  # -, of a step, that counts as a beginning; our choice


@dataclass(frozen=True)
class Response:
    """The velocity estimated from a motion that is a unit step, or a unit impulse, at time 0.

    ``offset_d`` (n,) from the cause; ``step`` (n,) [-]: velocity 0 before, 1 after; ``impulse``
    (n,) [1/d]: a sudden slip of unit length. ``width_d``: full width of the impulse response at
    half its height, the effective resolution. ``lag_d``: when the step response has reached one
    half. ``lead_d``: how long before the cause it has reached 5 %; 0 where it begins with it.
    """

    offset_d: np.ndarray
    step: np.ndarray
    impulse: np.ndarray
    width_d: float
    lag_d: float
    lead_d: float


def response(estimator, model, interval_d, sigma_m, *, lag_d=None, span_d=None):
    """Run an estimator on a step and on an impulse of the velocity, without noise.

    Parameters
    ----------
    estimator : str
        ``smooth``, ``filtered`` or ``lagged`` (which needs ``lag_d``).
    model : MotionModel
        Estimators are linear: for given parameters this is the response to any signal.
    interval_d, sigma_m : float
        Sampling interval and white sigma of the measurements. [d], [m]
    span_d : float, optional
        Length of the series; long enough for the model to settle where none is given. [d]

    Returns
    -------
    Response

    Raises
    ------
    SettingsError
        For another name of an estimator, or an interval that is not positive.
    SolutionError
        Where the response is wider than the series.
    """
    if estimator not in ESTIMATORS:
        raise SettingsError(f"estimator '{estimator}' is not known; known are {ESTIMATORS}")
    if not (interval_d > 0.0 and sigma_m > 0.0):
        raise SettingsError(f"interval {interval_d} d, sigma {sigma_m} m; expected more than 0")
    span_d = _settling_span(model, interval_d, sigma_m, lag_d) if span_d is None else span_d
    half = int(min(max(span_d / interval_d / 2.0, 20.0), MOST_ROWS // 2))
    # the cause lies between two epochs, so that none sees it half
    offset = (np.arange(-half, half) + 0.5) * interval_d
    step_position, impulse_position = np.maximum(offset, 0.0), (offset > 0.0).astype(float)
    step, impulse = (
        _velocity(estimator, offset, position, sigma_m, model, lag_d)
        for position in (step_position, impulse_position)
    )
    return Response(offset, step, impulse, *_figures(offset, step, impulse))


def _velocity(estimator, offset, position, sigma_m, model, lag_d):
    """Return the estimated velocity (n,); 0 where the filter has not begun. [m/d]"""
    time_ns = np.round((offset - offset[0]) * NS_PER_DAY).astype(np.int64)
    if estimator == "lagged":
        if lag_d is None:
            raise SettingsError("the estimator 'lagged' needs lag_d")
        found = lagged(time_ns, position, sigma_m, model, lag_d)
    else:
        run = smooth if estimator == "smooth" else filtered
        found = run(time_ns, position, sigma_m, model)
    return np.nan_to_num(found.velocity_m_d)


def _settling_span(model, interval_d, sigma_m, lag_d):
    """Return a length in which the model forgets its start. [d]

    The time constant of a position and its random-walk velocity under noise of density r is
    ``(r / q)^(1/4)``: the root of its steady Riccati equation (Bar-Shalom et al. 2001, section
    6.2, from memory).
    """
    density = sigma_m**2 * model.white_scale**2 * interval_d
    pairs = zip(model.coloured_sigma_m, model.coloured_memory_d, strict=True)
    density += sum(2.0 * s * s * m for s, m in pairs)
    q = max(model.acceleration_m2_d3, 1e-12)
    longest = max([(density / q) ** 0.25, *model.coloured_memory_d, 4.0 * interval_d])
    return 2.0 * (SETTLED * longest + (lag_d or 0.0))


def _figures(offset, step, impulse):
    """Return (width, lag, lead) of a response. [d]"""
    top = int(np.argmax(impulse))
    low = np.flatnonzero(impulse < 0.5 * impulse[top])
    before, after = low[low < top], low[low > top]
    half = np.flatnonzero(step >= 0.5)
    if not (before.size and after.size and half.size and half[0] > 0):
        raise SolutionError(
            "the response is wider than the series it was run on; give a longer span_d"
        )
    left = _crossing(offset, impulse, before[-1], 0.5 * impulse[top])
    right = _crossing(offset, impulse, after[0] - 1, 0.5 * impulse[top])
    lag = _crossing(offset, step, half[0] - 1, 0.5)
    begun = np.flatnonzero(step >= LEAD_SHARE)[0]
    return right - left, lag, max(0.0, -float(offset[begun]))


def _crossing(offset, values, k, level):
    """Return where the line between points k and k + 1 has the level."""
    share = (level - values[k]) / (values[k + 1] - values[k])
    return float(offset[k] + share * (offset[k + 1] - offset[k]))
