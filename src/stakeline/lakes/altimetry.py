"""The level of a lake from repeated satellite passes, relative to the ground around it.

Of every height h at place x in pass p,

    h = z(x + e_p) + a(x) L_p + d(x) M_p + b_p + noise

z: the surface about each track (:mod:`~.track_surface`), a: the pattern of motion over the lake
(:mod:`~.motion_pattern`), mean 1 over its outline and small beyond a distance, L_p: the mean level,
M_p: how much the ice is still bent as a plate, d: that bend, b_p: what the whole pass is off, known
from the ground around, e_p: what its places are off. How far M_p may lie from 0 is taken from what
is found for each pass (Tipping 2001, J. Mach. Learn. Res. 1: automatic relevance). All are solved
together by least squares, robustly; where tracks cross, their surfaces are tied, else the levels of
different tracks have no common zero (and their covariance says so).
"""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_S
from ..errors import SettingsError, SolutionError
from ._pass_solution import solve_passes
from .levels import Levels
from .motion_pattern import pattern_of
from .track_surface import LEAST_ROWS, crossings, track_surface

LEAST_INSIDE = 10  # points of a pass over the lake; choice
APART_M = 2000.0  # m, the same where the ice is not told; choice
APART_SHARE = 2.5  # -, of the ice thickness, beyond which nothing moves; from response.py; choice


@dataclass(frozen=True)
class AltimetrySettings:
    """How passes become levels; our choices.

    ``apart_m``: from the margin to the ground that does not move with the lake (None: 2.5 ice
    thicknesses, 2 km where the ice is not told); ``outer_m``: how far that ground reaches.
    ``pass_gap_s``: a pause longer than this begins a new pass. ``bias_sigma_m``: of a whole pass.
    ``place_sigma_m``: of the places of a pass, common to it. ``tie_sigma_m``: of the surface where
    tracks cross. ``level_sigma_m``: of levels beforehand. ``widest_m``: passes further from their
    track's line than this are no repeats. ``wild_m``: a height further from its neighbours is none
    of the surface. ``sigma_m``: of a point whose maker tells none.
    """

    apart_m: float | None = None
    outer_m: float = 10_000.0
    pass_gap_s: float = 600.0
    bias_sigma_m: float = 0.3
    place_sigma_m: float = 5.0
    tie_sigma_m: float = 0.03
    level_sigma_m: float = 30.0
    widest_m: float = 400.0
    wild_m: float = 30.0
    sigma_m: float = 0.15


@dataclass(frozen=True, eq=False)
class SurfacePoints:
    """Heights on one map and of one datum.

    ``time_ns`` (n,) GPS time; ``point_m`` (n, 2) on map ``epsg``; ``height_m``, ``sigma_m`` (NaN:
    not told), ``track``, ``cycle`` (n,).
    """

    time_ns: np.ndarray
    point_m: np.ndarray
    height_m: np.ndarray
    sigma_m: np.ndarray
    track: np.ndarray
    cycle: np.ndarray
    epsg: int | None

    def chosen(self, rows):
        """Return the points of rows, a mask or numbers."""
        columns = ("time_ns", "point_m", "height_m", "sigma_m", "track", "cycle")
        return replace(self, **{name: getattr(self, name)[rows] for name in columns})


@dataclass(frozen=True, eq=False)
class LakeLevels(Levels):
    """Levels of a lake, one for each pass over it.

    Attributes
    ----------
    lake : str
    time_ns, cycle : int arrays, shape (p,)
    tracks : tuple of str, length p
        Numbers of the tracks of each pass.
    level_m : array, shape (p,)
        Mean of the surface over the lake relative to the ground around; its zero is free. [m]
    bend_m : array, shape (p,)
        How much the ice was still bent as a plate. [m]
    nodes : array, shape (k,)
        Of the pattern.
    covariance : array, shape (2 p + k, 2 p + k)
        Of levels, bends, nodes. The free zero is in it: look at differences. Honest for noise that
        is white or correlated along a track as the residuals are, and for errors of place and of
        height common to a pass.
    inside, around : int arrays, shape (p,)
        Points of each pass over the lake and on the ground around.
    bias_m : array, shape (p,)
        What each pass was found to be off. [m]
    misfit, correlated : float
        Residuals over their stated sigma; by how much correlation along tracks widens variances.
    """

    lake: str
    time_ns: np.ndarray
    cycle: np.ndarray
    tracks: tuple
    level_m: np.ndarray
    inside: np.ndarray
    around: np.ndarray
    bend_m: np.ndarray
    bias_m: np.ndarray
    nodes: np.ndarray
    covariance: np.ndarray
    misfit: float
    correlated: float
    pattern: object
    notes: tuple

    @property
    def covariance_m2(self):
        """Covariance of the levels (p, p). [m2]"""
        return self.covariance[: len(self), : len(self)]

    def share(self, point_m):
        """Return (motion at a map point (2,) for 1 m of mean level, its sigma)."""
        point = np.atleast_2d(np.asarray(point_m, float))
        row = self.pattern.weights(point)[0]
        k = len(self.nodes)
        variance = row @ self.covariance[-k:, -k:] @ row
        return float(self.pattern.base(point)[0] + row @ self.nodes), float(np.sqrt(variance))

    def at(self, point_m):
        """Return (heights (p,), covariance (p, p)) at a map point (2,) as the levels tell. [m]"""
        point = np.atleast_2d(np.asarray(point_m, float))
        share, bend = self.share(point_m)[0], float(self.pattern.bend(point)[0])
        nodes = np.outer(self.level_m, self.pattern.weights(point)[0])
        one = np.eye(len(self))
        rows = np.hstack([share * one, bend * one, nodes])
        height = share * self.level_m + bend * self.bend_m
        return height, rows @ self.covariance @ rows.T


def passes_of(time_ns, gap_s):
    """Return the number of the pass of each time (n,), rising from 0."""
    time_ns = np.asarray(time_ns, np.int64)
    order = np.argsort(time_ns, kind="stable")
    new = np.diff(time_ns[order], prepend=time_ns[order[:1]]) > gap_s * NS_PER_S
    number = np.empty(len(time_ns), np.int64)
    number[order] = np.cumsum(new)
    return number


def lake_levels(points, outline, ice=None, settings=None, others=()):
    """Return the :class:`LakeLevels` of a lake.

    Parameters
    ----------
    points : SurfacePoints
    outline : Outline
    ice : Ice, optional
        Above the lake.
    settings : AltimetrySettings, optional
    others : sequence of Outline
        Other lakes, whose surroundings are no steady ground either.

    Raises
    ------
    SettingsError
        Where points and outline are not of one map.
    SolutionError
        Where fewer than two passes see lake and ground.
    """
    settings = settings or AltimetrySettings()
    if points.epsg != outline.epsg:
        raise SettingsError(
            f"lake {outline.name} on EPSG:{outline.epsg}, altimetry on EPSG:{points.epsg}; "
            "bring both to one map"
        )
    apart = settings.apart_m or (APART_SHARE * ice.thickness_m if ice else APART_M)
    pattern = pattern_of(outline, apart, ice)
    rows, notes = _near(points, outline, others, apart, settings)
    near = points.chosen(rows)
    near, number, notes = _seen(near, outline, settings, notes)
    tracks, near, number, notes = _tracks(near, outline, number, settings, notes)
    place = outline.true_m(near.point_m)
    surfaces = [track_surface(place[near.track == k]) for k in range(len(tracks))]
    ties = crossings(surfaces, [place[near.track == k] for k in range(len(tracks))])
    if len(tracks) > 1 and not ties:
        notes += ("no tracks cross: levels of different tracks have no common zero",)
    return _levels(outline, near, place, number, tracks, surfaces, ties, pattern, settings, notes)


def _levels(outline, near, place, number, tracks, surfaces, ties, pattern, settings, notes):
    """Solve and gather."""
    stated = np.where(np.isfinite(near.sigma_m), near.sigma_m, settings.sigma_m)
    found = solve_passes(near, place, number, stated, surfaces, ties, pattern, settings)
    count = number.max() + 1
    inside = outline.contains(near.point_m)
    around = outline.margin_m(near.point_m) <= -pattern.apart_m
    time_ns = [int(np.median(near.time_ns[(number == p) & inside])) for p in range(count)]
    names = tuple(
        " ".join(str(tracks[k]) for k in np.unique(near.track[number == p])) for p in range(count)
    )
    cycle = np.array([np.median(near.cycle[number == p]) for p in range(count)]).astype(int)
    numbers = [np.bincount(number[mask], minlength=count) for mask in (inside, around)]
    blind = np.flatnonzero(numbers[1] == 0)
    if blind.size:
        notes += (f"passes that see no ground around, their levels little known: {blind.size}",)
    if found.wild:
        notes += (f"points passed over as unlike all others: {found.wild}",)
    return LakeLevels(
        outline.name, np.array(time_ns, np.int64), cycle, names, found.level_m, *numbers,
        found.bend_m, found.bias_m, found.nodes, found.covariance, found.misfit,
        found.correlated, pattern, notes,
    )  # fmt: skip


def _near(points, outline, others, apart, settings):
    """Return (rows about the lake that no other lake moves, notes)."""
    size = outline.radius_m + np.ptp(outline.true_m(outline.ring_m), axis=0).max()
    off = outline.true_m(points.point_m)
    rows = np.flatnonzero(np.hypot(*off.T) < size + settings.outer_m)
    margin = outline.margin_m(points.point_m[rows])
    rows, margin = rows[margin > -settings.outer_m], margin[margin > -settings.outer_m]
    taken = np.zeros(len(rows), bool)
    for other in others:
        taken |= other.margin_m(points.point_m[rows]) > -apart
    taken &= margin <= -apart
    notes = (f"points near another lake left out: {int(taken.sum())}",) if taken.any() else ()
    return rows[~taken], notes


def _seen(near, outline, settings, notes):
    """Return (points of passes over the lake, number of each's pass, notes)."""
    number = passes_of(near.time_ns, settings.pass_gap_s)
    if len(near.time_ns):
        inside = np.bincount(number, outline.contains(near.point_m))
        good = inside >= LEAST_INSIDE
        few = int((~good & (inside > 0)).sum())
        if few:
            notes += (f"passes with fewer than {LEAST_INSIDE} points over the lake: {few}",)
        kept = good[number]
        near, number = near.chosen(kept), np.unique(number[kept], return_inverse=True)[1]
    if len(np.unique(number)) < 2:
        raise SolutionError(
            f"lake {outline.name}: {len(np.unique(number))} passes with {LEAST_INSIDE} points over "
            "it; a change of level needs two"
        )
    return near, number, notes


def _tracks(near, outline, number, settings, notes):
    """Return (track numbers, points renumbered by track, passes, notes); odd points left out."""
    kept = np.zeros(len(near.time_ns), bool)
    wide = 0
    for track in np.unique(near.track):
        rows = np.flatnonzero(near.track == track)
        rows = rows[_tame(near, outline, rows, settings.wild_m)]
        if len(rows) < LEAST_ROWS:
            continue
        _, across = track_surface(outline.true_m(near.point_m[rows])).frame(
            outline.true_m(near.point_m[rows])
        )
        beside = np.abs(across) > settings.widest_m
        wide += int(beside.sum())
        kept[rows[~beside]] = True
    if wide:
        notes += (f"points more than {settings.widest_m:g} m from their track left out: {wide}",)
    near, number = near.chosen(kept), number[kept]
    tracks, renumbered = np.unique(near.track, return_inverse=True)
    passes = np.unique(number, return_inverse=True)[1]
    if not len(tracks) or passes.max() < 1:
        raise SolutionError(
            f"lake {outline.name}: no track with passes that repeat within {settings.widest_m:g} m"
        )
    return tracks, replace(near, track=renumbered), passes, notes


def _tame(near, outline, rows, wild_m):
    """Say which points of a track lie within ``wild_m`` of the median of those near along it."""
    place, height = outline.true_m(near.point_m[rows]), near.height_m[rows]
    _, _, axes = np.linalg.svd(place - place.mean(axis=0), full_matrices=False)
    cell = np.floor(place @ axes[0] / 500.0).astype(int)  # m; choice
    level = np.zeros(len(rows))
    for k in np.unique(cell):
        level[cell == k] = np.median(height[cell == k])
    return np.abs(height - level) < wild_m
