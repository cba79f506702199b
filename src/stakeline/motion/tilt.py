"""A pole that leans: the antenna wanders sideways by d and loses the height d^2 / (2 L)."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError, SolutionError
from ..inference.memory import effective_size, lag_one_correlation

AGREES_SIGMAS = 2.0  # -, within which the loss is that of a leaning pole; our choice
SEEN_SIGMAS = 3.0  # -, above which a loss is said to be seen; our choice


@dataclass(frozen=True)
class TiltSignature:
    """What the height loses for the wander seen.

    ``coefficient``: height lost over ``d^2 / (2 L)``: 1 where a pole leans, 0 where ice moves;
    ``sigma`` of it, by the residuals and their effective number ``independent``;
    ``largest_wander_m`` and the ``largest_loss_m`` that it implies; ``leans`` where the loss is
    seen and agrees with 1, ``excluded`` where it is told from 1.
    """

    coefficient: float
    sigma: float
    independent: float
    largest_wander_m: float
    largest_loss_m: float
    leans: bool
    excluded: bool


def height_loss_m(wander_m, pole_length_m):
    """Return how much lower the top of a leaning pole is: exact, near ``d^2 / (2 L)``. [m]

    Raises SettingsError where the wander exceeds the pole.
    """
    wander, length = np.asarray(wander_m, float), float(pole_length_m)
    if not (length > 0.0 and (np.abs(wander[np.isfinite(wander)]) <= length).all()):
        raise SettingsError(
            f"wander up to {np.nanmax(np.abs(wander)):.3f} m on a pole of {length} m; expected no "
            "more than the pole's length"
        )
    return wander**2 / (length + np.sqrt(length**2 - wander**2))


def tilt_signature(aside_m, up_m, pole_length_m, beside=None):
    """Compare height lost with the wander of the antenna aside.

    Parameters
    ----------
    aside_m : array (n, 2)
        Horizontal displacement of the antenna from where an upright pole would hold it: along and
        across with the motion of the ice taken off. [m]
    up_m : array (n,)
        Height, all that is known taken off. [m]
    pole_length_m : float
        From the point that stays to the antenna. [m]
    beside : array (n, p), optional
        Regressors of the height that are left free, such as time.

    Returns
    -------
    TiltSignature

    Raises
    ------
    SettingsError, SolutionError
        A wander larger than the pole; fewer than 5 rows, or no wander at all.
    """
    aside, up = np.asarray(aside_m, float), np.asarray(up_m, float)
    whole = np.isfinite(up) & np.isfinite(aside).all(axis=1)
    wander = np.hypot(*aside[whole].T)
    loss = height_loss_m(wander, pole_length_m)
    if len(loss) < 5 or np.ptp(loss) == 0.0:
        raise SolutionError(f"{len(loss)} rows with a wander that changes; a tilt needs 5")
    free = np.zeros((len(up), 0)) if beside is None else np.asarray(beside, float)
    design = np.column_stack([np.ones_like(loss), -loss, free[whole]])
    value, *_ = np.linalg.lstsq(design, up[whole], rcond=None)
    left = up[whole] - design @ value
    memory = lag_one_correlation(left)
    independent = float(effective_size(len(left), 0.0 if np.isnan(memory) else memory))
    variance = (left @ left) / max(len(left) - design.shape[1], 1) * len(left) / independent
    sigma = float(np.sqrt(variance * np.linalg.inv(design.T @ design)[1, 1]))
    coefficient = float(value[1])
    near = abs(coefficient - 1.0) <= AGREES_SIGMAS * sigma
    seen = coefficient > SEEN_SIGMAS * sigma
    return TiltSignature(
        coefficient,
        sigma,
        independent,
        float(wander.max()),
        float(loss.max()),
        leans=bool(near and seen),
        excluded=bool(abs(coefficient - 1.0) > SEEN_SIGMAS * sigma),
    )
