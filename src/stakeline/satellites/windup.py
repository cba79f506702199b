"""Phase wind-up: a turned antenna changes the phase of a circularly polarised wave."""

import numpy as np

from ._body_kernels import windup


def phase_windup(position_m, receiver_m, ex, ey, enu):
    """Return the phase wind-up, continuous in time for each satellite. [cycles]

    Parameters
    ----------
    position_m : array, shape (n, m, 3)
        Satellites. [m]
    receiver_m : array, shape (n, 3)
        Receiver. [m]
    ex, ey : arrays, shape (n, m, 3)
        Body axes of the satellites.
    enu : array, shape (n, 3, 3)
        Unit vectors east, north, up of the receiver as rows; the antenna's arrow points north.

    Returns
    -------
    array, shape (n, m)
        Cycles by which the phase reads too long: subtract ``cycles * wavelength`` from it (for an
        ionosphere-free pair the wavelength is c / (f1 + f2)). NaN where a state is NaN; the first
        value of a satellite lies in (-0.5, 0.5], later ones follow it, through gaps as well.

    Notes
    -----
    Wu et al. (1993), Manuscripta Geodaetica 18, 91, equations 28 to 30.
    """
    position = np.ascontiguousarray(position_m, float)
    n = position.shape[0]
    receiver = np.ascontiguousarray(np.broadcast_to(np.asarray(receiver_m, float), (n, 3)))
    axes = np.ascontiguousarray(np.broadcast_to(np.asarray(enu, float), (n, 3, 3)))
    out = np.empty(position.shape[:2])
    windup(position, receiver, np.ascontiguousarray(ex), np.ascontiguousarray(ey), axes, out)
    return out
