"""How one series answers to the tide of another: gain and lag, constituent by constituent."""

from dataclasses import dataclass

import numpy as np

_LEAST_RATIO = 3.0  # amplitude over its sigma below which a quotient has no meaning


@dataclass(frozen=True)
class Waves:
    """Constituents (k,) of one analysis as a table holds them: what is needed of it here.

    ``wave`` is amplitude times exp(-i lag), ``covariance`` (k, 2, 2) of its real and imaginary
    part; ``inferred``: an :class:`~stakeline.motion.tide_inference.Inference` for each that was not
    estimated.
    """

    names: tuple
    wave: np.ndarray
    covariance: np.ndarray
    inferred: tuple = ()

    @property
    def amplitude(self):
        """Amplitudes (k,)."""
        return np.abs(self.wave)

    @property
    def amplitude_sigma(self):
        """Their standard deviations (k,), to first order."""
        return _sigmas(np.exp(1j * np.angle(self.wave)), self.covariance)[0]

    def index(self, name):
        """Return the place of a constituent."""
        return self.names.index(name)


def waves_of(names, amplitude, amplitude_sigma, lag_deg, lag_sigma_deg, inferred=()):
    """Return the :class:`Waves` of amplitudes and lags (k,) whose errors are independent."""
    amplitude, lag_sigma = np.asarray(amplitude, float), np.radians(lag_sigma_deg)
    turn = np.exp(-1j * np.radians(np.asarray(lag_deg, float)))
    axes = np.stack(
        [np.stack([turn.real, -turn.imag], -1), np.stack([turn.imag, turn.real], -1)], -2
    )
    spread = np.stack([np.asarray(amplitude_sigma, float), amplitude * lag_sigma], -1)
    covariance = np.einsum("kij,kj,klj->kil", axes, spread**2, axes)
    return Waves(tuple(names), amplitude * turn, covariance, tuple(inferred))


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

    Either may be :class:`Waves` that a table holds.

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
    gain_sigma, side = _sigmas(quotient / gain, covariance)
    lag_sigma = np.minimum(np.degrees(side / gain), 180.0 / np.sqrt(3.0))
    lag = -np.degrees(np.angle(quotient))
    return Admittance(tuple(names), gain, gain_sigma, lag, lag_sigma, left)


def _sigmas(unit, covariance):
    """Return the sigmas (k,) along complex directions of unit length, and across them."""
    along = np.stack([unit.real, unit.imag], axis=-1)
    across = np.stack([-unit.imag, unit.real], axis=-1)
    return tuple(np.sqrt(np.einsum("ki,kij,kj->k", v, covariance, v)) for v in (along, across))


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
