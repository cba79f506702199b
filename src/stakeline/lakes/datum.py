"""From one datum of heights to another: permanent tide, geoid and ellipsoid.

The Sun and the Moon lift the equator for ever and lower the poles. Heights that keep this are
*mean-tide*, those that leave it out with the elastic answer of the ground are *tide-free*. A
*zero-tide* ground is the mean-tide one; of the geoid only the outer potential differs.
"""

import numpy as np

from ..errors import SettingsError

ELLIPSOID, GEOID = "ellipsoid", "geoid"
TIDE_FREE, ZERO_TIDE, MEAN_TIDE = "tide-free", "zero-tide", "mean-tide"
_CRUST_M = (-0.1206, 0.0001)  # m; IERS Conventions (2010), equation 7.14a
_GEOID_M = (0.099, -0.296)  # m; Ekman (1989), Bull. Geod. 63, 281, equation for W2 / g
_LOVE_K = 0.30  # -; Ekman (1989), which the formula goes with


def crust_mean_minus_free_m(latitude_rad):
    """Return mean-tide minus tide-free height of the ground above the ellipsoid (n,). [m]

    (-0.1206 + 0.0001 P2) P2 with P2 = (3 sin^2 latitude - 1) / 2: IERS Conventions (2010), equation
    7.14a; -0.1205 m at the poles, +0.0603 m at the equator.
    """
    p2 = 1.5 * np.sin(np.asarray(latitude_rad, float)) ** 2 - 0.5
    return (_CRUST_M[0] + _CRUST_M[1] * p2) * p2


def geoid_mean_minus_m(system, latitude_rad):
    """Return the mean-tide geoid minus the geoid of a tide system (n,). [m]

    W2 / g = 0.099 - 0.296 sin^2 latitude for ``zero-tide``, times 1 + k for ``tide-free``: Ekman
    (1989), Bull. Geod. 63, 281-296, with k = 0.30; the numbers from memory.
    """
    factor = {MEAN_TIDE: 0.0, ZERO_TIDE: 1.0, TIDE_FREE: 1.0 + _LOVE_K}[_known(system)]
    return factor * (_GEOID_M[0] + _GEOID_M[1] * np.sin(np.asarray(latitude_rad, float)) ** 2)


def in_tide_system(height_m, latitude_rad, given, wanted):
    """Return heights above the ellipsoid (n,) in another tide system. [m]

    Zero-tide and mean-tide heights of the ground are the same.

    Raises SettingsError for a system that is not known, or is not said.
    """
    kept = [_known(system) != TIDE_FREE for system in (given, wanted)]
    shift = (int(kept[1]) - int(kept[0])) * crust_mean_minus_free_m(latitude_rad)
    return np.asarray(height_m, float) + shift


def above_ellipsoid(height_m, geoid_m):
    """Return heights above the ellipsoid of heights above the geoid, h = H + N (n,). [m]

    ``geoid_m``: height of the same geoid, in the tide system of the heights; NaN where none is
    given. (Heiskanen & Moritz 1967, Physical Geodesy, equation 4-68.)

    Raises SettingsError where no height of the geoid is given at all.
    """
    geoid = np.asarray(geoid_m, float)
    if not np.isfinite(geoid).any():
        raise SettingsError(
            "heights above the geoid, and no height of the geoid beside them: give a column geoid_m"
        )
    return np.asarray(height_m, float) + geoid


def _known(system):
    if system not in (TIDE_FREE, ZERO_TIDE, MEAN_TIDE):
        raise SettingsError(
            f"tide system '{system}'; expected {TIDE_FREE}, {ZERO_TIDE} or {MEAN_TIDE}"
        )
    return system
