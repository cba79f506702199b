"""Satellites of the invented world: ellipses that the flattened Earth turns slowly.

Positions are formulas of time, exact at every instant; nothing is interpolated.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import EARTH_RADIUS_M, GM_EARTH_M3_S2, J2_EARTH, SPEED_OF_LIGHT_M_S
from ..tables import satellite_id

# Letter, planes, satellites in a plane, semi-major axis [m], inclination [deg], phase between
# neighbouring planes [deg], node of the first plane from the Sun's right ascension [deg].
# Sizes and inclinations: IS-GPS-200N, table 20-II (orbit of half a sidereal day); Galileo OS SIS
# ICD 2.1, section 1.2. Planes stand so that the Sun is at least 10 deg off each (no noon turns).
SHELLS = (
    ("G", 6, 4, 26559.7e3, 55.0, 37.0, 0.0),
    ("E", 3, 8, 29600.3e3, 56.0, 15.0, 30.0),
)
ECCENTRICITY_LIMIT = 0.012  # -, of near-circular navigation orbits; from memory
_KEPLER_TURNS = 8


@dataclass(frozen=True)
class Constellation:
    """Elements of m satellites at ``time_s = 0``, each (m,); angles in radians."""

    satellites: np.ndarray
    semi_major_m: np.ndarray
    eccentricity: np.ndarray
    inclination_rad: np.ndarray
    node_rad: np.ndarray
    perigee_rad: np.ndarray
    anomaly_rad: np.ndarray

    def rates(self):
        """Return the secular rates of node, perigee and mean anomaly, each (m,). [rad/s]

        Kepler's third law with the first-order effect of J2: Kaula (1966), Theory of Satellite
        Geodesy, equations 3.74.
        """
        motion = np.sqrt(GM_EARTH_M3_S2 / self.semi_major_m**3)
        root = np.sqrt(1.0 - self.eccentricity**2)
        pull = motion * J2_EARTH * (EARTH_RADIUS_M / self.semi_major_m) ** 2 / root**4
        cosine = np.cos(self.inclination_rad)
        node = -1.5 * pull * cosine
        perigee = 0.75 * pull * (5.0 * cosine**2 - 1.0)
        anomaly = motion + 0.75 * pull * root * (3.0 * cosine**2 - 1.0)
        return node, perigee, anomaly

    def eccentric_anomaly(self, time_s, column=slice(None)):
        """Return the eccentric anomaly at times by fixed iteration. [rad]

        Times (n, m) are of all satellites; with ``column`` (k,), times (k,) of one each.
        """
        mean = self.anomaly_rad[column] + self.rates()[2][column] * time_s
        e, eccentric = self.eccentricity[column], mean
        for _ in range(_KEPLER_TURNS):  # each round gains a factor of the eccentricity
            eccentric = mean + e * np.sin(eccentric)
        return eccentric

    def states(self, time_s, column=slice(None)):
        """Return position and velocity (n, m, 3) at times (n, m) in axes that do not turn.

        The centre of mass; with ``column`` (k,), (k, 3) at times (k,) of one satellite each.
        [m, m/s]
        """
        node_rate, perigee_rate, anomaly_rate = (rate[column] for rate in self.rates())
        eccentric = self.eccentric_anomaly(time_s, column)
        e, a = self.eccentricity[column], self.semi_major_m[column]
        sine, cosine, root = np.sin(eccentric), np.cos(eccentric), np.sqrt(1.0 - e**2)
        fast = anomaly_rate / (1.0 - e * cosine)
        radius = a * (1.0 - e * cosine)
        outward = a * e * sine * fast
        perigee = self.perigee_rad[column] + perigee_rate * time_s
        u = perigee + np.arctan2(root * sine, cosine - e)
        turning = perigee_rate + root * fast / (1.0 - e * cosine)
        node = self.node_rad[column] + node_rate * time_s
        radial, ahead = _directions(u, node, self.inclination_rad[column])
        position = radius[..., None] * radial
        velocity = outward[..., None] * radial + (radius * turning)[..., None] * ahead
        velocity[..., 0] -= node_rate * position[..., 1]
        velocity[..., 1] += node_rate * position[..., 0]
        return position, velocity

    def relativity_s(self, time_s, column=slice(None)):
        """Return what eccentricity does to the satellites' clocks, shaped as times. [s]

        -2 sqrt(GM a) e sin E / c2: Ashby (2003), Living Rev. Relativity 6, equation 38.
        """
        product = np.sqrt(GM_EARTH_M3_S2 * self.semi_major_m) * self.eccentricity
        sine = np.sin(self.eccentric_anomaly(time_s, column))
        return -2.0 * product[column] * sine / SPEED_OF_LIGHT_M_S**2


def _directions(u, node, inclination):
    """Return unit vectors outward and ahead (n, m, 3) at arguments of latitude."""
    cu, su, cn, sn = np.cos(u), np.sin(u), np.cos(node), np.sin(node)
    ci, si = np.broadcast_to(np.cos(inclination), u.shape), np.sin(inclination)
    radial = np.stack([cu * cn - su * ci * sn, cu * sn + su * ci * cn, su * si], axis=-1)
    ahead = np.stack([-su * cn - cu * ci * sn, -su * sn + cu * ci * cn, cu * si], axis=-1)
    return radial, ahead


def make_constellation(rng, sky, shells=SHELLS):
    """Return a :class:`Constellation` of all shells, its planes placed against the Sun.

    Parameters
    ----------
    rng : numpy.random.Generator
        Eccentricities, perigees and small irregularities.
    sky : Sky
    shells : sequence of tuple
        As :data:`SHELLS`.
    """
    sun = sky.sun(np.zeros(1))[0]
    ascension = np.arctan2(sun[1], sun[0])
    rows, names = [], []
    for letter, planes, each, size_m, inclination_deg, phase_deg, offset_deg in shells:
        for k in range(planes * each):
            plane, slot = divmod(k, each)
            node = ascension + np.radians(offset_deg) + 2.0 * np.pi * plane / planes
            latitude = 2.0 * np.pi * slot / each + np.radians(phase_deg * plane)
            e, perigee = ECCENTRICITY_LIMIT * rng.uniform(0.05, 1.0), rng.uniform(0.0, 2.0 * np.pi)
            shift = np.radians(rng.uniform(-3.0, 3.0))
            tilt = np.radians(inclination_deg + rng.uniform(-0.7, 0.7))
            rows.append((size_m, e, tilt, node, perigee, latitude + shift - perigee))
            names.append(satellite_id(f"{letter}{k + 1:02d}"))
    return Constellation(np.array(names, np.int16), *np.array(rows).T)
