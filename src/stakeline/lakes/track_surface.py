"""The surface along a repeated ground track: a curve along it, and slope and bend across it.

No two passes fly the same line. Tens of metres beside it a slope of a few per cent makes more than
a lake does in a month, so the surface about each track is solved for together with what moves:
height along the track, slope across and curvature across are cubic B-splines (de Boor 1978, A
Practical Guide to Splines, chapter IX) of the distance along it.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline
from scipy.sparse import block_diag, csr_matrix, diags, hstack, identity, vstack

KNOT_M = (160.0, 640.0, 1280.0)  # m; of height, of slope and curvature across; choice
ROUGH_PER_M = 1e-4  # 1/m, sigma of curvature along beforehand; choice
FIRST_ROUGH_PER_M = 2e-5  # 1/m, of curvature across until that along is known; choice
LEAST_ROUGH_PER_M = 2e-6  # 1/m, of curvature across; choice
SLOPE = 0.05  # -, sigma of the slope across beforehand; choice
TIE_REACH_M = 60.0  # m, about a crossing within which two surfaces are one; choice
DEGREE = 3
LEAST_ROWS = 8  # of a track; choice
BESIDE_M = 200.0  # m, longest way from a crossing to the next point of each track; choice


@dataclass(frozen=True, eq=False)
class TrackSurface:
    """The frame and splines of one track.

    ``origin_m`` (2,), ``ahead`` (2,): place and direction; ``bend`` (3,): polynomial of the line
    across the distance along, in km; ``knots``: of the three splines. [m]
    """

    origin_m: np.ndarray
    ahead: np.ndarray
    bend: np.ndarray
    knots: tuple

    @property
    def sizes(self):
        """Numbers of coefficients of the three splines."""
        return tuple(len(k) - DEGREE - 1 for k in self.knots)

    def frame(self, point_m):
        """Return distances (along, across) of points (n, 2), across from the track's line. [m]"""
        off = np.asarray(point_m, float) - self.origin_m
        along = off @ self.ahead
        across = off @ np.array([-self.ahead[1], self.ahead[0]])
        return along, across - np.polyval(self.bend, along / 1e3)

    def design(self, point_m):
        """Return what coefficients do to the height at points: sparse (n, p)."""
        along, across = self.frame(point_m)
        factors = (np.ones(len(along)), across, 0.5 * across**2)
        parts = []
        for knots, factor in zip(self.knots, factors, strict=True):
            inside = np.clip(along, knots[DEGREE], knots[-DEGREE - 1])
            parts.append(diags(factor) @ BSpline.design_matrix(inside, knots, DEGREE))
        return hstack(parts, format="csr")

    def beforehand(self, rough_per_m=FIRST_ROUGH_PER_M):
        """Return rows (r, p) of what is expected to be 0, divided by its sigma.

        ``rough_per_m``: sigma of the curvature across, and of the change of the slope across along
        the track. [1/m]
        """
        height, slope, curve = self.sizes
        steps = [np.diff(k)[DEGREE] for k in self.knots]
        second = diags([1.0, -2.0, 1.0], [0, 1, 2], shape=(height - 2, height))
        first = diags([-1.0, 1.0], [0, 1], shape=(slope - 1, slope))
        slopes = vstack([identity(slope) / SLOPE, first / (rough_per_m * steps[1])])
        parts = [second / (ROUGH_PER_M * steps[0] ** 2), slopes, identity(curve) / rough_per_m]
        return block_diag(parts, format="csr")

    def curvature(self, coefficients):
        """Return curvatures along the track (n,) over steps as wide as the knots across. [1/m]"""
        height = self.sizes[0]
        spline = BSpline(self.knots[0], coefficients[:height], DEGREE)
        step = np.diff(self.knots[1])[DEGREE]
        place = np.arange(self.knots[0][DEGREE], self.knots[0][-DEGREE - 1], step)
        return np.diff(spline(place), 2) / step**2


def track_surface(point_m):
    """Return the :class:`TrackSurface` of the points (n, 2) of all passes over a track. [m]"""
    point = np.asarray(point_m, float)
    origin = np.median(point, axis=0)
    _, _, axes = np.linalg.svd(point - origin, full_matrices=False)
    along = (point - origin) @ axes[0]
    across = (point - origin) @ np.array([-axes[0][1], axes[0][0]])
    bend = np.polyfit(along / 1e3, across, 2)
    knots = []
    for step in KNOT_M:
        cells = max(1, int(np.ceil(np.ptp(along) / step)))
        width = max(np.ptp(along) / cells, 1.0)
        knots.append(along.min() + width * np.arange(-DEGREE, cells + DEGREE + 1))
    return TrackSurface(origin, axes[0], bend, tuple(knots))


def crossings(tracks, point_m):
    """Return (first track, second track, place (2,)) wherever two tracks cross among points.

    Parameters
    ----------
    tracks : sequence of TrackSurface
    point_m : sequence of arrays (n, 2)
        Points of each track. [m]
    """
    found = []
    reach = [t.frame(p)[0] for t, p in zip(tracks, point_m, strict=True)]
    for i, first in enumerate(tracks):
        for j in range(i + 1, len(tracks)):
            second = tracks[j]
            turn = first.ahead[0] * second.ahead[1] - first.ahead[1] * second.ahead[0]
            if abs(turn) < 0.02:
                continue
            off = second.origin_m - first.origin_m
            along = (off[0] * second.ahead[1] - off[1] * second.ahead[0]) / turn
            place = first.origin_m + along * first.ahead
            other = (place - second.origin_m) @ second.ahead
            near = min(np.abs(reach[i] - along).min(), BESIDE_M)
            near = max(near, min(np.abs(reach[j] - other).min(), BESIDE_M))
            if near < BESIDE_M:
                found.append((i, j, place))
    return found


def tied(tracks, places, sigma_m):
    """Return rows (r, p) that say: where tracks cross, their surfaces are one, slopes too.

    ``places`` as of :func:`crossings`; divided by ``sigma_m``.
    """
    sizes = [sum(t.sizes) for t in tracks]
    first = np.concatenate([[0], np.cumsum(sizes)])
    around = TIE_REACH_M * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]], float)
    rows = []
    for i, j, place in places:
        parts = [tracks[k].design(place + around).tocoo() for k in (i, j)]
        row = np.concatenate([part.row for part in parts])
        column = np.concatenate([parts[0].col + first[i], parts[1].col + first[j]])
        value = np.concatenate([parts[0].data, -parts[1].data]) / sigma_m
        rows.append(csr_matrix((value, (row, column)), (len(around), first[-1])))
    return vstack(rows, format="csr") if rows else csr_matrix((0, first[-1]))
