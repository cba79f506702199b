"""Relativity in a range: the Earth's bending of time (Shapiro) and the clocks' eccentricity."""

import numpy as np

from ..constants import GM_EARTH_M3_S2, SPEED_OF_LIGHT_M_S


def shapiro_delay(position_m, receiver_m):
    """Return the gravitational delay of signals by the Earth, to add to the range (n, m). [m]

    IERS Conventions (2010), equation 11.17 for the Earth alone with gamma = 1; 12 to 19 mm for
    navigation satellites.

    Parameters
    ----------
    position_m : array, shape (n, m, 3)
        Satellites. [m]
    receiver_m : array, shape (n, 3) or (3,)
        Receiver. [m]
    """
    position = np.asarray(position_m, float)
    receiver = np.atleast_2d(np.asarray(receiver_m, float))[:, None, :]
    distance = _length(position - receiver)
    both = _length(position) + _length(receiver)
    factor = 2.0 * GM_EARTH_M3_S2 / SPEED_OF_LIGHT_M_S**2
    return factor * np.log((both + distance) / (both - distance))


def periodic_clock(position_m, velocity_m_s):
    """Return the periodic term of a satellite clock by the orbit's eccentricity, (...). [s]

    -2 r.v / c2, to add to the clock of a table: IS-GPS-200N, section 20.3.3.3.3.1.
    """
    product = np.einsum("...i,...i->...", np.asarray(position_m), np.asarray(velocity_m_s))
    return -2.0 * product / SPEED_OF_LIGHT_M_S**2


def _length(vectors):
    return np.sqrt(np.einsum("...i,...i->...", vectors, vectors))
