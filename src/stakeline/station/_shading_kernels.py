"""Compiled shadows of plates, a mast and a box on the points of a panel."""

from ..compiling import njit

NEAR_M = 1e-6  # m; what lies nearer along a ray is the panel itself


@njit
def behind_plate(px, py, pz, sx, sy, sz, plate):
    """Return whether a plate hides the Sun from a point.

    ``plate``: middle, unit vectors across and up, half edges, (11,).
    """
    nx = plate[4] * plate[8] - plate[5] * plate[7]
    ny = plate[5] * plate[6] - plate[3] * plate[8]
    nz = plate[3] * plate[7] - plate[4] * plate[6]
    toward = sx * nx + sy * ny + sz * nz
    if abs(toward) < 1e-12:
        return False
    dx, dy, dz = plate[0] - px, plate[1] - py, plate[2] - pz
    way = (dx * nx + dy * ny + dz * nz) / toward
    if way <= NEAR_M:
        return False
    dx, dy, dz = way * sx - dx, way * sy - dy, way * sz - dz
    across = dx * plate[3] + dy * plate[4] + dz * plate[5]
    along = dx * plate[6] + dy * plate[7] + dz * plate[8]
    return abs(across) < plate[9] and abs(along) < plate[10]


@njit
def behind_mast(px, py, pz, sx, sy, sz, radius, top):
    """Return whether an upright round mast at the origin hides the Sun from a point."""
    level = (sx * sx + sy * sy) ** 0.5
    if level < 1e-12 or top <= 0.0:
        return False
    way = -(px * sx + py * sy) / level**2
    aside = abs(px * sy - py * sx) / level
    return way > NEAR_M and aside < radius and pz + way * sz < top


@njit
def behind_box(px, py, pz, sx, sy, sz, half_east, half_north, top):
    """Return whether a box that stands around the origin hides the Sun from a point outside.

    A point inside it is on something fixed to its wall: nothing is hidden.
    """
    if abs(px) < half_east and abs(py) < half_north and pz < top:
        return False
    low, high = NEAR_M, 1e9
    for place, step, least, most in (
        (px, sx, -half_east, half_east),
        (py, sy, -half_north, half_north),
        (pz, sz, 0.0, top),
    ):
        if abs(step) < 1e-12:
            if place <= least or place >= most:
                return False
            continue
        a, b = (least - place) / step, (most - place) / step
        low, high = max(low, min(a, b)), min(high, max(a, b))
    return low < high


@njit
def hidden(points, plates, mast, box, sun, out):
    """Fill the share of a panel's points from which the Sun is hidden, (n,).

    ``points`` (k, 3); ``plates`` (p, 11); ``mast``: radius, top; ``box``: half edges east and
    north, top; ``sun`` (n, 3): unit vectors toward it.
    """
    count = points.shape[0]
    for t in range(sun.shape[0]):
        sx, sy, sz = sun[t, 0], sun[t, 1], sun[t, 2]
        dark = 0
        for k in range(count):
            px, py, pz = points[k, 0], points[k, 1], points[k, 2]
            found = behind_mast(px, py, pz, sx, sy, sz, mast[0], mast[1])
            if not found and box[2] > 0.0:
                found = behind_box(px, py, pz, sx, sy, sz, box[0], box[1], box[2])
            j = 0
            while not found and j < plates.shape[0]:
                found = behind_plate(px, py, pz, sx, sy, sz, plates[j])
                j += 1
            dark += found
        out[t] = dark / count
