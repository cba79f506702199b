"""Flow coordinates: metres along the flow, across it (left is positive) and up.

Speed is the change of the distance along the flow. It is never the length of a difference: that
length is positive in noise alone.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import BSpline, make_lsq_spline

from ..constants import NS_PER_DAY
from ..errors import SolutionError

_SEEN = 20.0  # travel over noise of a position below which no bend is sought
_CHANCE = 1e-3  # of calling a still station moving
_BLOCKS = 10
_STEEPEST = np.tan(np.radians(70.0))  # a path may turn so far from its chord
_FOOT_TURNS = 8
_ARC_NODES = 2001


@dataclass(frozen=True)
class FlowPath:
    """A line on the ice that stations follow: straight, or a smooth curve about its chord.

    Attributes
    ----------
    azimuth_rad : float
        Direction of the chord, clockwise from north. [rad]
    azimuth_sigma_rad : float
        Its standard deviation; NaN where the azimuth was given or is not known. [rad]
    east_m, north_m : float
        The point where the distance along the path is zero. [m]
    bend : BSpline or None
        Offset to the left of the chord as function of the distance along the chord. [m]
    span_m : tuple
        Distances along the chord between which the curve was seen; straight on beyond. [m]
    warnings : tuple of str
    """

    azimuth_rad: float
    azimuth_sigma_rad: float = np.nan
    east_m: float = 0.0
    north_m: float = 0.0
    bend: BSpline | None = None
    span_m: tuple = (0.0, 0.0)
    warnings: tuple = ()


@dataclass(frozen=True)
class FlowCoordinates:
    """Positions in flow coordinates, and the direction of flow at each.

    ``flow_m`` (n, 3) is along, across, up; ``covariance_m2`` (n, 3, 3) in the same order or None;
    ``azimuth_rad`` (n,) the direction of the path beside each position.
    """

    flow_m: np.ndarray
    covariance_m2: np.ndarray | None
    azimuth_rad: np.ndarray


def straight_line(time_ns, value, sigma=None):
    """Return slopes (m,) a day, their covariance (m, m) and rms of the residuals, by least squares.

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    value : array, shape (n, m)
        NaN in any column drops the row.
    sigma : array, shape (n,), optional
        Relative standard deviations of rows.

    Raises
    ------
    SolutionError
        Where fewer than three rows are there.

    Notes
    -----
    The covariance is that of white noise of the size of the residuals: far too small for real
    positions, whose noise is coloured; good enough to say whether any motion is seen.
    """
    value = np.asarray(value, float)
    there = np.isfinite(value).all(axis=1)
    days = (np.asarray(time_ns, np.int64)[there] - np.asarray(time_ns).min()) / NS_PER_DAY
    if there.sum() < 3 or np.ptp(days) == 0.0:
        raise SolutionError(f"a line needs 3 positions at different times; {there.sum()} are there")
    weight = np.ones(days.size) if sigma is None else np.asarray(sigma, float)[there] ** -2
    weight /= weight.mean()
    x = days - np.average(days, weights=weight)
    y = value[there] - np.average(value[there], axis=0, weights=weight)
    slope = (weight * x) @ y / (weight @ x**2)
    residual = y - x[:, None] * slope
    spread = (residual * weight[:, None]).T @ residual / (days.size - 2)
    return slope, spread / (weight @ x**2), np.sqrt(np.diag(spread))


def fixed_path(azimuth_rad):
    """Return the straight :class:`FlowPath` through the reference in a given direction."""
    return FlowPath(float(azimuth_rad))


def straight_path(time_ns, enu_m):
    """Return the straight :class:`FlowPath` in the direction of the mean motion.

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    enu_m : array, shape (n, 3)
        East, north, up, free of moves by hand. [m]

    Notes
    -----
    A direction taken from noise would make every speed positive. So the motion between ten parts
    of the record is tested against its own scatter (Hotelling's T squared, chance 1 in 1000, honest
    for noise up to a random walk); where it does not pass, along is north, and that is said.
    """
    enu_m = np.asarray(enu_m, float)
    (east, north), _, _ = straight_line(time_ns, enu_m[:, :2])
    azimuth, speed = np.arctan2(east, north), np.hypot(east, north)
    step = _steps_of_parts(time_ns, enu_m[:, :2])
    if len(step) < 4:
        said = "too few positions to tell flow from noise; give an azimuth"
        return FlowPath(float(azimuth), np.nan, warnings=(said,))
    covariance = np.cov(step.T) / len(step)
    mean = step.mean(axis=0)
    free = len(step) - 2
    limit = (len(step) - 1) * (_CHANCE ** (-2.0 / free) - 1.0)
    if mean @ np.linalg.pinv(covariance, hermitian=True) @ mean < limit:
        said = f"no steady flow in the scatter ({speed:.2g} m/d): along is north; give an azimuth"
        return FlowPath(0.0, np.nan, warnings=(said,))
    side = np.array([np.cos(azimuth), -np.sin(azimuth)])
    sigma = np.sqrt(side @ covariance @ side) / np.hypot(*mean)
    return FlowPath(float(azimuth), float(sigma))


def _steps_of_parts(time_ns, enu_m):
    """Return velocities (m, 2) between the means of ten parts of the record. [m/d]"""
    there = np.isfinite(enu_m).all(axis=1)
    order = np.argsort(np.asarray(time_ns)[there], kind="stable")
    days = (np.asarray(time_ns, np.int64)[there][order] - np.min(time_ns)) / NS_PER_DAY
    parts = np.array_split(np.arange(days.size), min(_BLOCKS, days.size))
    when = np.array([days[p].mean() for p in parts])
    where = np.array([enu_m[there][order][p].mean(axis=0) for p in parts])
    apart = np.diff(when) > 0.0
    return (np.diff(where, axis=0)[apart].T / np.diff(when)[apart]).T


def noise_of_positions(time_ns, value):
    """Return the robust white noise (m,) of series (n, m), from second differences. [as given]"""
    value = np.asarray(value, float)
    value = value[np.argsort(time_ns, kind="stable")]
    value = value[np.isfinite(value).all(axis=1)]
    if len(value) < 3:
        return np.full(value.shape[1], np.nan)
    second = np.diff(value, n=2, axis=0)
    return 1.4826 * np.median(np.abs(second), axis=0) / np.sqrt(6.0)


def mean_speed(time_ns, along_m, ends=5):
    """Return net travel along the flow over time, and its sigma from white noise. [m/d]

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    along_m : array, shape (n,)
        Distance along the flow; NaN is missing. [m]
    ends : int
        Positions averaged at each end, fewer in a short record.

    Raises
    ------
    SolutionError
        Where fewer than two positions are there.
    """
    time_ns, along_m = np.asarray(time_ns, np.int64), np.asarray(along_m, float)
    there = np.flatnonzero(np.isfinite(along_m))
    there = there[np.argsort(time_ns[there], kind="stable")]
    count = max(1, min(ends, there.size // 2))
    first, last = there[:count], there[there.size - count :]
    days = (time_ns[last] - time_ns.min()).mean() - (time_ns[first] - time_ns.min()).mean()
    if there.size < 2 or days <= 0.0:
        raise SolutionError(f"a speed needs 2 positions at different times; {there.size} are there")
    days /= NS_PER_DAY
    noise = noise_of_positions(time_ns, along_m[:, None])[0]
    travel = along_m[last].mean() - along_m[first].mean()
    return float(travel / days), float(noise * np.sqrt(2.0 / count) / days)


def smooth_path(time_ns, enu_m, smoothing_m=None):
    """Return the bending :class:`FlowPath` that positions follow.

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
    enu_m : array, shape (n, 3)
        East, north, up. [m]
    smoothing_m : float, optional
        Distance between the knots of the curve; without it a quarter of the travel. [m]

    Raises
    ------
    SolutionError
        Where the path turns by more than 70 deg from its chord.

    Notes
    -----
    The curve is the offset from the chord as a cubic spline of the distance along the chord, by
    least squares. So distance along it has a sign, and noise of a still station does not add up to
    travel. Where no flow is seen, or travel is below twenty times the noise of a position, the
    straight line is returned, and that is said. Moves by hand must be taken out before: they would
    be followed.
    """
    path = straight_path(time_ns, enu_m)
    if path.warnings:
        return path
    enu_m = np.asarray(enu_m, float)
    good = enu_m[np.isfinite(enu_m).all(axis=1)]
    along, left = _chord(path, good)
    noise = np.hypot(*noise_of_positions(time_ns, enu_m[:, :2]))
    if np.ptp(along) < _SEEN * noise:
        said = (
            f"travel of {np.ptp(along):.3f} m is too short, with noise of {noise:.3f} m, for a bend"
        )
        return replace(path, warnings=(said,))
    order = np.argsort(along)
    along, left = along[order], left[order]
    count = max(1, round(np.ptp(along) / smoothing_m) if smoothing_m else 4)
    bend = _fitted(along, left, count)
    span = (float(along[0]), float(along[-1]))
    slope = np.abs(bend(np.linspace(*span, _ARC_NODES), 1)).max()
    if slope > _STEEPEST:
        raise SolutionError(
            f"the path turns by {np.degrees(np.arctan(slope)):.0f} deg from its chord; "
            "70 deg at most can be followed: cut the record, or give a fixed azimuth or more "
            "smoothing"
        )
    return FlowPath(path.azimuth_rad, path.azimuth_sigma_rad, bend=bend, span_m=span)


def _fitted(along, left, pieces):
    """Return the least-squares cubic spline with equal pieces, fewer where they hold no data."""
    for count in range(pieces, 0, -1):
        edges = np.linspace(along[0], along[-1], count + 1)
        if np.histogram(along, edges)[0].min() >= 4 or count == 1:
            break
    inner = edges[1:-1]
    knots = np.concatenate([[along[0]] * 4, inner, [along[-1]] * 4])
    distinct, where = np.unique(along, return_inverse=True)
    weight = np.bincount(where).astype(float)
    mean = np.bincount(where, left) / weight
    if distinct.size < 4:
        raise SolutionError(f"a bending path needs 4 places; {distinct.size} are there")
    return make_lsq_spline(distinct, mean, knots, k=3, w=np.sqrt(weight))


def _chord(path, enu_m):
    """Return distance along the chord and to its left, each (n,). [m]"""
    east, north = enu_m[:, 0] - path.east_m, enu_m[:, 1] - path.north_m
    sine, cosine = np.sin(path.azimuth_rad), np.cos(path.azimuth_rad)
    return sine * east + cosine * north, sine * north - cosine * east


def along_path(path, enu_m, covariance_m2=None):
    """Return :class:`FlowCoordinates` of positions.

    Parameters
    ----------
    path : FlowPath
    enu_m : array, shape (n, 3)
        East, north, up. [m]
    covariance_m2 : array, shape (n, 3, 3), optional
        East, north, up. [m2]

    Notes
    -----
    Distance along a curve is its length to the foot of the perpendicular, from the point beside
    the reference; across is the length of the perpendicular. The covariance is turned into the
    local direction; the uncertainty of the path itself is not in it.
    """
    enu_m = np.asarray(enu_m, float)
    along, left = _chord(path, enu_m)
    azimuth = np.full(along.shape, path.azimuth_rad)
    if path.bend is not None:
        along, left, turn = _beside_curve(path, along, left)
        azimuth = azimuth - turn
    flow = np.stack([along, left, enu_m[:, 2]], axis=-1)
    if covariance_m2 is not None:
        covariance_m2 = rotate_covariance(covariance_m2, azimuth)
    return FlowCoordinates(flow, covariance_m2, np.mod(azimuth, 2.0 * np.pi))


def _beside_curve(path, q0, y0):
    """Return arc length, distance to the left and turn to the left [rad] of points (n,)."""
    q = q0.copy()
    for _ in range(_FOOT_TURNS):
        y, slope, curve = _curve(path, q)
        miss = (q - q0) + (y - y0) * slope
        gain = 1.0 + slope**2 + (y - y0) * curve
        q = q - miss / np.maximum(gain, 0.3)
    y, slope, _ = _curve(path, q)
    across = ((y0 - y) - slope * (q0 - q)) / np.sqrt(1.0 + slope**2)
    low, high = path.span_m
    node = np.linspace(min(low, 0.0), max(high, 0.0), _ARC_NODES)
    length = _length(path, node)
    inside = np.clip(q, node[0], node[-1])
    along = np.interp(inside, node, length) + (q - inside) * np.sqrt(1.0 + slope**2)
    return along, across, np.arctan(slope)


def _curve(path, q):
    """Return offset, slope and curvature at distances along the chord; straight beyond the ends."""
    inside = np.clip(q, *path.span_m)
    slope = path.bend(inside, 1)
    curve = np.where(q == inside, path.bend(inside, 2), 0.0)
    return path.bend(inside) + slope * (q - inside), slope, curve


def _length(path, node):
    """Return the length of the curve from the node nearest to the reference. [m]"""
    step = np.sqrt(1.0 + _curve(path, node)[1] ** 2)
    length = np.concatenate([[0.0], np.cumsum(0.5 * (step[1:] + step[:-1]) * np.diff(node))])
    return length - np.interp(0.0, node, length)


def flow_axes(azimuth_rad):
    """Return the rotation (n, 3, 3) from east, north, up to along, across (left), up."""
    azimuth = np.asarray(azimuth_rad, float)
    axes = np.zeros((*azimuth.shape, 3, 3))
    axes[..., 0, 0] = axes[..., 1, 1] = np.sin(azimuth)
    axes[..., 0, 1] = np.cos(azimuth)
    axes[..., 1, 0] = -np.cos(azimuth)
    axes[..., 2, 2] = 1.0
    return axes


def rotate_covariance(covariance_m2, azimuth_rad):
    """Return covariances (n, 3, 3) in along, across, up of those in east, north, up."""
    axes = flow_axes(azimuth_rad)
    return axes @ np.asarray(covariance_m2, float) @ np.swapaxes(axes, -1, -2)
