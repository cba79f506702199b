"""How satellites are turned: nominal yaw steering, noon and midnight turns, shadow.

Axes follow the IGS convention (Montenbruck et al. 2015, Advances in Space Research 56, 1015):
z to the Earth, y along the solar panels so that the Sun lies in the half plane of +x.

What is simplified, on purpose:

* GPS IIR, IIR-M, III and IIA turn at a limited rate and catch up (Kouba 2009, GPS Solutions 13,
  1); the yaw bias of IIA and its reversal in shadow are not modelled, only marked.
* GPS IIF turns evenly through shadow; GLONASS-M turns at full rate from the entry into shadow
  (Dilssner et al. 2011, Advances in Space Research 47, 160); their noon turns lag and catch up.
* Galileo follows its published laws; BeiDou geostationary satellites keep x along the track,
  inclined second-generation ones do so below 4 deg of Sun elevation; third-generation ones turn
  at a limited rate.
* An unknown kind of GPS or GLONASS satellite is taken as the most frequent one.
"""

from typing import NamedTuple

import numpy as np

from ._body_kernels import (
    GALILEO_FOC,
    GALILEO_IOV,
    LIMITED,
    NOMINAL,
    NORMAL,
    NORMAL_LOW,
    SHADOW_EVEN,
    SHADOW_FAST,
    SHADOW_LOST,
    attitude,
)

LOW_SUN_RAD = np.radians(4.0)
"""BeiDou-2 leaves yaw steering below this; Montenbruck et al. (2015), section 3.4. [rad]"""

# Kind of satellite, as the first letters of an ANTEX block type -> law, highest yaw rate [deg/s].
_LAWS = (
    ("BLOCK IIA", SHADOW_LOST, 0.12),  # deg/s; Kouba (2009), GPS Solutions 13, 1
    ("BLOCK IIR", LIMITED, 0.20),  # deg/s; Kouba (2009)
    ("BLOCK IIF", SHADOW_EVEN, 0.11),  # deg/s; Dilssner (2010), Inside GNSS, from memory
    ("BLOCK III", LIMITED, 0.20),  # deg/s; taken as IIR, no source
    ("GLONASS", SHADOW_FAST, 0.25),  # deg/s; Dilssner et al. (2011)
    ("GALILEO-1", GALILEO_IOV, 0.20),  # deg/s; rate not used
    ("GALILEO", GALILEO_FOC, 0.20),  # deg/s; rate not used
    ("BEIDOU-2G", NORMAL, 0.0),
    ("BEIDOU-3G", NORMAL, 0.0),
    ("BEIDOU-2", NORMAL_LOW, 0.0),
    ("BEIDOU-3", LIMITED, 0.08),  # deg/s; Wang et al. (2018), GPS Solutions 22, from memory
    ("QZSS-2G", NORMAL, 0.0),
)
_USUAL = {"G": "BLOCK IIR", "R": "GLONASS-M", "E": "GALILEO-2"}
_IOV = (211, 212, 219, 220)  # E11 E12 E19 E20: European GNSS Service Centre, constellation status
_SYSTEM_BEIDOU = 3


class Attitude(NamedTuple):
    """Body axes (n, m, 3), no unit, and where the yaw is away from nominal or uncertain (n, m)."""

    ex: np.ndarray
    ey: np.ndarray
    ez: np.ndarray
    in_turn: np.ndarray


def usual_kind(satellite):
    """Return the kind of a satellite where no antenna table names it."""
    system, number = satellite // 100, satellite % 100
    if satellite in _IOV:
        return "GALILEO-1"
    if system == _SYSTEM_BEIDOU:  # C01-C05, C59-C63 stationary, C06-C16 second generation
        if number <= 5 or number >= 59:
            return "BEIDOU-2G"
        return "BEIDOU-2" if number <= 16 else "BEIDOU-3"
    return _USUAL.get("GRECJSI"[system], "")


def _law(kind):
    for start, law, rate_deg_s in _LAWS:
        if kind.upper().startswith(start):
            return law, np.radians(rate_deg_s)
    return NOMINAL, 0.0


def body_axes(position_m, velocity_m_s, sun_m, satellites, kinds=None):
    """Return the body axes of satellites in the frame of their positions.

    Parameters
    ----------
    position_m, velocity_m_s : array, shape (n, m, 3)
        Earth-fixed states at following epochs; NaN where unknown. [m, m/s]
    sun_m : array, shape (n, 3)
        Sun, same frame. [m]
    satellites : array of int, shape (m,)
        Satellites.
    kinds : sequence of str, optional
        Block types as ANTEX writes them, such as ``BLOCK IIF``; blank or None: the usual one.

    Returns
    -------
    Attitude
        ``ex, ey, ez, in_turn``. At most 10 min between a satellite's epochs are bridged; a series
        that begins inside a turn is nominal there.

    Notes
    -----
    Nominal yaw is atan2(-tan beta, sin mu), mu from midnight and beta the Sun's elevation above
    the orbit: Montenbruck et al. (2015), equation 8. Turn times are counted by the orbit angle.
    """
    position = np.ascontiguousarray(position_m, float)
    velocity = np.ascontiguousarray(velocity_m_s, float)
    satellites = [int(satellite) for satellite in satellites]
    kinds = kinds if kinds is not None else [""] * len(satellites)
    pairs = [
        _law(kind or usual_kind(satellite))
        for kind, satellite in zip(kinds, satellites, strict=True)
    ]
    law = np.array([pair[0] for pair in pairs], np.int64)
    rate = np.array([pair[1] for pair in pairs], float)
    ex, ey, ez = (np.empty(position.shape) for _ in range(3))
    turning = np.zeros(position.shape[:2], bool)
    sun = np.ascontiguousarray(sun_m, float)
    attitude(position, velocity, sun, law, rate, LOW_SUN_RAD, ex, ey, ez, turning)
    return Attitude(ex, ey, ez, turning)
