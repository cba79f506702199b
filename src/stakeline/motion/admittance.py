"""How one series answers to the tide of another: gain and lag, constituent by constituent."""

from dataclasses import dataclass

import numpy as np

_LEAST_RATIO = 3.0  # amplitude over its sigma below which a quotient has no meaning


@dataclass(frozen=True)
class Admittance:
    """Complex quotients (k,) of two analyses, answer over cause.

    Attributes
    ----------
    gain, gain_sigma : arrays, shape (k,)
        Amplitude of the answer over that of the cause, in the quotient of their units.
    lag_deg, lag_sigma_deg : arrays, shape (k,)
        By how much the answer comes later, -180 to 180. [deg]
    """

    names: tuple
    gain: np.ndarray
    gain_sigma: np.ndarray
    lag_deg: np.ndarray
    lag_sigma_deg: np.ndarray
    left_out: dict


def admittance(cause, answer):
    """Return the :class:`Admittance` of one :class:`~stakeline.motion.tides.Tides` to another.

    Constituents whose cause is below three sigma are left out, and so are inferred ones, whose
    quotient is an assumption. Sigmas to first order; noise of the two counts as independent.
    """
    names, left = [], {}
    guessed = {i.name for i in (*cause.inferred, *answer.inferred)}
    for name in (n for n in cause.names if n in answer.names):
        k = cause.index(name)
        if name in guessed:
            left[name] = "inferred"
        elif cause.amplitude[k] < _LEAST_RATIO * cause.amplitude_sigma[k]:
            left[name] = "the cause is below three sigma"
        else:
            names.append(name)
    a = np.array([cause.index(n) for n in names], int)
    b = np.array([answer.index(n) for n in names], int)
    quotient = answer.wave[b] / cause.wave[a]
    covariance = _over(answer.covariance[b], cause.wave[a])
    covariance += _over(cause.covariance[a], cause.wave[a] / quotient)
    gain = np.abs(quotient)
    unit = quotient / gain
    along = np.stack([unit.real, unit.imag], axis=-1)
    across = np.stack([-unit.imag, unit.real], axis=-1)
    gain_sigma, side = (
        np.sqrt(np.einsum("ki,kij,kj->k", v, covariance, v)) for v in (along, across)
    )
    lag_sigma = np.minimum(np.degrees(side / gain), 180.0 / np.sqrt(3.0))
    lag = -np.degrees(np.angle(quotient))
    return Admittance(tuple(names), gain, gain_sigma, lag, lag_sigma, left)


def _over(covariance, divisor):
    """Return the covariances (k, 2, 2) of complex numbers divided by constants (k,)."""
    factor = 1.0 / divisor
    turn = np.stack(
        [
            np.stack([factor.real, -factor.imag], axis=-1),
            np.stack([factor.imag, factor.real], axis=-1),
        ],
        axis=-2,
    )
    return turn @ covariance @ np.swapaxes(turn, 1, 2)
