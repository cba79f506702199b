"""From the water's way to the figures that show it."""

import numpy as np

from ..earth.projection import projection
from ..lakes.cell_rings import cell_rings
from ..lakes.paths import lakes_on
from ..report.map_parts import Ground
from ..report.route_maps import Passed, RouteMap, RouteProfile, draw_profile, draw_route_map
from .lakes_parts import file_name
from .lakes_route_tables import SHARES, end_in_words, over_lake

_SHOWN = 0.05  # -, odds from which a station stands in a profile; choice


def route_figures(found, campaign_name):
    """Return {name: Figure}: the map, and a profile of each lake's way."""
    figures = {"routes": draw_route_map(route_map(found, campaign_name))}
    for k, name in enumerate(found.case.names):
        if found.way.routes[k].downstream.sum() > 2:
            figures[f"route_{file_name(name)}"] = draw_profile(profile(found, k))
    return figures


def route_map(found, campaign_name):
    """Return the RouteMap of the water of all lakes."""
    grid, chart = found.maps.grid, projection(found.epsg)
    latitude, longitude = chart.inverse(grid.x_m.mean(), grid.y_m.mean())
    lakes = tuple((o.name, *(o.ring_m / 1e3).T) for o in found.outlines)
    rings = [
        tuple((rings[0] / 1e3).T)
        for k in range(found.lakes.area_m2.size)
        for rings in cell_rings(grid, found.lakes.number == k + 1)
    ]
    changed = () if found.changed is None else _lines(found.changed.after.routes)
    return RouteMap(
        f"{campaign_name}: where the lakes' water runs", f"EPSG:{found.epsg}", grid.x_m / 1e3,
        grid.y_m / 1e3, np.asarray(found.way.drainage.filled_m, float),
        found.odds.on_route.max(axis=0), _lines(found.way.routes), found.stations,
        found.station_m / 1e3, _any_lake(found), changed, tuple(rings),
        float(chart.point_scale(latitude)), float(chart.convergence(longitude)),
        Ground(lakes, grid.x_m / 1e3, grid.y_m / 1e3, np.asarray(found.case.surface_m, float)),
        _map_note(found),
    )  # fmt: skip


def _lines(routes):
    return tuple(
        (r.lake, r.x_m[r.downstream] / 1e3, r.y_m[r.downstream] / 1e3) for r in routes
    )  # fmt: skip


def _any_lake(found):
    """Return the odds (s,) that any lake's water passes a station."""
    return found.odds.passed(found.part.reach_m).any(axis=1).mean(axis=0)


def _map_note(found):
    low, high = found.part.flotation
    return (
        f"Shades: share of {found.odds.count} realisations of bed, surface and flotation ({low:g} "
        f"to {high:g}). Line: maps as they are, flotation {found.flotation:g}.\nFilled circles: "
        f"water passes within {found.part.reach_m / 1e3:g} km with a probability of 0.5 or more."
    )


def profile(found, k):
    """Return the RouteProfile of lake ``k``."""
    route = found.way.routes[k]
    below = route.downstream
    cells = route.row[below], route.column[below]
    reach = found.part.reach_m
    along, odds = found.odds.along_quantiles_m(SHARES, reach)[:, k], found.odds.upstream(reach)[k]
    stations = tuple(
        Passed(
            name, tuple((along[:, s] / 1e3).tolist()), float(found.beside[k].off_m[s] / 1e3),
            float(odds[s]),
        )
        for s, name in enumerate(found.stations)
        if odds[s] >= _SHOWN and not over_lake(found, k, s)
    )  # fmt: skip
    met = lakes_on(route, found.case.places, found.case.names)
    lakes = tuple((name, first / 1e3, last / 1e3) for name, first, last in met)
    note = (
        f"Numbers: probability that water passes within {reach / 1e3:g} km; bars: arrival between "
        f"{max(found.part.water_speed_m_s):g} and {min(found.part.water_speed_m_s):g} m/s,\n"
        "distances 5 to 95 %. A lake on the way that must first fill is not in it."
    )
    return RouteProfile(
        f"{route.lake}: its water's way to {end_in_words(route.end)}", route.lake,
        route.distance_m[below] / 1e3, route.head_m[below],
        np.asarray(found.case.bed_m[cells], float), np.asarray(found.case.surface_m[cells], float),
        stations, lakes, tuple(sorted(found.part.water_speed_m_s)), route.end, note,
    )  # fmt: skip
