"""Shadows within a station: how much of a panel its neighbours, the mast and the box hide.

Panels are flat rectangles where the design puts them, the mast is an upright cylinder, the box
stands around its foot. A ray goes from points spread evenly over a panel toward the Sun; what it
meets hides the beam (rays against planes, cylinders and boxes: textbooks of geometry).
"""

import numpy as np

from ._shading_kernels import hidden

POINTS = 12  # -; along each edge of a panel; a shadow's edge is off by 1/24 at most, own choice
MOST_POINTS = 720  # -; of all panels of a group together, own choice


def plates_of(group):
    """Return the panels of a group as (count, 11): middle, across, up, half edges. [m]"""
    facing, tilt = np.radians([group.azimuth_deg, group.tilt_deg])
    across = np.array([np.cos(facing), -np.sin(facing), 0.0])
    out = np.array([np.sin(facing), np.cos(facing), 0.0])
    up = np.array([0.0, 0.0, np.sin(tilt)]) - np.cos(tilt) * out
    halves = 0.5 * np.array([group.width_m, group.tall_m])
    same = np.concatenate([across, up, halves])
    return np.column_stack([group.middles_m, np.tile(same, (group.count, 1))])


def sun_vectors(elevation_rad, azimuth_rad):
    """Return unit vectors toward the Sun: east, north, up (n, 3)."""
    flat = np.cos(elevation_rad)
    return np.column_stack(
        [flat * np.sin(azimuth_rad), flat * np.cos(azimuth_rad), np.sin(elevation_rad)]
    )


def shaded_share(design, group, elevation_rad, azimuth_rad):
    """Return the share of a group's panels that lies in a shadow, their mean (n,).

    Parameters
    ----------
    design : Design
        Its other panels, mast and box throw the shadows.
    group : PlacedPanel
        One of the design's.
    elevation_rad, azimuth_rad : array, shape (n,)
        Of the Sun as seen, refraction included; azimuth from north over east.

    Notes
    -----
    Nothing where the Sun is behind the panel, which has no beam to lose. Shadows of the antenna,
    the guys, the turbine and of snow thrown up are left out, and so is what neighbours take of the
    sky's even light. A panel that reaches into the box, or into a mast nearer than its radius, is
    taken to be fixed to its outside.
    """
    elevation_rad, azimuth_rad = np.asarray(elevation_rad, float), np.asarray(azimuth_rad, float)
    share = np.zeros(elevation_rad.size)
    own = plates_of(group)
    normal = np.cross(own[0, 6:9], own[0, 3:6])
    others = [plates_of(one) for one in design.panels if one is not group]
    others = np.concatenate(others) if others else np.zeros((0, 11))
    mast, box = _mast(design, group), _box(design)
    if not _in_front(own, normal, others, mast, box):
        return share
    sun = sun_vectors(elevation_rad, azimuth_rad)
    lit = sun @ normal > 0.0
    found = np.zeros(int(lit.sum()))
    hidden(_points(own), others, mast, box, np.ascontiguousarray(sun[lit]), found)
    share[lit] = found
    return share


def lost_beam(design, group, elevation_rad, azimuth_rad):
    """Return the share of the beam that a group loses to shadows (n,): area times ``shade_loss``.

    Cells in series lose more than their shaded area (common practice, no source): 2 by default, 1
    is by area, 0 looks at no shadows.
    """
    if group.shade_loss == 0.0:
        return np.zeros(np.asarray(elevation_rad).size)
    share = shaded_share(design, group, elevation_rad, azimuth_rad)
    return np.minimum(group.shade_loss * share, 1.0)


def _mast(design, group):
    """Return radius and top of the mast; top 0 where the panels are fixed to it, in front."""
    diameter, top = design.mast_m
    return np.array([0.5 * diameter, top if abs(group.out_m) > 0.5 * diameter else 0.0])


def _box(design):
    """Return half edges east and north and the top of a box on the surface; top 0 without one."""
    if design.box_depth_m is not None:
        return np.zeros(3)
    east, north, up = design.box.outer_m
    return np.array([0.5 * east, 0.5 * north, up])


def _in_front(own, normal, others, mast, box):
    """Return whether anything reaches in front of the panels' plane: most stations need no rays."""
    far = [middle @ normal for middle in own[:, :3]]
    corners = [np.zeros((0, 3))]
    for a, b in ((-1, -1), (-1, 1), (1, 1), (1, -1)):
        side = others[:, 3:6] * (a * others[:, 9:10]) + others[:, 6:9] * (b * others[:, 10:11])
        corners.append(others[:, :3] + side)
        for half_east, half_north, top in ((mast[0], mast[0], mast[1]), box):
            if top > 0.0:
                place = (a * half_east, b * half_north)
                corners.append(np.array([(*place, 0.0), (*place, top)]))
    return bool((np.concatenate(corners) @ normal > min(far) + 1e-6).any())


def _points(plates):
    """Return points spread evenly over plates (k, 3); fewer on each where there are many."""
    along = int(np.clip(np.sqrt(MOST_POINTS / len(plates)), 3, POINTS))
    node = (np.arange(along) + 0.5) / along * 2.0 - 1.0
    a, b = (grid.ravel()[None, :, None] for grid in np.meshgrid(node, node))
    across, up = plates[:, None, 3:6], plates[:, None, 6:9]
    place = plates[:, None, :3] + a * plates[:, None, 9:10] * across
    return np.ascontiguousarray((place + b * plates[:, None, 10:11] * up).reshape(-1, 3))
