"""Days out of overlapping arcs: near midnight two arcs are blended, so that none jumps."""

from dataclasses import replace

import numpy as np

from ..constants import NS_PER_DAY
from ..earth.ellipsoid import enu_from_xyz, geodetic_from_xyz


def own_weight(time_ns, day_begins_ns, ramp_ns, with_before, with_after):
    """Return the weight of a day's own arc, 0.5 at midnight to 1 a ramp away from it.

    The neighbour's weight is the rest; the two days meet at midnight with the same numbers.
    """
    weight = np.ones(len(time_ns))
    if with_before:
        weight = np.minimum(weight, 0.5 + 0.5 * (time_ns - day_begins_ns) / ramp_ns)
    if with_after:
        ends_ns = day_begins_ns + NS_PER_DAY
        weight = np.minimum(weight, 0.5 + 0.5 * (ends_ns - time_ns) / ramp_ns)
    return weight


def blended(own, neighbours, ramp_ns):
    """Return a day's positions out of its own arc and those before and after it.

    Parameters
    ----------
    own : Positions
        Rows of any time; only those of the day given by ``neighbours`` are returned.
    neighbours : (day_begins_ns, Positions or None, Positions or None)
        The day, and the arcs of the day before and after.
    ramp_ns : int
        Length of the ramp on either side of midnight. [ns]

    Notes
    -----
    Of weight ``w`` and difference ``d`` the covariance is ``w P1 + (1 - w) P2 + w (1 - w) d d'``
    (second moment of a mixture, in east, north, up): never smaller than a mean of the arcs' own,
    since they share their observations.
    """
    day_begins_ns, before, after = neighbours
    inside = (own.time_ns >= day_begins_ns) & (own.time_ns < day_begins_ns + NS_PER_DAY)
    own = rows_of(own, inside)
    for other, flags in ((before, (True, False)), (after, (False, True))):
        if other is not None and other.frame == own.frame:  # precise and broadcast: not mixed
            weight = own_weight(own.time_ns, day_begins_ns, ramp_ns, *flags)
            own = _mix(own, other, weight)
    return own


def rows_of(positions, chosen):
    """Return some rows of a solution."""
    parts = ("time_ns", "position_m", "covariance_m2", "satellites", "state")
    return replace(positions, **{name: getattr(positions, name)[chosen] for name in parts})


def _mix(own, other, weight):
    """Return ``own`` mixed with another arc at the epochs both solve; other rows stay."""
    _, mine, theirs = np.intersect1d(own.time_ns, other.time_ns, return_indices=True)
    both = np.isfinite(own.position_m[mine]).all(axis=1)
    both &= np.isfinite(other.position_m[theirs]).all(axis=1) & (weight[mine] < 1.0)
    mine, theirs = mine[both], theirs[both]
    w = weight[mine][:, None]
    position, covariance = own.position_m.copy(), own.covariance_m2.copy()
    apart = other.position_m[theirs] - own.position_m[mine]
    position[mine] += (1.0 - w) * apart
    latitude, longitude, _ = geodetic_from_xyz(own.position_m[mine])
    local = enu_from_xyz(apart, latitude, longitude)
    spread = (w * (1.0 - w))[..., None] * local[:, :, None] * local[:, None, :]
    mixed = w[..., None] * own.covariance_m2[mine]
    covariance[mine] = mixed + (1.0 - w)[..., None] * other.covariance_m2[theirs] + spread
    return replace(own, position_m=position, covariance_m2=covariance)
