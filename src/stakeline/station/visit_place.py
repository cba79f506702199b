"""Where a site on moving ice will be when somebody comes, and how far about to look."""

from dataclasses import dataclass, field

import numpy as np

from ..constants import DAYS_PER_YEAR, NS_PER_DAY
from ..earth.ellipsoid import geodetic_from_xyz, xyz_from_enu, xyz_from_geodetic
from ..errors import SettingsError
from .cautions import ESTIMATE, GROUND

CHANCE = 0.95  # -, that the ellipse holds the site, if the sigmas do; our choice
YEAR_NS = NS_PER_DAY * DAYS_PER_YEAR


@dataclass(frozen=True)
class MovingSite:
    """A site with its velocity, as last known.

    ``latitude_deg``, ``longitude_deg``, ``height_m`` at ``time_ns``; ``velocity_m_a`` (2,): east
    and north; ``position_covariance_m2``, ``velocity_covariance_m2_a2`` (2, 2): east and north. The
    covariance of the velocity must hold what the ice may do until then, not only what the last
    season's fit says: a seasonal swing, a flood.
    """

    latitude_deg: float
    longitude_deg: float
    height_m: float
    time_ns: int
    velocity_m_a: tuple
    position_covariance_m2: np.ndarray
    velocity_covariance_m2_a2: np.ndarray

    def __post_init__(self):
        for name in ("position_covariance_m2", "velocity_covariance_m2_a2"):
            matrix = np.asarray(getattr(self, name), float)
            if matrix.shape != (2, 2) or not np.allclose(matrix, matrix.T):
                raise SettingsError(f"{name} of {matrix.tolist()}: expected a symmetric 2 by 2")
            if not np.isfinite(matrix).all() or np.linalg.eigvalsh(matrix)[0] < -1e-9 * np.trace(
                matrix
            ):
                raise SettingsError(f"{name} of {matrix.tolist()}: expected no negative variance")
        if np.shape(self.velocity_m_a) != (2,) or not np.isfinite(self.velocity_m_a).all():
            raise SettingsError(f"velocity {self.velocity_m_a}: expected east and north [m/a]")


@dataclass(frozen=True)
class VisitPlace:
    """Where to look on a date.

    ``moved_m`` (2,): east and north since last known. Ellipse of :data:`CHANCE`: half axes
    ``semi_major_m``, ``semi_minor_m``, azimuth of the longer one [deg from north by east].
    """

    latitude_deg: float
    longitude_deg: float
    moved_m: np.ndarray
    covariance_m2: np.ndarray
    semi_major_m: float
    semi_minor_m: float
    azimuth_deg: float
    cautions: tuple = field(default=(GROUND, ESTIMATE))

    @property
    def search_ha(self):
        """Area of the ellipse. [ha]"""
        return np.pi * self.semi_major_m * self.semi_minor_m / 1e4


def visit_place(site, time_ns, chance=CHANCE):
    """Return the :class:`VisitPlace` of a site at a time, before or after it was last known.

    The site keeps its velocity along the tangent plane at its old place, which bends away from the
    ellipsoid by less than a centimetre sideways within 10 km; covariance P + t^2 V, position and
    velocity taken as independent. Half axes sqrt(lambda) sqrt(-2 ln(1 - chance)), of a normal law
    in two dimensions: honest where both covariances are.
    """
    if not 0.0 < chance < 1.0:
        raise SettingsError(f"a chance of {chance}: expected more than 0 and less than 1")
    years = (int(time_ns) - int(site.time_ns)) / YEAR_NS
    moved = years * np.asarray(site.velocity_m_a, float)
    latitude, longitude = np.radians([site.latitude_deg, site.longitude_deg])
    xyz = xyz_from_geodetic(latitude, longitude, site.height_m)
    there = geodetic_from_xyz(xyz + xyz_from_enu([*moved, 0.0], latitude, longitude))
    covariance = np.asarray(site.position_covariance_m2, float) + years**2 * np.asarray(
        site.velocity_covariance_m2_a2, float
    )
    small, large = np.maximum(np.linalg.eigvalsh(covariance), 0.0)
    axis = np.linalg.eigh(covariance)[1][:, 1]
    size = np.sqrt(-2.0 * np.log1p(-chance))
    return VisitPlace(
        latitude_deg=float(np.degrees(there[0])),
        longitude_deg=float(np.degrees(there[1])),
        moved_m=moved,
        covariance_m2=covariance,
        semi_major_m=float(size * np.sqrt(large)),
        semi_minor_m=float(size * np.sqrt(small)),
        azimuth_deg=float(np.degrees(np.arctan2(axis[0], axis[1])) % 180.0),
    )


def ellipse_outline(place, points=72):
    """Return the ellipse of a :class:`VisitPlace` as longitude, latitude (points + 1, 2). [deg]"""
    turn = np.linspace(0.0, 2.0 * np.pi, points + 1)
    azimuth = np.radians(place.azimuth_deg)
    along = place.semi_major_m * np.cos(turn)
    across = place.semi_minor_m * np.sin(turn)
    east = along * np.sin(azimuth) + across * np.cos(azimuth)
    north = along * np.cos(azimuth) - across * np.sin(azimuth)
    latitude, longitude = np.radians([place.latitude_deg, place.longitude_deg])
    middle = xyz_from_geodetic(latitude, longitude, 0.0)
    enu = np.column_stack([east, north, np.zeros_like(east)])
    found = geodetic_from_xyz(middle + xyz_from_enu(enu, latitude, longitude))
    return np.degrees(np.column_stack([found[1], found[0]]))
