"""Strain rate of the ice between stations: velocity gradient, principal axes, full covariance."""

from dataclasses import dataclass

import numpy as np

from ..errors import SolutionError

SMALLEST_ANGLE_DEG = 30.0  # deg; Cronin & Resor: triangles with a smaller angle are refused there
LARGEST_CONDITION = 3.0  # -; of an isosceles triangle with two angles of 30 deg
_NEARLY_EQUAL = 3.0  # difference of the principal values over its sigma
_DEGENERATE = 1e6  # condition number of stations on a line
# rows: of dvx/dx, dvx/dy, dvy/dx, dvy/dy
_LINEAR = {
    "exx": np.array([1.0, 0.0, 0.0, 0.0]),
    "eyy": np.array([0.0, 0.0, 0.0, 1.0]),
    "exy": np.array([0.0, 0.5, 0.5, 0.0]),
    "rotation": np.array([0.0, -0.5, 0.5, 0.0]),
    "divergence": np.array([1.0, 0.0, 0.0, 1.0]),
    "vertical": np.array([-1.0, 0.0, 0.0, -1.0]),
}


@dataclass(frozen=True)
class Quantity:
    """A number and its standard deviation, in the same unit."""

    value: float
    sigma: float


@dataclass(frozen=True)
class Strain:
    """Velocity gradient of a patch of ice, and what follows from it.

    Rates are per time unit of the velocities given. Signs: extension is positive, rotation is
    counter-clockwise. All sigmas are those of the velocity covariance given, of the scatter about
    a linear field where none was given, and NaN where there is no scatter to judge by.

    Attributes
    ----------
    gradient : array, shape (2, 2)
        dvx/dx, dvx/dy; dvy/dx, dvy/dy.
    covariance : array, shape (4, 4)
        Of the gradient, in that order.
    centre_m, velocity : arrays, shape (2,)
        Weighted centre of the stations, and the velocity there.
    misfit : array, shape (n, 2)
        Velocities minus the linear field.
    reduced_chi2 : float
        Of the misfit against the covariance given; NaN for a triangle, which always fits.
    smallest_angle_deg, condition : float
        Smallest angle of a triangle (NaN for more stations), and ratio of the long to the short
        axis of the set of stations.
    warnings : tuple of str
    """

    gradient: np.ndarray
    covariance: np.ndarray
    centre_m: np.ndarray
    velocity: np.ndarray
    misfit: np.ndarray
    reduced_chi2: float
    smallest_angle_deg: float
    condition: float
    warnings: tuple = ()

    @property
    def exx(self):
        """Extension along x."""
        return self._linear("exx")

    @property
    def eyy(self):
        """Extension along y."""
        return self._linear("eyy")

    @property
    def exy(self):
        """Shear strain rate (half the engineering one)."""
        return self._linear("exy")

    @property
    def rotation(self):
        """Rotation rate, counter-clockwise. [rad per time]"""
        return self._linear("rotation")

    @property
    def divergence(self):
        """Change of area."""
        return self._linear("divergence")

    @property
    def vertical(self):
        """Vertical strain rate of incompressible ice: minus the divergence."""
        return self._linear("vertical")

    @property
    def principal(self):
        """The two principal strain rates (larger, smaller), to first order."""
        middle, radius, row = self._circle()
        half = 0.5 * _LINEAR["divergence"]
        return (
            Quantity(middle + radius, self._sigma(half + row)),
            Quantity(middle - radius, self._sigma(half - row)),
        )

    @property
    def axis_rad(self):
        """Direction of the larger principal rate from x towards y, -pi/2 to pi/2. [rad]"""
        difference, shear = self._halves()
        radius2 = difference**2 + shear**2
        angle = 0.5 * np.arctan2(shear, difference)
        if radius2 == 0.0:
            return Quantity(float(angle), np.pi / np.sqrt(12.0))
        row = 0.5 * (difference * _LINEAR["exy"] - shear * _DIFFERENCE) / radius2
        return Quantity(float(angle), min(self._sigma(row), np.pi / np.sqrt(12.0)))

    @property
    def shear(self):
        """Largest shear strain rate: half the difference of the principal ones."""
        _, radius, row = self._circle()
        return Quantity(radius, self._sigma(row))

    @property
    def effective(self):
        """Effective strain rate: root of half the sum of squares, the vertical among them."""
        xx, yy, xy = self.exx.value, self.eyy.value, self.exy.value
        value = np.sqrt(xx**2 + yy**2 + xx * yy + xy**2)
        if value == 0.0:
            return Quantity(0.0, np.nan)
        row = (xx + 0.5 * yy) * _LINEAR["exx"] + (yy + 0.5 * xx) * _LINEAR["eyy"]
        return Quantity(float(value), self._sigma((row + xy * _LINEAR["exy"]) / value))

    def _linear(self, name):
        row = _LINEAR[name]
        return Quantity(float(row @ self.gradient.ravel()), self._sigma(row))

    def _sigma(self, row):
        return float(np.sqrt(row @ self.covariance @ row))

    def _halves(self):
        """Return half the difference of the extensions, and the shear."""
        return float(_DIFFERENCE @ self.gradient.ravel()), self.exy.value

    def _circle(self):
        """Return middle and radius of Mohr's circle, and the derivative of the radius."""
        difference, shear = self._halves()
        radius = float(np.hypot(difference, shear))
        row = difference * _DIFFERENCE + shear * _LINEAR["exy"]
        return 0.5 * self.divergence.value, radius, row / radius if radius > 0.0 else 0.0 * row


_DIFFERENCE = 0.5 * (_LINEAR["exx"] - _LINEAR["eyy"])


def velocity_gradient(position_m, velocity, covariance=None):
    """Return the :class:`Strain` of three or more stations.

    Three stations give the gradient exactly, more by least squares of a linear field.

    Parameters
    ----------
    position_m : array, shape (n, 2)
        True metres in any right-handed axes, such as east and north; not map coordinates. [m]
    velocity : array, shape (n, 2)
        Along the same axes, metres per any time. Stations with NaN are left out.
    covariance : array, shape (2 n, 2 n) or (n, 2, 2), optional
        Of the velocities, in the order x, y of each station; what stations share (a reference
        station, orbits) cancels only where its correlations are given. Without it the scatter
        about the linear field tells.

    Raises
    ------
    SolutionError
        Where fewer than three stations are there, they stand on a line, or the covariance is not
        one.

    Notes
    -----
    v = v0 + L (x - x0), generalised least squares; covariance of L is (A' C^-1 A)^-1.
    """
    position, velocity, covariance = _good(position_m, velocity, covariance)
    count = len(position)
    whiten = np.eye(2 * count) if covariance is None else _whitening(covariance)
    centre = position.mean(axis=0)
    condition = _condition(position - centre)
    scale_m = np.sqrt(np.mean((position - centre) ** 2))
    design = whiten @ _design((position - centre) / scale_m)
    rows = whiten @ velocity.ravel()
    unknown = np.linalg.lstsq(design, rows, rcond=None)[0]
    unknown_covariance = np.linalg.inv(design.T @ design)
    free = 2 * count - 6
    misfit = velocity - (_design((position - centre) / scale_m) @ unknown).reshape(count, 2)
    chi2 = float(np.sum((rows - design @ unknown) ** 2)) / free if free else np.nan
    if covariance is None:
        unknown_covariance = unknown_covariance * chi2
    strain = Strain(
        gradient=unknown[2:].reshape(2, 2) / scale_m,
        covariance=unknown_covariance[2:, 2:] / scale_m**2,
        centre_m=centre,
        velocity=unknown[:2],
        misfit=misfit,
        reduced_chi2=np.nan if covariance is None else chi2,
        smallest_angle_deg=smallest_angle_deg(position) if count == 3 else np.nan,
        condition=condition,
    )
    return Strain(**{**vars(strain), "warnings": _warnings(strain)})


def smallest_angle_deg(corner_m):
    """Return the smallest angle of a triangle of corners (3, 2). [deg]"""
    corner = np.asarray(corner_m, float)
    one = np.roll(corner, -1, axis=0) - corner
    two = np.roll(corner, 1, axis=0) - corner
    cross = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    return float(np.degrees(np.arctan2(np.abs(cross), np.sum(one * two, axis=1)).min()))


def rotated(strain_axis_rad, x_azimuth_rad):
    """Return the azimuth, clockwise from north, of an axis given from x towards y; 0 to pi. [rad]

    ``x_azimuth_rad`` is the azimuth of x (pi/2 for east, north axes; the flow's azimuth for axes
    along and across to the left).
    """
    return float(np.mod(x_azimuth_rad - strain_axis_rad, np.pi))


def _good(position, velocity, covariance):
    """Return positions, velocities and full covariance of the stations that are there."""
    position, velocity = np.asarray(position, float), np.asarray(velocity, float)
    count = len(position)
    if position.shape != (count, 2) or velocity.shape != (count, 2):
        raise SolutionError(
            f"strain of positions {position.shape} and velocities {velocity.shape}: give x and y "
            "of each station and its velocity along both"
        )
    there = np.isfinite(position).all(axis=1) & np.isfinite(velocity).all(axis=1)
    if there.sum() < 3:
        raise SolutionError(f"strain needs 3 stations with a velocity; {there.sum()} are there")
    if covariance is not None:
        pick = np.repeat(there, 2)
        covariance = _full(np.asarray(covariance, float), count)[np.ix_(pick, pick)]
    return position[there], velocity[there], covariance


def _full(covariance, count):
    """Return the covariance (2 n, 2 n) of one given whole or station by station."""
    if covariance.shape == (count, 2, 2):
        full = np.zeros((2 * count, 2 * count))
        for k in range(count):
            full[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] = covariance[k]
        return full
    if covariance.shape != (2 * count, 2 * count):
        raise SolutionError(
            f"velocity covariance {covariance.shape} of {count} stations: give "
            f"({2 * count}, {2 * count}), or ({count}, 2, 2) where stations are independent"
        )
    return covariance


def _whitening(covariance):
    """Return the matrix that makes errors independent and of size one."""
    try:
        root = np.linalg.cholesky(covariance)
    except np.linalg.LinAlgError:
        root = None
    if root is None or not np.isfinite(root).all():
        raise SolutionError(
            "the velocity covariance is not positive definite: its sigmas must be above zero and "
            "its correlations below one"
        )
    return np.linalg.inv(root)


def _design(offset):
    """Return the design (2 n, 6): v0x, v0y, Lxx, Lxy, Lyx, Lyy."""
    design = np.zeros((len(offset), 2, 6))
    design[:, 0, 0] = design[:, 1, 1] = 1.0
    design[:, 0, 2:4] = design[:, 1, 4:6] = offset
    return design.reshape(-1, 6)


def _condition(offset_m):
    """Return the ratio of the axes of a set of stations; SolutionError for a line or a point."""
    singular = np.linalg.svd(offset_m, compute_uv=False)
    if singular[0] == 0.0 or singular[0] > _DEGENERATE * singular[1]:
        raise SolutionError(
            f"the {len(offset_m)} stations stand on a line or a point: no strain across it can be "
            "known; add a station beside the line"
        )
    return float(singular[0] / singular[1])


def _warnings(strain):
    """Return sentences a person should read beside the numbers."""
    said = []
    if strain.smallest_angle_deg < SMALLEST_ANGLE_DEG:
        said.append(
            f"poor shape: smallest angle {strain.smallest_angle_deg:.1f} deg, under "
            f"{SMALLEST_ANGLE_DEG:.0f} deg"
        )
    if strain.condition > LARGEST_CONDITION * (1.0 + 1e-9):
        said.append(
            f"poor shape: stations are {strain.condition:.1f} times longer than wide; strain "
            "across the long side is weak"
        )
    shear = strain.shear
    if not shear.value > _NEARLY_EQUAL * shear.sigma and np.isfinite(shear.sigma):
        said.append(
            "the principal strain rates are nearly equal within their errors: their direction is "
            "not known, and the larger is too large, the smaller too small on average"
        )
    if np.isnan(shear.sigma):
        said.append("no uncertainty: a triangle always fits; give the covariance of the velocities")
    return tuple(said)
