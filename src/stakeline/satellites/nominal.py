"""Satellites by the definition of their constellations: for planning, where no orbits are at hand.

Circles of the published planes and slots. Real constellations have spare satellites, gaps and
orbits a few degrees off; what a site sees over a day is told well, what it sees at a minute is not.
"""

import numpy as np

from ..constants import EARTH_ROTATION_RAD_S, GM_EARTH_M3_S2
from ..errors import SettingsError
from ..tables import satellite_id
from .orbits import turn_about_z

GPS_NODES_DEG = (272.847, 332.847, 32.847, 92.847, 152.847, 212.847)  # deg, planes A to F; GPS SPS
# Performance Standard, table of the 24 slots, from memory
GPS_SLOTS_DEG = (
    (268.126, 161.786, 11.676, 41.806),
    (80.956, 173.336, 309.976, 204.376),
    (111.876, 11.796, 339.666, 241.556),
    (135.226, 265.446, 35.136, 167.356),
    (197.046, 302.596, 66.066, 333.686),
    (238.886, 345.226, 105.206, 135.346),
)  # deg, argument of latitude of slots 1 to 4; the same
WALKER = {  # letter: satellites, planes, phasing, semi-major axis [m], inclination [deg]
    "R": (24, 3, 1, 25_508.2e3, 64.8),  # GLONASS ICD 5.1, section 3.3.1
    "E": (24, 3, 1, 29_600.3e3, 56.0),  # Galileo OS SIS ICD 2.1, section 1.2
    "C": (24, 3, 1, 27_906.1e3, 55.0),  # BeiDou B1C ICD 1.0, section 3.1: medium orbits only
}
GPS_AXIS_M, GPS_INCLINATION_DEG = 26_559.7e3, 55.0  # m, deg; IS-GPS-200N, table 20-II
LETTERS = {"GPS": "G", "GLONASS": "R", "Galileo": "E", "BeiDou": "C"}
"""Names of the systems, and their letters."""


def elements(letters):
    """Return satellites (m,), semi-major axis [m], inclination, node, argument of latitude [rad].

    A Walker pattern T/P/F of T satellites in P planes: node 360 p / P, argument of latitude
    360 s P / T + 360 F p / T (Walker 1984, J. Br. Interplanet. Soc. 37, from memory).

    Parameters
    ----------
    letters : str
        Of ``GREC``.
    """
    unknown = [one for one in letters if one not in "G" + "".join(WALKER)]
    if unknown or not letters:
        raise SettingsError(
            f"systems {letters!r}: expected some of G, R, E, C; others have no nominal pattern"
        )
    rows = []
    for letter in dict.fromkeys(letters):
        places = _gps() if letter == "G" else _walker(*WALKER[letter][:3])
        size = GPS_AXIS_M if letter == "G" else WALKER[letter][3]
        tilt = GPS_INCLINATION_DEG if letter == "G" else WALKER[letter][4]
        rows += [
            (satellite_id(f"{letter}{k:02d}"), size, np.radians(tilt), *np.radians(place))
            for k, place in enumerate(places, 1)
        ]
    satellites, *numbers = zip(*rows, strict=True)
    return np.array(satellites, np.int64), *(np.array(one) for one in numbers)


def _gps():
    return [
        (node, u) for node, plane in zip(GPS_NODES_DEG, GPS_SLOTS_DEG, strict=True) for u in plane
    ]


def _walker(count, planes, phasing):
    each = count // planes
    return [
        (360.0 * p / planes, 360.0 * s / each + 360.0 * phasing * p / count)
        for p in range(planes)
        for s in range(each)
    ]


def nominal_orbits(letters, time_s):
    """Return satellites (m,) and Earth-fixed positions (n, m, 3) of nominal constellations. [m]

    Parameters
    ----------
    letters : str
        Of ``GREC``.
    time_s : array, shape (n,)
        From an instant at which the Earth-fixed axes are those of the nodes. [s]

    Notes
    -----
    Circles at the rate sqrt(GM / a^3); the Earth's flattening, which turns the planes by some 0.04
    deg a day, is left out.
    """
    satellites, size, tilt, node, start = elements(letters)
    time = np.asarray(time_s, float)
    u = start + np.sqrt(GM_EARTH_M3_S2 / size**3) * time[:, None]
    x, y = np.cos(u), np.sin(u)
    fixed = np.stack(
        [
            x * np.cos(node) - y * np.cos(tilt) * np.sin(node),
            x * np.sin(node) + y * np.cos(tilt) * np.cos(node),
            y * np.sin(tilt),
        ],
        axis=-1,
    )
    turned = turn_about_z(fixed, -EARTH_ROTATION_RAD_S * time[:, None])
    return satellites, size[:, None] * turned
