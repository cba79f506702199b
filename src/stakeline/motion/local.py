"""Positions of any origin in true metres about a reference: Earth-fixed, geodetic, polar map."""

from dataclasses import dataclass

import numpy as np

from ..earth.ellipsoid import enu_from_xyz, geodetic_from_xyz, xyz_from_geodetic
from ..earth.projection import projection
from ..errors import SolutionError


@dataclass(frozen=True)
class LocalMetres:
    """True metres from a reference point.

    Attributes
    ----------
    enu_m : array, shape (n, 3)
        East and north in the plane touching the ellipsoid at the reference, up as difference of
        ellipsoidal heights (so that level travel stays level: in the plane it would seem to sink by
        8 cm a kilometre).
    covariance_m2 : array, shape (n, 3, 3), or None
    latitude_rad, longitude_rad, height_m : float
        The reference.
    """

    enu_m: np.ndarray
    covariance_m2: np.ndarray | None
    latitude_rad: float
    longitude_rad: float
    height_m: float


def local_from_xyz(position_m, covariance_m2=None, reference_m=None):
    """Return :class:`LocalMetres` of Earth-fixed positions.

    Parameters
    ----------
    position_m : array, shape (n, 3)
        Earth-fixed; NaN is missing. [m]
    covariance_m2 : array, shape (n, 3, 3), optional
        Already in east, north, up, as :class:`~stakeline.tables.Positions` has it. [m2]
    reference_m : array, shape (3,), optional
        Earth-fixed; without it the first position that is there. [m]

    Raises
    ------
    SolutionError
        Where no position is there.
    """
    position_m = np.asarray(position_m, float)
    if reference_m is None:
        there = np.flatnonzero(np.isfinite(position_m).all(axis=1))
        if not there.size:
            raise SolutionError(f"none of {len(position_m)} positions is there: no flow to follow")
        reference_m = position_m[there[0]]
    latitude, longitude, height = (float(x) for x in geodetic_from_xyz(reference_m))
    enu = enu_from_xyz(position_m - np.asarray(reference_m, float), latitude, longitude)
    enu[:, 2] = geodetic_from_xyz(position_m)[2] - height
    return LocalMetres(enu, covariance_m2, latitude, longitude, height)


def local_from_geodetic(latitude_rad, longitude_rad, height_m, covariance_m2=None, reference=None):
    """Return :class:`LocalMetres` of geodetic positions (n,).

    ``reference`` is latitude, longitude [rad] and height [m]; without it the first position.
    """
    xyz = xyz_from_geodetic(latitude_rad, longitude_rad, height_m)
    origin = None if reference is None else xyz_from_geodetic(*reference)
    return local_from_xyz(xyz, covariance_m2, origin)


def local_from_map(easting_m, northing_m, height_m, epsg, covariance_m2=None, reference=None):
    """Return :class:`LocalMetres` of polar stereographic positions.

    The map's scale is taken out by way of latitude and longitude, exactly, and so is its turn
    against north. The covariance is in easting, northing and up of the map and is brought to true
    metres too.

    Parameters
    ----------
    easting_m, northing_m, height_m : arrays, shape (n,)
        Map coordinates and ellipsoidal height. [m]
    epsg : int
        Such as 3413 or 3031; SettingsError for one that is not known.
    covariance_m2 : array, shape (n, 3, 3), optional
        Of easting, northing (on the map) and up. [m2]
    reference : tuple, optional
        Latitude, longitude [rad] and height [m]; without it the first position.
    """
    chart = projection(epsg)
    latitude, longitude = chart.inverse(easting_m, northing_m)
    if covariance_m2 is not None:
        turn = _true_from_map(chart, latitude, longitude)
        covariance_m2 = turn @ np.asarray(covariance_m2, float) @ np.swapaxes(turn, -1, -2)
    return local_from_geodetic(latitude, longitude, height_m, covariance_m2, reference)


def true_velocity(easting_rate, northing_rate, latitude_rad, longitude_rad, epsg):
    """Return velocity east and north of one taken from map coordinates. [unit as given]

    Divided by the map's scale, turned by its convergence: at 80 S on EPSG:3031 a map speed is 2 %
    too small.
    """
    turn = _true_from_map(projection(epsg), np.asarray(latitude_rad), np.asarray(longitude_rad))
    rate = np.stack(np.broadcast_arrays(easting_rate, northing_rate), axis=-1)
    out = np.einsum("...ij,...j->...i", turn[..., :2, :2], rate)
    return out[..., 0], out[..., 1]


def _true_from_map(chart, latitude_rad, longitude_rad):
    """Return the matrices (n, 3, 3) from short map vectors to east, north, up."""
    scale = chart.point_scale(latitude_rad)
    angle = np.broadcast_to(chart.convergence(longitude_rad), np.shape(scale))
    turn = np.zeros((*np.shape(scale), 3, 3))
    turn[..., 0, 0] = turn[..., 1, 1] = np.cos(angle) / scale
    turn[..., 0, 1] = -np.sin(angle) / scale
    turn[..., 1, 0] = np.sin(angle) / scale
    turn[..., 2, 2] = 1.0
    return turn
