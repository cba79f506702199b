"""Two points of one station: the ice particle that its pole marks, and the snow surface below it.

The pole moves with the ice (and settles in the firn); the snow surface rises with snowfall and
sinks with melt, wind and settling. The height of the antenna less its height above the snow is
the surface; altimetry sees that one, a lake lifts both.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError
from .rows import checked_times


@dataclass(frozen=True)
class SnowSurface:
    """Height of the snow surface at the times of the distances.

    ``height_m`` (k,) and ``sigma_m`` (k,), NaN where no antenna height lies near enough;
    ``apart_d`` (k,) how far in time the antenna height lies. [m, m, d]
    """

    time_ns: np.ndarray
    height_m: np.ndarray
    sigma_m: np.ndarray
    apart_d: np.ndarray


def snow_surface(
    time_ns, antenna_m, antenna_sigma_m, distance_ns, distance_m, distance_sigma_m, *,
    offset_m=0.0, within_d=0.5,
):  # fmt: skip
    """Join the height of the antenna with its distance from the snow.

    Parameters
    ----------
    time_ns, antenna_m, antenna_sigma_m : array (n,)
        Height of the antenna with nothing taken off, strictly ascending. [ns, m, m]
    distance_ns, distance_m, distance_sigma_m : array (k,)
        Height above the snow by reflections, or by a ranger hung ``offset_m`` above the antenna.
    offset_m : float
        Of the ranger's face above the point whose height is given. [m]
    within_d : float
        The nearest antenna height is taken, none farther off than this; nothing is interpolated.

    Returns
    -------
    SnowSurface
    """
    time_ns = checked_times(time_ns)
    antenna = np.asarray(antenna_m, float)
    antenna_sigma = np.broadcast_to(np.asarray(antenna_sigma_m, float), antenna.shape)
    distance_ns = np.asarray(distance_ns, np.int64)
    distance = np.asarray(distance_m, float)
    if antenna.shape != time_ns.shape or distance.shape != distance_ns.shape:
        raise SettingsError(
            f"{time_ns.shape} times of {antenna.shape} heights, {distance_ns.shape} times of "
            f"{distance.shape} distances; expected one of each"
        )
    whole = np.flatnonzero(np.isfinite(antenna))
    if not whole.size:
        nothing = np.full(distance.shape, np.nan)
        return SnowSurface(distance_ns, nothing, nothing.copy(), nothing.copy())
    after = np.clip(np.searchsorted(time_ns[whole], distance_ns), 1, max(len(whole) - 1, 1))
    pair = whole[np.stack([after - 1, np.minimum(after, len(whole) - 1)])]
    apart = np.abs(time_ns[pair] - distance_ns)
    row = np.where(apart[0] <= apart[1], pair[0], pair[1])
    apart_d = apart.min(axis=0) / NS_PER_DAY
    far = apart_d > within_d
    height = np.where(far, np.nan, antenna[row] + offset_m - distance)
    sigma = np.hypot(antenna_sigma[row], np.asarray(distance_sigma_m, float))
    return SnowSurface(distance_ns, height, np.where(far, np.nan, sigma), apart_d)
