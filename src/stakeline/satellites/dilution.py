"""What a site sees of the satellites above its skyline, and how well they fix a position."""

from dataclasses import dataclass

import numpy as np

from ..earth.ellipsoid import enu_from_xyz, xyz_from_geodetic
from ..errors import SettingsError
from ..tables import SYSTEMS

AXES = 3
PHASE_M, CODE_M = 0.01, 1.0  # m, at the zenith, free of the ionosphere; common practice, no source
ZENITH_DELAY_M = 0.1  # m, of the delay not known beforehand; common practice, no source
LEAST_SINE = 0.1  # -, floor of the elevation's sine in weights and mapping, own choice
FREE = 1e-12  # what stands for no weight at all


@dataclass(frozen=True)
class SkyView:
    """Satellites over a site at n epochs.

    Attributes
    ----------
    satellites : int array, shape (m,)
    azimuth_rad, elevation_rad : array, shape (n, m)
        NaN where a satellite has no position.
    seen : bool array, shape (n, m)
        Above both the mask and the skyline.
    dop : array, shape (n, 4)
        Dilution of position, of the level, of height, and of a clock; NaN where there are too few.
    """

    satellites: np.ndarray
    azimuth_rad: np.ndarray
    elevation_rad: np.ndarray
    seen: np.ndarray
    dop: np.ndarray

    @property
    def count(self):
        """Satellites seen, (n,)."""
        return self.seen.sum(axis=1)

    def count_of(self, letter):
        """Return the satellites of one system seen, (n,)."""
        return self.seen[:, self.satellites // 100 == SYSTEMS.index(letter)].sum(axis=1)


def sky_view(satellites, position_m, place, *, mask_rad, skyline=None):
    """Return the :class:`SkyView` of a place.

    Parameters
    ----------
    satellites : int array, shape (m,)
    position_m : array, shape (n, m, 3)
        Earth-fixed.
    place : tuple
        Latitude, longitude [rad], height [m].
    mask_rad : float
        Lowest elevation used.
    skyline : callable, optional
        Height of the skyline by azimuth. [rad]

    Notes
    -----
    Cofactors of (A^T A)^-1, rows of A the direction cosines in east, north, up and one clock for
    each system seen (Langley 1999, GPS World 10(5), 52, with one clock): with one more clock a
    system a position is a little worse than with one for all. Too few are fewer than three and one
    for each system.
    """
    position = np.asarray(position_m, float)
    if position.ndim != 3 or position.shape[1:] != (len(satellites), 3):
        raise SettingsError(
            f"positions {position.shape} of {len(satellites)} satellites: expected (epochs, "
            "satellites, 3)"
        )
    if not 0.0 <= mask_rad < 0.5 * np.pi:
        raise SettingsError(f"mask {np.degrees(mask_rad):g} deg: expected 0 to below 90")
    azimuth, elevation, unit = directions(position, place)
    lowest = np.full(azimuth.shape, mask_rad)
    if skyline is not None:
        lowest = np.maximum(lowest, skyline(np.where(np.isfinite(azimuth), azimuth, 0.0)))
    with np.errstate(invalid="ignore"):
        seen = np.isfinite(elevation) & (elevation >= lowest)
    satellites = np.asarray(satellites, np.int64)
    return SkyView(satellites, azimuth, elevation, seen, _dops(satellites, unit, seen))


def directions(position_m, place):
    """Return azimuth, elevation (n, m) and unit vectors east, north, up (n, m, 3) to satellites."""
    latitude, longitude, height = place
    here = xyz_from_geodetic(latitude, longitude, height)
    local = np.asarray(enu_from_xyz(position_m - here, latitude, longitude))
    unit = local / np.linalg.norm(local, axis=-1, keepdims=True)
    azimuth = np.arctan2(unit[..., 0], unit[..., 1]) % (2.0 * np.pi)
    return azimuth, np.arcsin(unit[..., 2]), unit


def _design(satellites, unit, seen):
    """Return rows of directions and a clock for each system, 0 where not seen (n, m, 3 + s)."""
    systems = np.unique(satellites // 100)
    clock = (satellites[:, None] // 100 == systems).astype(float)
    rows = np.concatenate([-unit, np.broadcast_to(clock, (*unit.shape[:2], systems.size))], axis=2)
    return np.where(seen[..., None], rows, 0.0)


def _dops(satellites, unit, seen):
    rows = _design(satellites, unit, seen)
    normal = rows.transpose(0, 2, 1) @ rows
    unseen = np.diagonal(normal, axis1=1, axis2=2)[:, AXES:] == 0.0
    k = np.arange(unseen.shape[1]) + AXES
    normal[:, k, k] += unseen  # a clock that nothing sees
    enough = seen.sum(axis=1) >= AXES + (~unseen).sum(axis=1)
    enough &= np.linalg.cond(np.where(enough[:, None, None], normal, np.eye(len(normal[0])))) < 1e9
    found = np.full((len(rows), 4), np.nan)
    if enough.any():
        of = np.diagonal(np.linalg.inv(normal[enough]), axis1=1, axis2=2)
        clock = np.where(unseen[enough], np.inf, of[:, AXES:]).min(axis=1)
        parts = [of[:, :3].sum(axis=1), of[:, :2].sum(axis=1), of[:, 2], clock]
        found[enough] = np.sqrt(np.stack(parts, axis=1))
    return found


def block_sigma_m(view, first, count):
    """Return the sigma of one position (3,) from a block of epochs: east, north, up. [m]

    Phases with an unknown ambiguity for each satellite, codes, a clock for each system and epoch,
    and one zenith delay; the place stands still. White noise only: what real receivers have on top
    (reflections, orbits) is slower and makes short blocks worse.

    Parameters
    ----------
    view : SkyView
    first, count : int
        Epochs of the block. An ambiguity lasts as long as the block: no satellite is lost and found
        again in it.

    Raises
    ------
    SettingsError
        For a block that is not in the view.
    """
    if not (first >= 0 and count > 0 and first + count <= len(view.seen)):
        raise SettingsError(f"epochs {first} to {first + count}: there are {len(view.seen)}")
    part = slice(first, first + count)
    seen, elevation = view.seen[part], view.elevation_rad[part]
    used = seen.any(axis=0)
    satellites = view.satellites[used]
    normal = _block_normal(satellites, view.azimuth_rad[part][:, used], elevation[:, used],
                           seen[:, used])  # fmt: skip
    return np.sqrt(np.diagonal(np.linalg.inv(normal))[:AXES])


def _block_normal(satellites, azimuth, elevation, seen):
    """Return the normal equations of place, zenith delay, ambiguities; clocks taken out."""
    size = AXES + 1 + satellites.size
    normal = np.diag(np.r_[np.zeros(AXES), ZENITH_DELAY_M**-2, np.full(satellites.size, FREE)])
    systems = satellites // 100
    for at, up, there in zip(azimuth, elevation, seen, strict=True):
        sine = np.maximum(np.sin(up[there]), LEAST_SINE)
        level = np.cos(up[there])
        rows = np.zeros((2 * there.sum(), size))
        half = len(rows) // 2
        rows[:half, 0], rows[:half, 1] = -level * np.sin(at[there]), -level * np.cos(at[there])
        rows[:half, 2], rows[:half, 3] = -np.sin(up[there]), 1.0 / sine
        rows[half:] = rows[:half]
        rows[np.arange(half), AXES + 1 + np.flatnonzero(there)] = 1.0
        weight = np.r_[(sine / PHASE_M) ** 2, (sine / CODE_M) ** 2]
        clock = (np.tile(systems[there], 2)[:, None] == np.unique(systems[there])).astype(float)
        across = rows.T * weight
        coupling = across @ clock
        normal += across @ rows - coupling @ (coupling / (clock.T @ weight)[None, :]).T
    return normal
