"""What stations tell together: onset of a lake's change, strain of the ice, speed of the water.

All are generalised least squares with errors that are alike between stations by one correlation
(orbits, weather, tide): what is common makes an onset no better, and falls out of differences.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SettingsError
from ..motion.strain import LARGEST_CONDITION, SMALLEST_ANGLE_DEG, velocity_gradient

CORRELATION = 0.3  # -; of stations that see the same event: orbits, weather, tide; own choice
DAY_S = NS_PER_DAY / NS_PER_S  # s/d; definition
_SIDE = float(ndtri(0.95))  # -, of a 90 % interval


def alike_covariance(sigmas, correlation=CORRELATION):
    """Return the covariance (n, n) of errors with sigmas (n,) and one correlation.

    Raises
    ------
    SettingsError
        For sigmas that are not positive, or a correlation that is not between 0 and 1.
    """
    sigmas = np.asarray(sigmas, float)
    good = np.isfinite(sigmas).all() and (sigmas > 0.0).all() and sigmas.size > 0
    if not (good and 0.0 <= correlation < 1.0):
        raise SettingsError(
            f"sigmas {sigmas.tolist()} of correlation {correlation:g}: expected positive ones, and "
            "0 up to below 1"
        )
    return np.outer(sigmas, sigmas) * (correlation + (1.0 - correlation) * np.eye(sigmas.size))


def sigma_together(sigmas, correlation=CORRELATION):
    """Return the sigma of one number that n stations tell with sigmas (n,), each as good as it can.

    ``1 / sqrt(1' C^-1 1)`` (Aitken 1935, Proc. R. Soc. Edinburgh 55, 42); for equal sigmas
    ``sigma sqrt((1 + (n - 1) r) / n)``. The best weights may be below 0: a poor station then
    serves as a control of what is common.
    """
    covariance = alike_covariance(sigmas, correlation)
    return float(1.0 / np.sqrt(np.linalg.solve(covariance, np.ones(len(covariance))).sum()))


@dataclass(frozen=True)
class StrainSight:
    """Sigmas of strain rates that stations tell, along and across the flow. [1/d]

    ``along``, ``across``, ``shear`` (half the engineering one); ``condition``: long over short axis
    of the set of stations; ``smallest_angle_deg`` of a triangle, NaN for more stations.
    """

    along_per_d: float
    across_per_d: float
    shear_per_d: float
    condition: float
    smallest_angle_deg: float

    @property
    def poor(self):
        """Whether the shape is one that strain is seldom told from."""
        return bool(
            self.smallest_angle_deg < SMALLEST_ANGLE_DEG
            or self.condition > LARGEST_CONDITION * (1.0 + 1e-9)
        )


def strain_sight(position_m, speed_sigma_m_d, correlation=CORRELATION):
    """Return the :class:`StrainSight` of three or more stations.

    Parameters
    ----------
    position_m : array, shape (n, 2)
        True metres along and across the flow. [m]
    speed_sigma_m_d : float
        Of each component of a station's velocity, or of its change. [m/d]
    correlation : float
        Between stations, of each component.

    Raises
    ------
    SolutionError
        As of :func:`~stakeline.motion.strain.velocity_gradient`.
    """
    position = np.asarray(position_m, float)
    one = alike_covariance(np.full(len(position), float(speed_sigma_m_d)), correlation)
    found = velocity_gradient(position, np.zeros_like(position), np.kron(one, np.eye(2)))
    return StrainSight(
        found.exx.sigma, found.eyy.sigma, found.exy.sigma, found.condition, found.smallest_angle_deg
    )


def slowness_sigma_d_m(along_m, onset_sigma_d, correlation=CORRELATION):
    """Return the sigma of the water's slowness along a route. [d/m]

    A line through times of onset by distance; when the water left is not known.

    Parameters
    ----------
    along_m : array, shape (n,)
        Along the route, two places or more that differ. [m]
    onset_sigma_d : array, shape (n,)
        Of the onset told at each place. [d]
    correlation : float

    Raises
    ------
    SettingsError
        Where all places are at one distance.
    """
    along = np.asarray(along_m, float)
    if along.size < 2 or not np.ptp(along) > 0.0:
        raise SettingsError(f"places {along.tolist()} m along a route: expected two that differ")
    covariance = alike_covariance(onset_sigma_d, correlation)
    middle, length = along.mean(), np.ptp(along)
    design = np.column_stack([np.ones(along.size), (along - middle) / length])
    normal = design.T @ np.linalg.solve(covariance, design)
    return float(np.sqrt(np.linalg.inv(normal)[1, 1]) / length)


@dataclass(frozen=True)
class SpeedSight:
    """How a speed of the water would be told: 5 and 95 % of the estimate. [m/s]

    ``high_m_s`` is infinite where the water cannot be told from water that is there at once.
    """

    speed_m_s: float
    low_m_s: float
    high_m_s: float

    @property
    def bounded(self):
        """Whether both ends are known."""
        return bool(np.isfinite(self.high_m_s))


def speed_sight(speed_m_s, slowness_sigma):
    """Return the :class:`SpeedSight` of one speed [m/s] by the sigma of slowness [d/m].

    The slowness is normal, the speed is one over it.
    """
    if not (0.0 < speed_m_s < np.inf and 0.0 < slowness_sigma < np.inf):
        raise SettingsError(
            f"speed {speed_m_s:g} m/s, sigma of slowness {slowness_sigma:g} d/m: expected both "
            "above 0"
        )
    slow, doubt = 1.0 / speed_m_s, _SIDE * slowness_sigma * DAY_S
    high = 1.0 / (slow - doubt) if slow > doubt else np.inf
    return SpeedSight(float(speed_m_s), float(1.0 / (slow + doubt)), float(high))


def fastest_told_m_s(slowness_sigma):
    """Return the speed above which only a lower bound can be told (95 %). [m/s]"""
    return float(1.0 / (_SIDE * slowness_sigma * DAY_S))
