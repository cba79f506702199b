"""Water routes with a probability: many beds, surfaces and water pressures that may all be true."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial

import numpy as np

from ..constants import FRESH_WATER_KG_M3, ICE_KG_M3
from ..errors import SettingsError
from .grid import checked_field
from .paths import beside, check_lake, follow, lakes_on, parting_m
from .potential import check_flotation, check_heights
from .random_fields import ErrorField
from .routing import ENDS, Cells, Drainage, accumulate, catchments, cells_of, drain

WEIGHT = np.float32(ICE_KG_M3 / FRESH_WATER_KG_M3)


@dataclass(frozen=True, eq=False)
class WaterCase:
    """Surface, bed and lakes on one grid: all that a route hangs on.

    Attributes
    ----------
    cells : Cells
    surface_m, bed_m : arrays of 32-bit numbers, shape (m, n)
        Above the geoid where one was given. [m]
    names : tuple of str
    places : array of int, shape (m, n)
        Number of the lake, from 1 on in the order of ``names``; 0 none.
    """

    cells: Cells
    surface_m: np.ndarray
    bed_m: np.ndarray
    names: tuple
    places: np.ndarray

    def lake(self, k):
        """Return True (m, n) in lake ``k``, counted from 0."""
        return self.places == k + 1


def water_case(grid, surface_m, bed_m, outlines, *, geoid_m=0.0, ends=None, on_holes="refuse"):
    """Return :class:`WaterCase`, everything checked.

    Parameters
    ----------
    grid : MapGrid
    surface_m, bed_m : arrays, shape (m, n)
        Heights above the same; NaN is missing. [m]
    outlines : sequence of Outline
        Lakes on the grid's map, with names of their own, not overlapping.
    geoid_m : float or array, optional
        See :func:`~stakeline.lakes.potential.hydraulic_head_m`. [m]
    ends, on_holes
        See :func:`~stakeline.lakes.routing.cells_of`.

    Raises
    ------
    SettingsError
        For grids that differ in shape, heights that cannot belong together, holes, no lake, or
        lakes that overlap, share a name, leave the grid or hold cells without data.
    """
    surface = checked_field(grid, surface_m, "the surface", np.float32) - np.float32(geoid_m)
    bed = checked_field(grid, bed_m, "the bed", np.float32) - np.float32(geoid_m)
    check_heights(surface, bed)
    names = tuple(outline.name for outline in outlines)
    if not names or len(set(names)) < len(names):
        raise SettingsError(f"lakes {list(names)}; expected one or more, each with its own name")
    cells = cells_of(grid, ~np.isfinite(surface + bed), ends, on_holes)
    places = np.zeros(grid.shape, np.int32)
    for k, outline in enumerate(outlines):
        lake = grid.inside(outline)
        check_lake(cells, lake, outline.name)
        if places[lake].any():
            other = names[places[lake].max() - 1]
            raise SettingsError(f"lakes '{other}' and '{outline.name}' overlap: join or cut them")
        places[lake] = k + 1
    return WaterCase(cells, surface, bed, names, places)


def drained(case, flotation=1.0, bed_change_m=0.0, surface_change_m=0.0):
    """Return :class:`~stakeline.lakes.routing.Drainage` of a case, with heights changed.

    Raises SettingsError for a flotation outside 0 to 1.
    """
    check_flotation(flotation)
    bed = case.bed_m + np.float32(bed_change_m)
    thickness = np.maximum(case.surface_m + np.float32(surface_change_m) - bed, 0.0)
    return drain(case.cells, bed + np.float32(flotation) * WEIGHT * thickness)


@dataclass(frozen=True, eq=False)
class Way:
    """The water of one head.

    Attributes
    ----------
    drainage : Drainage
    routes : tuple of Route
        One of each lake.
    catchment_m2 : array, shape (lakes,)
        True area that drains to a lake before any other, its own included.
    """

    drainage: Drainage
    routes: tuple
    catchment_m2: np.ndarray


def way(case, flotation=1.0, bed_change_m=0.0, surface_change_m=0.0):
    """Return the :class:`Way` of the water in a case, with heights changed or as they are."""
    drainage = drained(case, flotation, bed_change_m, surface_change_m)
    number = catchments(drainage, case.places)
    area = np.bincount(
        np.maximum(number, 0).ravel(), case.cells.grid.cell_area_m2.ravel(), len(case.names) + 1
    )
    return Way(drainage, _routes(case, drainage), area[1:])


def _routes(case, drainage):
    return tuple(follow(drainage, case.lake(k), name) for k, name in enumerate(case.names))


@dataclass(frozen=True, eq=False)
class WhatIf:
    """The water before and after a change of the surface.

    Attributes
    ----------
    before, after : Way
    parting_m : array, shape (lakes,)
        Distance from the outlet at which the new route leaves the old one; NaN: it does not. [m]
    """

    before: Way
    after: Way
    parting_m: np.ndarray


def what_if(case, surface_change_m, flotation=1.0, tolerance_m=2000.0):
    """Return :class:`WhatIf` under a changed surface (m, n) or a number. [m]

    A route counts as left where the new one lies farther off than ``tolerance_m``.
    """
    before, after = way(case, flotation), way(case, flotation, 0.0, surface_change_m)
    parting = [
        parting_m(old, new, tolerance_m)
        for old, new in zip(before.routes, after.routes, strict=True)
    ]
    return WhatIf(before, after, np.array(parting))


@dataclass(frozen=True, eq=False)
class Doubt:
    """What may be wrong: error of the bed, of the surface, and the range of flotation.

    ``flotation`` is (least, most): each realisation has one value between them, all alike likely.
    """

    bed: ErrorField | None = None
    surface: ErrorField | None = None
    flotation: tuple = (1.0, 1.0)

    def __post_init__(self):
        check_flotation(self.flotation)
        if len(self.flotation) != 2 or self.flotation[0] > self.flotation[1]:
            raise SettingsError(f"flotation {self.flotation}; expected (least, most)")


@dataclass(frozen=True, eq=False)
class Realisation:
    """One head that may be true: its routes, what they meet, and the upstream area."""

    flotation: float
    cells: tuple
    along_m: np.ndarray
    off_m: np.ndarray
    meets: np.ndarray
    end: np.ndarray
    length_m: np.ndarray
    upstream_m2: np.ndarray


@dataclass(frozen=True, eq=False)
class RouteOdds:
    """How likely routes are.

    Every probability is a share of ``count`` realisations: its own standard error is
    ``sqrt(p (1 - p) / count)``. It is honest where the errors given are.

    Attributes
    ----------
    names : tuple of str
        The lakes.
    on_route : array, shape (lakes, m, n)
        Share of realisations in which a lake's route crosses a cell (or comes within the width
        that was asked for).
    mean_upstream_m2 : array, shape (m, n)
        Mean upstream area, by partial flow; NaN where missing.
    meets : array, shape (lakes, lakes)
        Share in which the route of the first lake enters the second.
    ends : array, shape (lakes, 4)
        Share by the words of :data:`~stakeline.lakes.routing.ENDS`.
    along_m, off_m : arrays, shape (count, lakes, stations)
        As in :class:`~stakeline.lakes.paths.Beside`.
    length_m : array, shape (count, lakes)
    flotation : array, shape (count,)
    """

    names: tuple
    on_route: np.ndarray
    mean_upstream_m2: np.ndarray
    meets: np.ndarray
    ends: np.ndarray
    along_m: np.ndarray
    off_m: np.ndarray
    length_m: np.ndarray
    flotation: np.ndarray

    @property
    def count(self):
        """Number of realisations."""
        return self.flotation.size

    def passed(self, reach_m):
        """Return True (count, lakes, stations) where a route passes within a distance."""
        return (np.abs(self.off_m) <= reach_m) & (self.along_m >= 0.0)

    def upstream(self, reach_m=2000.0):
        """Return the probability (lakes, stations) that a lake lies upstream of a station.

        That is: that its route passes within ``reach_m`` of the station.
        """
        return self.passed(reach_m).mean(axis=0)

    def along_quantiles_m(self, shares=(0.05, 0.5, 0.95), reach_m=2000.0):
        """Return quantiles (shares, lakes, stations) of the distance along, where passed. [m]

        NaN where no realisation passes.
        """
        along = np.where(self.passed(reach_m), self.along_m, np.nan)
        out = np.full((len(shares), *along.shape[1:]), np.nan)
        some = np.isfinite(along).any(axis=0)
        out[:, some] = np.nanquantile(along[:, some], shares, axis=0)
        return out


def realise(case, doubt, station_m, rng, half_width_m=0.0, method="quinn"):
    """Return one :class:`Realisation`, drawn from a generator."""
    low, high = doubt.flotation
    flotation = float(rng.uniform(low, high))
    bed, surface = (0.0 if e is None else e.draw(rng) for e in (doubt.bed, doubt.surface))
    drainage = drained(case, flotation, bed, surface)
    routes = _routes(case, drainage)
    near = [beside(route, *station_m.T) for route in routes]
    meets = np.zeros((len(routes), len(routes)), bool)
    for k, route in enumerate(routes):
        for name, _, _ in lakes_on(route, case.places, case.names):
            meets[k, case.names.index(name)] = True
    return Realisation(
        flotation,
        tuple(_widened(route, half_width_m) for route in routes),
        np.array([n.along_m for n in near]),
        np.array([n.off_m for n in near]),
        meets,
        np.array([ENDS.index(route.end) for route in routes]),
        np.array([route.length_m for route in routes]),
        accumulate(drainage, method=method).astype(np.float32),
    )


def _widened(route, half_width_m):
    """Return rows and columns within a distance of a route from its outlet on, each cell once."""
    rows, columns = route.grid.shape
    dx, dy = np.abs(route.grid.step_m)
    down, right = int(half_width_m // dy), int(half_width_m // dx)
    i, j = np.mgrid[-down : down + 1, -right : right + 1]
    disk = np.hypot(i * dy, j * dx) <= half_width_m
    row = (route.row[route.downstream, None] + i[disk]).ravel()
    column = (route.column[route.downstream, None] + j[disk]).ravel()
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    return np.divmod(np.unique(row[inside] * columns + column[inside]), columns)


def route_odds(
    case,
    doubt,
    rng,
    count=100,
    *,
    station_m=(),
    half_width_m=0.0,
    method="quinn",
    apply: Callable[..., Iterable] = map,
):
    """Return :class:`RouteOdds` of many realisations.

    Parameters
    ----------
    case : WaterCase
    doubt : Doubt
    rng : numpy.random.Generator
    count : int
    station_m : array, shape (p, 2)
        Map coordinates of stations. [m]
    half_width_m : float
        How far beside a route a cell counts as on it; 0 the cells of the route alone. [m]
    method : str
        Of :func:`~stakeline.lakes.routing.accumulate`.
    apply : function
        ``map``, or the ``map`` of a pool of threads: kernels run without the lock of Python. Every
        realisation has a generator of its own, so that the result is the same.

    Notes
    -----
    Where the water's way ends (floating ice) is that of the maps as given in all realisations.
    A thread needs about 60 bytes a cell while it works (250 MB for 2000 x 2000 cells).
    """
    if count < 1:
        raise SettingsError(f"{count} realisations; expected 1 or more")
    station_m = np.asarray(station_m, float).reshape(-1, 2)
    for error in (doubt.bed, doubt.surface):
        if error is not None:
            checked_field(case.cells.grid, error.prepare().deviation_m, "the error's sigma")
    _ = case.cells.grid.cell_area_m2  # once, before threads ask for it
    one = partial(realise, case, doubt, station_m, half_width_m=half_width_m, method=method)
    lakes = len(case.names)
    on_route = np.zeros((lakes, *case.cells.grid.shape), np.float32)
    upstream = np.zeros(case.cells.grid.shape)
    small = []
    for real in apply(one, rng.spawn(count)):
        for k, (row, column) in enumerate(real.cells):
            on_route[k, row, column] += 1.0
        upstream += real.upstream_m2
        small.append(
            (real.meets, real.end, real.along_m, real.off_m, real.length_m, real.flotation)
        )
    meets, end, along, off, length, flotation = (np.array(x) for x in zip(*small, strict=True))
    on_route /= count
    upstream /= count
    ends = (end[..., None] == np.arange(len(ENDS))).mean(axis=0)
    return RouteOdds(
        case.names, on_route, upstream, meets.mean(axis=0), ends, along, off, length, flotation
    )
