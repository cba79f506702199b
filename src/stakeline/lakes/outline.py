"""Outlines of lakes: rings on a map, with areas and distances in true metres.

A map coordinate is no distance: at 80 S a metre of ice is 0.98 m of the map EPSG:3031. Rings are
kept as they lie on the map; every area and distance is taken in the tangent plane, map metres from
the ring's centre divided by the map's scale there (over a lake of 50 km the scale changes by less
than 1e-3, and its change cancels about the centre to first order).
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.stats import norm

from ..earth.projection import projection
from ..errors import SettingsError

WIDEST_M = 400e3  # m; Lake Vostok, the largest known below ice, is about 250 km long (from memory)
LEAST_POINTS = 3  # of a ring; definition
SMALL_LOOP = 1e-3  # -, share of the area that a loop of tracing may hold; choice
_CELLS_AT_ONCE = 2_000_000  # point-edge pairs held in memory; choice


@dataclass(frozen=True, eq=False)
class Outline:
    """The margin of a lake: one outer ring, and holes (islands of grounded ice).

    Attributes
    ----------
    name : str
    ring_m : array, shape (n, 2)
        Easting, northing on the map, counter-clockwise, first point not repeated. [m]
    holes_m : tuple of arrays (k, 2)
    epsg : int or None
        Map of the ring; None: a plane of true metres.
    """

    name: str
    ring_m: np.ndarray
    holes_m: tuple = ()
    epsg: int | None = None

    def __post_init__(self):
        rings = [_ring(self.name, r) for r in (self.ring_m, *self.holes_m)]
        object.__setattr__(self, "ring_m", rings[0])
        object.__setattr__(self, "holes_m", tuple(rings[1:]))
        for hole in self.holes_m:
            if not inside_ring(self.ring_m, hole).all():
                raise SettingsError(f"outline '{self.name}': a hole lies partly outside its ring")
        size = np.ptp(self.ring_m, axis=0).max()
        if size > WIDEST_M:
            raise SettingsError(
                f"outline '{self.name}' is {size / 1e3:.0f} km wide; no lake below ice is wider "
                f"than {WIDEST_M / 1e3:.0f} km: are the coordinates of this map?"
            )

    @cached_property
    def centre_m(self):
        """Centroid of the outer ring on the map (2,). [m]"""
        return _centroid(self.ring_m)

    @cached_property
    def scale(self):
        """Map metres of one true metre at the centre; no unit."""
        if self.epsg is None:
            return 1.0
        chart = projection(self.epsg)
        latitude, _ = chart.inverse(*self.centre_m)
        return float(chart.point_scale(latitude))

    @property
    def rings_m(self):
        """Outer ring and holes on the map."""
        return (self.ring_m, *self.holes_m)

    @cached_property
    def area_m2(self):
        """True area, without the holes. [m2]"""
        outer, *holes = (abs(_twice_area(r)) / 2.0 for r in self.rings_m)
        return float((outer - sum(holes)) / self.scale**2)

    @property
    def radius_m(self):
        """Radius of the circle of the same area. [m]"""
        return float(np.sqrt(self.area_m2 / np.pi))

    def true_m(self, point_m):
        """Return true metres from the centre, axes of the map, of map points (..., 2). [m]"""
        return (np.asarray(point_m, float) - self.centre_m) / self.scale

    def map_m(self, true_m):
        """Return map points of true metres from the centre (..., 2). [m]"""
        return np.asarray(true_m, float) * self.scale + self.centre_m

    def contains(self, point_m):
        """Say which map points (n, 2) lie over the lake; a point on the margin may be either."""
        point_m = np.atleast_2d(np.asarray(point_m, float))
        within = inside_ring(self.ring_m, point_m)
        for hole in self.holes_m:
            within &= ~inside_ring(hole, point_m)
        return within

    def margin_m(self, point_m):
        """Return the true distance of map points (n, 2) to the margin, positive inside. [m]"""
        point_m = np.atleast_2d(np.asarray(point_m, float))
        away = np.min([ring_distance(ring, point_m) for ring in self.rings_m], axis=0)
        return np.where(self.contains(point_m), away, -away) / self.scale


def outline_from_degrees(name, ring_deg, epsg, holes_deg=()):
    """Return the :class:`Outline` of longitude, latitude rings (n, 2) on a polar map. [deg]

    Raises
    ------
    SettingsError
        Where the numbers are no degrees, look like latitude first, or lie far from the map's pole.
    """
    chart = projection(epsg)
    rings = []
    for ring in (ring_deg, *holes_deg):
        ring = np.asarray(ring, float)
        _refuse_no_degrees(name, ring, chart)
        rings.append(np.stack(chart.forward(*np.radians(ring[:, ::-1].T)), axis=1))
    return Outline(name, rings[0], tuple(rings[1:]), int(epsg))


def outline_from_map(name, ring_m, epsg, holes_m=()):
    """Return the :class:`Outline` of rings (n, 2) in metres of a polar map.

    Raises SettingsError where the numbers look like degrees.
    """
    projection(epsg)
    if _could_be_degrees(np.asarray(ring_m, float)):
        raise SettingsError(
            f"outline '{name}': all numbers are within 360 and 90: these are degrees, not metres "
            f"of EPSG:{epsg}; say so, or give metres"
        )
    return Outline(name, ring_m, tuple(holes_m), int(epsg))


def recognised_outline(name, ring, epsg, holes=(), metres=None):
    """Return (:class:`Outline`, sentence of what was taken) of a ring of degrees or map metres.

    ``metres``: what its file says of the numbers; None where it does not say. Then degrees are
    rings with every longitude within 360 and latitude within 90. A ring in metres could be that
    small only within 0.4 km of the pole. Small loops of tracing are cut off, and the sentence says
    so.

    Raises
    ------
    SettingsError
        Where some points look like degrees and others like metres, where the file says degrees
        and they are not, or as the other makers.
    """
    ring, loops = without_small_loops(ring)
    small = (np.abs(ring[:, 0]) <= 360.0) & (np.abs(ring[:, 1]) <= 90.0)
    if metres is False and not small.all():
        raise SettingsError(
            f"outline '{name}': its file says degrees, and {int((~small).sum())} of {len(ring)} "
            "points cannot be: is it the file of another map?"
        )
    if metres is None and small.any() and not small.all():
        raise SettingsError(
            f"outline '{name}': {int(small.sum())} of {len(ring)} points look like degrees and the "
            "others like metres: give one kind"
        )
    if small.all() and not metres:
        outline = outline_from_degrees(name, ring, epsg, holes)
        said = f"degrees (longitude, latitude), converted to EPSG:{epsg}"
    else:
        outline = outline_from_map(name, ring, epsg, holes)
        said = f"metres of EPSG:{epsg}, scale {outline.scale:.4f} taken out of areas and distances"
    said += f"; {loops} small loops of its ring were cut off" if loops else ""
    return outline, f"outline '{name}' was taken as {said}"


def without_small_loops(ring):
    """Return (ring, number of loops cut off) of a traced ring (n, 2).

    Tracing along cells comes back to a point now and then. Where the part between the two visits
    holds less than a thousandth of the area, it is dropped; else the ring is left as it is.
    """
    ring = np.asarray(ring, float)
    if ring.ndim != 2 or len(ring) < LEAST_POINTS + 1:
        return ring, 0
    ring = ring[:-1] if (ring[0] == ring[-1]).all() else ring
    whole, count, first = abs(_twice_area(ring)), 0, 0
    while first < len(ring):
        again = np.flatnonzero((ring[first + 1 :] == ring[first]).all(axis=1))
        last = first + 1 + again[0] if again.size else first
        inner, outer = ring[first:last], np.vstack([ring[:first], ring[last:]])
        lesser = min(inner, outer, key=lambda part: abs(_twice_area(part)) if len(part) else 0.0)
        if last > first and abs(_twice_area(lesser)) < SMALL_LOOP * whole:
            ring, count = (outer if lesser is inner else inner), count + 1
            first = 0 if lesser is outer else first
        else:
            first += 1
    return ring, count


def same_map(outlines):
    """Return the one map of outlines; SettingsError where they are of several."""
    found = sorted({o.epsg for o in outlines}, key=str)
    if len(found) != 1:
        raise SettingsError(
            f"outlines of several maps together: {', '.join(map(str, found))}; convert to one"
        )
    return found[0]


def ellipse_outline(name, centre_m, half_axes_m, turn_rad=0.0, epsg=None, points=96):
    """Return an ellipse as an :class:`Outline`; half axes in true metres.

    ``turn_rad``: from the map's easting to the first axis, counter-clockwise.
    """
    angle = np.linspace(0.0, 2.0 * np.pi, points, endpoint=False)
    first, second = half_axes_m[0] * np.cos(angle), half_axes_m[1] * np.sin(angle)
    sine, cosine = np.sin(turn_rad), np.cos(turn_rad)
    ring = np.stack([first * cosine - second * sine, first * sine + second * cosine], axis=1)
    # the ring keeps the ellipse's area: a polygon inside it is smaller by sin(x) / x
    ring /= np.sqrt(np.sinc(2.0 / points))
    outline = Outline(name, ring + np.asarray(centre_m, float), (), epsg)
    return replace(outline, ring_m=ring * outline.scale + np.asarray(centre_m, float))


def moved_margin(outline, outward_m):
    """Return the outline with its outer margin moved outward (negative: inward). [m]

    Every point goes along the bisector of its two edges' normals, so that straight margins move
    by exactly ``outward_m``; very sharp corners are cut short.

    Raises
    ------
    SettingsError
        Where the margin would cross itself: the lake is narrower than twice the step.
    """
    ring = outline.true_m(outline.ring_m)
    edge = np.roll(ring, -1, axis=0) - ring
    normal = np.stack([edge[:, 1], -edge[:, 0]], axis=1) / np.hypot(*edge.T)[:, None]
    both = normal + np.roll(normal, 1, axis=0)
    both /= np.maximum((both**2).sum(axis=1, keepdims=True) / 2.0, 0.2)
    moved = outline.map_m(ring + outward_m * both)
    if _twice_area(moved) <= 0.0:
        raise SettingsError(
            f"outline '{outline.name}': moved in by {-outward_m:g} m, no lake is left"
        )
    return replace(outline, ring_m=moved)


def drawn_outlines(outlines, weights, margin_sigma_m, rng, count):
    """Return ``count`` outlines as a sample of what the margin may be.

    Parameters
    ----------
    outlines : sequence of Outline
        Published or own variants of one lake.
    weights : array (k,) or None
        Trust in each; None: equal.
    margin_sigma_m : float
        Sigma by which the whole margin may lie further out or in. [m]
    rng : numpy.random.Generator
    count : int

    Notes
    -----
    Steps lie one in each of ``count`` equal parts of their normal distribution: few draws leave the
    ends out else, and 95 % intervals of 12 free ones hold the truth in 85 % of cases. A step that
    would let the margin cross itself is halved until it does not.
    """
    same_map(outlines)
    share = np.ones(len(outlines)) if weights is None else np.asarray(weights, float)
    if share.shape != (len(outlines),) or not (share >= 0.0).all() or not share.sum() > 0.0:
        raise SettingsError(f"{len(outlines)} outlines, weights {weights}; expected one of each")
    which = rng.choice(len(outlines), count, p=share / share.sum())
    part = (rng.permutation(count) + rng.uniform(size=count)) / count
    steps = margin_sigma_m * norm.ppf(part)
    return tuple(_moved_safely(outlines[k], s) for k, s in zip(which, steps, strict=True))


def _moved_safely(outline, step_m):
    while abs(step_m) > 1e-3:
        try:
            return moved_margin(outline, step_m)
        except SettingsError:
            step_m *= 0.5
    return outline


def inside_ring(ring, point):
    """Say which points (n, 2) lie inside a ring (k, 2), by the crossings of a ray."""
    x, y = np.asarray(point, float).T
    inside = np.zeros(x.shape, bool)
    ahead = np.roll(ring, -1, axis=0)
    for (x0, y0), (x1, y1) in zip(ring, ahead, strict=True):
        if y0 == y1:
            continue
        crossed = (y0 > y) != (y1 > y)
        inside ^= crossed & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
    return inside


def ring_distance(ring, point):
    """Return the distance of points (n, 2) to the nearest edge of a ring."""
    edge = np.roll(ring, -1, axis=0) - ring
    length2 = (edge**2).sum(axis=1)
    found = np.empty(len(point))
    step = max(1, _CELLS_AT_ONCE // len(ring))
    for first in range(0, len(point), step):
        part = point[first : first + step]
        off = part[:, None] - ring
        share = np.clip((off * edge).sum(axis=2) / length2, 0.0, 1.0)
        found[first : first + step] = np.sqrt(
            ((off - share[..., None] * edge) ** 2).sum(axis=2).min(axis=1)
        )
    return found


def _twice_area(ring):
    x, y = (ring - ring[0]).T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _centroid(ring):
    """Return the centroid of a polygon (textbook formula, by triangles from the first point)."""
    x, y = (ring - ring[0]).T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    middle = [np.sum((v + np.roll(v, -1)) * cross) / (3.0 * cross.sum()) for v in (x, y)]
    return ring[0] + np.array(middle)


def _ring(name, ring):
    """Return a ring (n, 2) open, counter-clockwise, without repeats; refuse what is none."""
    ring = np.asarray(ring, float)
    if ring.ndim != 2 or ring.shape[1] != 2 or not np.isfinite(ring).all():
        raise SettingsError(
            f"outline '{name}': ring of shape {ring.shape}; expected finite numbers (n, 2)"
        )
    ring = ring[np.append(True, (np.diff(ring, axis=0) != 0.0).any(axis=1))]
    if len(ring) > 1 and (ring[0] == ring[-1]).all():
        ring = ring[:-1]
    if len(ring) < LEAST_POINTS:
        raise SettingsError(f"outline '{name}': {len(ring)} different points; a ring needs three")
    place = _crossing(ring)
    if place is not None:
        raise SettingsError(
            f"outline '{name}' crosses itself near ({place[0]:.10g}, {place[1]:.10g}); repair the "
            "ring, or give its parts as several outlines"
        )
    return ring if _twice_area(ring) > 0.0 else ring[::-1].copy()


def _crossing(ring):
    """Return a place where two edges that are no neighbours meet; None where there is none."""
    a = ring - ring.mean(axis=0)
    b = np.roll(a, -1, axis=0)
    n = len(a)
    for i in range(n - 2):
        other = np.arange(i + 2, n - 1 if i == 0 else n)
        c, d = a[other], b[other]
        side = [_turn(a[i], b[i], c), _turn(a[i], b[i], d), _turn(c, d, a[i]), _turn(c, d, b[i])]
        hit = (side[0] * side[1] <= 0.0) & (side[2] * side[3] <= 0.0)
        low = np.maximum(np.minimum(a[i], b[i]), np.minimum(c, d))
        high = np.minimum(np.maximum(a[i], b[i]), np.maximum(c, d))
        hit &= (low <= high).all(axis=1)
        if hit.any():
            return 0.5 * (low + high)[np.argmax(hit)] + ring.mean(axis=0)
    return None


def _turn(p, q, r):
    """Return on which side of p-q the point r lies (twice a triangle's area)."""
    u, v = q - p, r - p
    return u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]


def _could_be_degrees(ring):
    return bool((np.abs(ring[:, 0]) <= 360.0).all() and (np.abs(ring[:, 1]) <= 90.0).all())


def _refuse_no_degrees(name, ring, chart):
    if ring.ndim != 2 or ring.shape[1] != 2 or not np.isfinite(ring).all():
        raise SettingsError(f"outline '{name}': ring of shape {ring.shape}; expected (n, 2)")
    if not _could_be_degrees(ring):
        swapped = (np.abs(ring[:, 0]) <= 90.0).all() and (np.abs(ring[:, 1]) <= 360.0).all()
        what = "latitude first: give longitude first" if swapped else "projected metres: say so"
        raise SettingsError(
            f"outline '{name}': ({ring[0, 0]:g}, {ring[0, 1]:g}) is no longitude and latitude in "
            f"degrees; it looks like {what}"
        )
    latitude = chart.pole * ring[:, 1]
    if (latitude < 45.0).any():
        where = "north" if chart.pole > 0.0 else "south"
        raise SettingsError(
            f"outline '{name}' reaches latitude {ring[np.argmin(latitude), 1]:g}; this map holds "
            f"places poleward of 45 deg {where}: another map, or latitude given first?"
        )
