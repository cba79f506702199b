"""Satellite states at transmission, seen from a receiver: position, velocity, clock."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_S
from ..errors import ProductError
from ._kernels import light_time
from .broadcast import broadcast_clocks, broadcast_orbits
from .clocks import clock_states
from .orbits import orbit_states

_TRAVEL_S = 0.075
"""Usual travel time of a signal from medium Earth orbit; states are first taken this early."""


@dataclass(frozen=True)
class SatelliteStates:
    """States of ``m`` satellites for the signals received at ``n`` epochs; NaN where unknown.

    Attributes
    ----------
    position_m : array, shape (n, m, 3)
        Reference point at transmission in the Earth-fixed frame of the reception instant. [m]
    velocity_m_s : array, shape (n, m, 3)
        Earth-fixed velocity at transmission, in the same axes. [m/s]
    clock_s : array, shape (n, m)
        Clock bias with the periodic relativity term: ``code + c * clock_s`` is free of it. [s]
    clock_sigma_m : array, shape (n, m)
        Extra sigma by interpolation between clock nodes; near 0 at a node. [m]
    valid : bool array, shape (n, m)
    transmission_ns : int64 array, shape (n, m)
        Transmission in GPS time; the reception time where not valid. [ns]
    reference_point : str
        ``centre of mass`` (precise tables) or ``antenna phase centre`` (broadcast messages: no
        satellite antenna correction may then be applied).
    """

    position_m: np.ndarray
    velocity_m_s: np.ndarray
    clock_s: np.ndarray
    clock_sigma_m: np.ndarray
    valid: np.ndarray
    transmission_ns: np.ndarray
    reference_point: str = "centre of mass"


def satellite_states(products, satellites, time_ns, receiver_m, receiver_clock_s, bands=None):
    """Return the states of satellites at the transmission of what a receiver takes in.

    Parameters
    ----------
    products : Products
        ``orbits`` with ``clocks`` (or the clocks inside the orbits); where ``orbits`` is None,
        ``broadcast``.
    satellites : array of int, shape (m,)
        Satellites, see :func:`stakeline.tables.satellite_id`.
    time_ns : int64 array, shape (n,)
        Epochs by the receiver's clock, GPS time. [ns]
    receiver_m : array, shape (n, 3) or (3,)
        Approximate receiver, Earth-fixed; 100 m matter 1 mm at most. [m]
    receiver_clock_s : array, shape (n,) or float
        Receiver clock minus GPS time. [s]
    bands : sequence of (str, str), optional
        Pair of codes of each satellite in ANTEX names such as ``("E01", "E05")``; only broadcast
        clocks depend on it. Default: the pairs named in :mod:`stakeline.satellites.broadcast`.

    Returns
    -------
    SatelliteStates

    Raises
    ------
    ProductError
        Where neither orbits nor broadcast messages are given.

    Notes
    -----
    Light time is iterated; the rotation of the Earth meanwhile (Sagnac) is applied to the
    satellite: IS-GPS-200N, section 20.3.3.4.3.4. The relativity term is -2 r.v / c2, the same
    section 20.3.3.3.3.1 and the convention of precise clocks.
    """
    time_ns = np.asarray(time_ns, np.int64)
    satellites = np.asarray(satellites)
    shape = (time_ns.size, 3)
    receiver = np.ascontiguousarray(np.broadcast_to(np.asarray(receiver_m, float), shape))
    clock = np.broadcast_to(np.asarray(receiver_clock_s, float), time_ns.shape)
    if products.orbits is None and products.broadcast is None:
        raise ProductError(
            "neither precise orbits nor broadcast messages are given; give SP3 orbits with "
            "clocks, or a RINEX navigation file"
        )
    reference_ns = int(time_ns[0]) if time_ns.size else 0
    receive_s = (time_ns - reference_ns) / NS_PER_S - np.nan_to_num(clock)
    base_s = receive_s - _TRAVEL_S
    base_ns = reference_ns + np.round(base_s * NS_PER_S).astype(np.int64)
    base_s = (base_ns - reference_ns) / NS_PER_S
    precise = products.orbits is not None
    if precise:
        position, velocity = orbit_states(products.orbits, satellites, base_ns, reference_ns)
    else:
        position, velocity, choices = broadcast_orbits(
            products.broadcast, satellites, base_ns, reference_ns
        )
    travel_s, relativity_s = np.empty(position.shape[:2]), np.empty(position.shape[:2])
    light_time(receive_s, base_s, receiver, position, velocity, travel_s, relativity_s)
    transmit_s = receive_s[:, None] - np.nan_to_num(travel_s)
    sent_ns = reference_ns + np.round(transmit_s * NS_PER_S).astype(np.int64)
    if precise:
        clock_s, sigma_m = clock_states(products, satellites, sent_ns)
        clock_s += relativity_s
    else:
        clock_s, relative = broadcast_clocks(
            products.broadcast, satellites, sent_ns, choices, bands
        )
        clock_s += np.where(relative, relativity_s, 0.0)
        sigma_m = np.where(np.isnan(clock_s), np.nan, 0.0)
    valid = np.isfinite(clock_s) & np.isfinite(travel_s)
    point = "centre of mass" if precise else "antenna phase centre"
    return SatelliteStates(position, velocity, clock_s, sigma_m, valid, sent_ns, point)
