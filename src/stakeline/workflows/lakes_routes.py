"""The part ``routes`` of the verb ``lakes``: where the lakes' water runs below the ice."""

from dataclasses import astuple, dataclass, replace

import numpy as np

from .. import __version__
from ..campaign.folders import LAKES, open_campaign
from ..campaign.ledger import fingerprint
from ..campaign.store import sha256_file
from ..earth.projection import projection
from ..errors import SettingsError
from ..formats.outlines import outline_parts
from ..lakes.ensemble import Doubt, RouteOdds, WaterCase, Way, WhatIf, route_odds, water_case, way
from ..lakes.ensemble import what_if as changed_way
from ..lakes.paths import Beside, beside, check_lake
from ..lakes.random_fields import ErrorField
from ..lakes.routing import Sinks, cells_of, sinks
from ..report.style import svg_bytes
from .lakes_ground import lake_outlines
from .lakes_parts import settle
from .lakes_route_figures import route_figures
from .lakes_route_tables import STATION, route_files
from .lakes_sites import sites
from .motion_ground import outline_files
from .motion_results import station_results
from .position import Outcome
from .water_maps import WaterMaps, map_files, water_maps

RECORDS = "lakes-routes"
FIGURES = "figures"
NEAR_SHARE = 0.25  # -, of the reach of a station, within which a cell counts as on a route; choice
MIDDLE = 0.5  # -, of the range of flotation, for the one route that is drawn; choice


@dataclass(frozen=True)
class RoutesTask:
    """All that the routes follow from: the campaign, and places (name, latitude, longitude, kind).

    Stations, and where no station stands yet.
    """

    name: str
    key: str
    campaign: object
    stations: tuple


@dataclass(frozen=True, eq=False)
class Routed:
    """The water of a campaign's lakes, and what stands beside its way.

    ``way``: at the middle of the flotation range, maps as they are. ``beside``: of each lake, by
    station. ``outlines``: of the lakes in ``case.names``; ``left_out``: sentences about others.
    ``kinds``: what each of ``stations`` is: a station, or a place where none stands yet.
    """

    part: object
    maps: WaterMaps
    case: WaterCase
    way: Way
    odds: RouteOdds
    lakes: Sinks
    changed: WhatIf | None
    outlines: tuple
    stations: tuple
    station_m: np.ndarray
    beside: tuple[Beside, ...]
    left_out: tuple
    kinds: tuple = ()

    @property
    def flotation(self):
        """That of the one route drawn."""
        low, high = self.part.flotation
        return low + MIDDLE * (high - low)

    @property
    def epsg(self):
        """The map of all coordinates."""
        return self.maps.grid.epsg


def routes_part(doing):
    """Work out the routes of a run's campaign where they are out of date.

    Parameters
    ----------
    doing : LakesRun

    Returns
    -------
    Outcome
    """
    campaign = doing.campaign
    maps, stations = map_files(campaign), placed_stations(campaign)
    stations += tuple(astuple(site) for site in sites(campaign))
    outlines = [part for path in outline_files(campaign) for part in outline_parts(path)]
    if not maps or not outlines:
        settle(doing, RECORDS, solve_routes, ())
        need = "routes: no grids and outlines in maps/; give surface, bed and the lakes"
        return Outcome("", skipped=(need,))
    settings = campaign.settings.lakes
    shas = [(path.name, sha256_file(path)[1]) for path in outlines]
    key = fingerprint(
        [__version__, settings.routes.model_dump(), settings.map_epsg, maps, shas, stations]
    )
    task = RoutesTask("routes", key, campaign.root, stations)
    settled = settle(doing, RECORDS, solve_routes, (task,))
    words = () if settled.failed else (f"in words: {LAKES}/routes.txt",)
    return Outcome(
        "".join(f"{line}\n" for line in words),
        settled.problems,
        ("water routes",) * bool(settled.done),
        ("water routes",) * bool(settled.current),
    )


def placed_stations(campaign):
    """Return (name, latitude, longitude, kind) of stations with a place, by name. [deg]"""
    found = [(r.station, r.latitude_rad, r.longitude_rad) for r in station_results(campaign)]
    return tuple(
        (name, round(float(np.degrees(phi)), 6), round(float(np.degrees(lam)), 6), STATION)
        for name, phi, lam in found
        if np.isfinite(phi + lam)
    )


def solve_routes(task):
    """Return {path below the campaign: bytes} of all files of the routes; for worker processes."""
    campaign = open_campaign(task.campaign)
    found = routed(campaign, task.stations)
    files = {f"{LAKES}/{name}": data for name, data in route_files(found).items()}
    title = campaign.settings.campaign.name
    for name, figure in route_figures(found, title).items():
        files[f"{LAKES}/{FIGURES}/{name}.svg"] = svg_bytes(figure)
    return files


def routed(campaign, stations):
    """Return the :class:`Routed` water of a campaign.

    Raises
    ------
    SettingsError
        Where maps cannot belong together, or no lake can be led.
    FormatError
        Where a file cannot be read.
    """
    part, maps = campaign.settings.lakes.routes, water_maps(campaign)
    outlines = [_on_map(variants[0], maps.grid.epsg)
                for variants in lake_outlines(campaign).lakes.values()]  # fmt: skip
    kept, left_out = _led(maps, part, outlines)
    case = water_case(
        maps.grid, maps.surface_m, maps.bed_m, kept, geoid_m=maps.geoid_m, ends=maps.ends,
        on_holes=part.on_holes,
    )  # fmt: skip
    middle = part.flotation[0] + MIDDLE * (part.flotation[1] - part.flotation[0])
    central = way(case, middle)
    stations = _on_grid(stations, maps.grid)
    station_m = _station_m(stations, maps.grid.epsg)
    found = sinks(central.drainage, part.least_depth_m, 1e6 * part.least_area_km2)
    changed = None
    if maps.change_m is not None:
        changed = changed_way(case, maps.change_m, middle, part.reach_m)
    near = tuple(beside(route, *station_m.T) for route in central.routes)
    odds = _odds(case, maps, part, station_m)
    return Routed(
        part, maps, case, central, odds, found, changed, tuple(kept), tuple(s[0] for s in stations),
        station_m, near, tuple(left_out), tuple((*s, STATION)[3] for s in stations),
    )  # fmt: skip


def _on_map(outline, epsg):
    """Return an outline on the map of the grids."""
    if outline.epsg == epsg:
        return outline
    own, other = projection(outline.epsg), projection(epsg)
    rings = [np.stack(other.forward(*own.inverse(*ring.T)), axis=1) for ring in outline.rings_m]
    return replace(outline, ring_m=rings[0], holes_m=tuple(rings[1:]), epsg=epsg)


def _led(maps, part, outlines):
    """Return (outlines whose water can be led, sentences about the others)."""
    missing = ~np.isfinite(maps.surface_m + maps.bed_m)
    cells = cells_of(maps.grid, missing, maps.ends, part.on_holes)
    kept, left_out = [], []
    for outline in outlines:
        try:
            check_lake(cells, maps.grid.inside(outline), outline.name)
        except SettingsError as problem:
            left_out.append(str(problem))
        else:
            kept.append(outline)
    if not kept:
        raise SettingsError("\n".join(left_out))
    return kept, left_out


def _on_grid(stations, grid):
    """Return the stations, and of places where none stands yet those on the maps."""
    at = _station_m(stations, grid.epsg)
    ends = [(np.min(axis), np.max(axis)) for axis in (grid.x_m, grid.y_m)]
    inside = np.all([(low <= v) & (v <= high) for v, (low, high) in zip(at.T, ends, strict=True)],
                    axis=0)  # fmt: skip
    pairs = zip(stations, inside, strict=True)
    return tuple(one for one, there in pairs if there or (*one, STATION)[3] == STATION)


def _station_m(stations, epsg):
    """Return map coordinates (n, 2) of stations. [m]"""
    place = np.radians(np.array([s[1:3] for s in stations], float).reshape(-1, 2))
    return np.stack(projection(epsg).forward(*place.T), axis=1)


def _odds(case, maps, part, station_m):
    """Return the RouteOdds under the errors of the maps."""
    grid, surface = maps.grid, None
    sigma = np.where(np.isfinite(maps.bed_sigma_m), maps.bed_sigma_m, part.bed_sigma_m)
    bed = ErrorField(grid, sigma if sigma.ndim else float(sigma), part.bed_length_m)
    if part.surface_sigma_m > 0.0:
        surface = ErrorField(grid, part.surface_sigma_m, part.surface_length_m, "gaussian")
    return route_odds(
        case, Doubt(bed, surface, part.flotation), np.random.default_rng(part.seed),
        part.realisations, station_m=station_m, half_width_m=NEAR_SHARE * part.reach_m,
    )  # fmt: skip
