"""Stations of one glacier side by side: common times, anomalies, strain between them, lags."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.spatial import Delaunay, QhullError

from ..constants import DAYS_PER_YEAR, NS_PER_DAY
from ..earth.ellipsoid import enu_axes, enu_from_xyz, xyz_from_geodetic
from ..errors import SolutionError, StakelineError
from .network import Lag, anomaly_percent, at_common_times, lag_between, seasonal_baseline
from .strain import velocity_gradient

COMMON_D = 1.0  # d, between common times; our choice
LONGEST_LAG_D = 10.0  # d, tried between two stations; our choice
MOVING = 5.0  # mean speed over its sigma from which a station is on moving ice; our choice
SLOWEST_M_D = 0.002  # m/d, 0.7 m/a: slower is rock for the network; our choice
LARGEST_MISFIT = 4.0  # reduced chi2 above which a linear field is said not to fit; our choice
WIDEST_KM = 40.0  # km, longest side of a triangle: beyond, no linear field; our choice


@dataclass(frozen=True)
class StationVelocity:
    """What the network takes of one station; arrays run along ``time_ns`` (m,).

    ``velocity_m_d`` and ``sigma_m_d`` (m, 2) are along the flow and across it (left), whose
    direction is ``azimuth_rad`` (m,), known to ``azimuth_sigma_rad``, the same error at all times:
    across a path laid through the positions there is next to no motion left by construction.
    """

    station: str
    time_ns: np.ndarray
    velocity_m_d: np.ndarray
    sigma_m_d: np.ndarray
    azimuth_rad: np.ndarray
    latitude_rad: float
    longitude_rad: float
    height_m: float
    mean_m_d: float
    mean_sigma_m_d: float
    azimuth_sigma_rad: float = 0.0

    @property
    def moves(self):
        """Whether the station stands on moving ice."""
        return bool(self.mean_m_d > max(MOVING * self.mean_sigma_m_d, SLOWEST_M_D))


@dataclass(frozen=True)
class StrainSeries:
    """Strain of one set of stations at common times (m,); NaN where one of them is missing.

    Rates per year in east and north at the middle of the network; ``principal_per_a`` (m, 2) the
    larger and the smaller, ``axis_azimuth_rad`` (m,) the direction of the larger, clockwise from
    north, 0 to pi. Columns ``_sigma`` are standard deviations. ``mean`` is the
    :class:`~stakeline.motion.strain.Strain` of the mean velocities; ``warnings`` its sentences.
    """

    stations: tuple
    values: dict
    mean: object
    warnings: tuple


@dataclass(frozen=True)
class Network:
    """The stations together.

    ``time_ns`` (m,) common times; ``speed_m_d``, ``speed_sigma_m_d``, ``anomaly_percent``,
    ``anomaly_sigma_percent`` (s, m) of ``stations``; ``baselines`` by station; ``lags``: (first,
    second, :class:`~stakeline.motion.network.Lag`); ``place_m`` (s, 2) east and north of the
    middle. ``left_out`` by station, why.
    """

    stations: tuple
    time_ns: np.ndarray
    speed_m_d: np.ndarray
    speed_sigma_m_d: np.ndarray
    anomaly_percent: np.ndarray
    anomaly_sigma_percent: np.ndarray
    baselines: dict
    strain: tuple
    lags: tuple
    place_m: np.ndarray
    left_out: dict


def solve_network(stations, rng, longest_gap_d=1.0):
    """Return the :class:`Network` of several stations.

    Parameters
    ----------
    stations : sequence of StationVelocity
    rng : numpy.random.Generator
        For the intervals of lags.
    longest_gap_d : float
        No value is given between estimates farther apart. [d]

    Raises
    ------
    SolutionError
        Where no station is given.
    """
    stations = tuple(stations)
    if not stations:
        raise SolutionError("no station with a velocity: no network")
    common = _common(stations)
    parts = [_at(s, common, longest_gap_d) for s in stations]
    speed = np.array([part[0][:, 0] for part in parts])
    sigma = np.array([part[1][:, 0] for part in parts])
    anomaly, spread = np.full_like(speed, np.nan), np.full_like(speed, np.nan)
    baselines, left = {}, {}
    for k, s in enumerate(stations):
        if not s.moves:
            left[s.station] = "does not move: neither anomaly nor strain"
            continue
        try:
            base = seasonal_baseline(common, speed[k], sigma[k])
        except SolutionError as problem:
            left[s.station] = str(problem)
            continue
        baselines[s.station] = base
        anomaly[k], spread[k] = anomaly_percent(speed[k], sigma[k], base)
    place, turned = _in_one_plane(stations, parts)
    moving = [k for k, s in enumerate(stations) if s.moves]
    strain = tuple(_strain(stations, chosen, place, turned) for chosen in _sets(place, moving))
    lags = tuple(_lags(stations, anomaly, rng))
    return Network(
        tuple(s.station for s in stations), common, speed, sigma, anomaly, spread, baselines,
        tuple(s for s in strain if s), lags, place, left,
    )  # fmt: skip


def _common(stations):
    """Return the whole days from the first to the last estimate. [ns]"""
    step = round(COMMON_D * NS_PER_DAY)
    first = min(int(s.time_ns[0]) for s in stations)
    last = max(int(s.time_ns[-1]) for s in stations)
    return np.arange(-(-first // step), last // step + 1, dtype=np.int64) * step + step // 2


def _at(station, common, longest_gap_d):
    """Return velocities (m, 2), sigmas (m, 2) and azimuths (m,) at common times."""
    found = [
        at_common_times(
            station.time_ns, station.velocity_m_d[:, k], station.sigma_m_d[:, k], common,
            longest_gap_d,
        )
        for k in range(2)
    ]  # fmt: skip
    azimuth = np.interp(common, station.time_ns, np.unwrap(station.azimuth_rad))
    values, sigmas = (np.stack([found[k][j] for k in range(2)], axis=1) for j in range(2))
    return values, sigmas, azimuth


def _in_one_plane(stations, parts):
    """Return places (s, 2), and velocities (s, m, 2) with covariances (s, m, 2, 2), all in one.

    East and north differ from station to station by the convergence of meridians, some degrees
    over a polar glacier: velocities are turned to those of the middle.
    """
    geodetic = np.array([(s.latitude_rad, s.longitude_rad, s.height_m) for s in stations])
    xyz = xyz_from_geodetic(*geodetic.T)
    known = np.isfinite(xyz).all(axis=1)
    place = np.full((len(stations), 2), np.nan)
    velocity = np.full((len(stations), len(parts[0][0]), 2), np.nan)
    covariance = np.full((*velocity.shape, 2), np.nan)
    if not known.any():
        return place, (velocity, covariance)
    middle = np.nanmean(xyz[known], axis=0)
    radius = np.hypot(np.hypot(middle[0], middle[1]), middle[2])
    latitude, longitude = np.arcsin(middle[2] / radius), np.arctan2(middle[1], middle[0])
    place = enu_from_xyz(xyz - middle, latitude, longitude)[:, :2]
    for k in np.flatnonzero(known):
        values, sigmas, azimuth = parts[k]
        own = enu_axes(geodetic[k, 0], geodetic[k, 1])
        turn = (enu_axes(latitude, longitude) @ own.T)[:2, :2]
        s, c = np.sin(azimuth), np.cos(azimuth)
        axes = turn @ np.stack([np.stack([s, -c], -1), np.stack([c, s], -1)], -2)
        velocity[k] = np.einsum("mij,mj->mi", axes, values)
        variance = sigmas**2
        variance[:, 1] += (values[:, 0] * stations[k].azimuth_sigma_rad) ** 2
        covariance[k] = np.einsum("mij,mj,mkj->mik", axes, variance, axes)
    return place, (velocity, covariance)


def _sets(place, moving):
    """Return lists of stations: neighbouring triangles, and all where there are four or more."""
    moving = [k for k in moving if np.isfinite(place[k]).all()]
    if len(moving) < 3:
        return []
    try:
        corners = Delaunay(place[moving]).simplices
    except (QhullError, ValueError):  # on a line, or in one place
        return []
    triangles = [sorted(moving[j] for j in corner) for corner in corners]
    near = [t for t in triangles if _longest_side(place[t]) < WIDEST_KM * 1e3]
    return [*sorted(near), *([moving] if len(moving) > 3 else [])]


def _longest_side(corner):
    return max(np.hypot(*(corner[a] - corner[b])) for a, b in combinations(range(3), 2))


def _strain(stations, chosen, place, turned):
    """Return the :class:`StrainSeries` of one set; None where its stations stand on a line."""
    velocity, covariance = (part[chosen] * f for part, f in zip(
        turned, (DAYS_PER_YEAR, DAYS_PER_YEAR**2), strict=True))  # fmt: skip
    complete = np.isfinite(velocity).all(axis=(0, 2)) & np.isfinite(covariance).all(axis=(0, 2, 3))
    if not complete.any():
        return None
    table = np.full((velocity.shape[1], len(COLUMNS)), np.nan)
    try:
        for m in np.flatnonzero(complete):
            table[m] = _row(velocity_gradient(place[chosen], velocity[:, m], covariance[:, m]))
        # days are not independent: the covariance of one of them stands for that of the mean
        spread = np.trace(covariance, axis1=2, axis2=3).sum(axis=0)
        days = np.flatnonzero(complete)
        typical = days[np.argsort(spread[days], kind="stable")[len(days) // 2]]
        mean = velocity_gradient(
            place[chosen], velocity[:, complete].mean(axis=1), covariance[:, typical]
        )
    except StakelineError:
        return None
    names, said = tuple(stations[k].station for k in chosen), list(mean.warnings)
    if mean.reduced_chi2 > LARGEST_MISFIT:
        said.append(
            f"no linear field fits these stations (reduced chi2 {mean.reduced_chi2:.3g}): the mean "
            "gradient of an uneven flow; sigmas are widened by the misfit"
        )
    return StrainSeries(names, dict(zip(COLUMNS, table.T, strict=True)), mean, tuple(said))


COLUMNS = (
    "exx_per_a", "exx_sigma_per_a", "eyy_per_a", "eyy_sigma_per_a", "exy_per_a",
    "exy_sigma_per_a", "rotation_rad_a", "rotation_sigma_rad_a", "larger_per_a",
    "larger_sigma_per_a", "smaller_per_a", "smaller_sigma_per_a", "axis_azimuth_rad",
    "axis_sigma_rad", "vertical_per_a", "vertical_sigma_per_a", "reduced_chi2",
)  # fmt: skip
"""Columns of a strain table, x east and y north."""


def _row(strain):
    """Return the numbers of one strain in the order of :data:`COLUMNS`."""
    larger, smaller = strain.principal
    axis = strain.axis_rad
    pairs = (strain.exx, strain.eyy, strain.exy, strain.rotation, larger, smaller)
    wider = widening(strain)
    row = [x for q in pairs for x in (q.value, q.sigma * wider)]
    row += [np.mod(0.5 * np.pi - axis.value, np.pi), axis.sigma * wider]
    return [*row, strain.vertical.value, strain.vertical.sigma * wider, strain.reduced_chi2]


def widening(strain):
    """Return by how much sigmas grow where the stations do not fit one linear field; at least 1."""
    return np.sqrt(max(strain.reduced_chi2, 1.0)) if strain.reduced_chi2 > 1.0 else 1.0


def _lags(stations, anomaly, rng):
    """Yield (first, second, Lag) of the pairs of stations whose anomalies can be compared."""
    interval = COMMON_D
    for a, b in combinations(range(len(stations)), 2):
        both = np.isfinite(anomaly[a]) & np.isfinite(anomaly[b])
        if both.sum() < 40:
            continue
        first, last = np.flatnonzero(both)[[0, -1]]
        part = slice(first, last + 1)
        try:
            found: Lag = lag_between(
                anomaly[a, part], anomaly[b, part], interval, LONGEST_LAG_D, rng
            )
        except StakelineError:
            continue
        yield stations[a].station, stations[b].station, found


def velocity_of(motion):
    """Return the :class:`StationVelocity` of a :class:`~stakeline.motion.motion_record.Motion`."""
    along, across = motion.along, motion.across
    return StationVelocity(
        motion.station, motion.time_ns,
        np.stack([along.velocity_m_d, across.velocity_m_d], axis=1),
        np.stack([along.velocity_sigma_m_d, across.velocity_sigma_m_d], axis=1),
        motion.azimuth_rad, motion.latitude_rad, motion.longitude_rad, motion.height_m,
        along.mean_velocity_m_d, along.mean_velocity_sigma_m_d, azimuth_sigma(motion.path),
    )  # fmt: skip


def azimuth_sigma(path):
    """Return the sigma of a path's direction; 0 where it was given, or is not known. [rad]"""
    return float(np.nan_to_num(path.azimuth_sigma_rad))
