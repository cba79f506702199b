"""Tables, maps and sentences of the water's way."""

import numpy as np

from ..constants import NS_PER_DAY
from ..earth.projection import projection
from ..formats.grids import Grids, write_grids
from ..formats.map_features import Feature, write_features
from ..formats.plain_table import write_plain_table
from ..lakes.cell_rings import cell_rings
from ..lakes.paths import lakes_on
from ..lakes.routing import ENDS, GIVEN_END
from .lakes_parts import file_name

STATION = "station"  # kind of what stands; others are places where no station stands yet
SHARES = (0.05, 0.5, 0.95)  # quantiles of distances along
_LIKELY = 0.5  # -, from which a sentence names a station or a lake as on the way; choice
_WORTH = 0.02  # -, below which a probability is not put into words; choice
_DAY_S = NS_PER_DAY / 1e9
_HOUR_S = 3600.0
_DECIMALS = {"probability": 3, "probability_sigma": 3, "latitude_deg": 5, "longitude_deg": 5}
_DECIMALS |= dict.fromkeys(("along_m", "along_low_m", "along_high_m", "beside_m"), 0)
_DECIMALS |= dict.fromkeys(("fastest_h", "slowest_h", "low_h", "middle_h", "high_h"), 2)
_DECIMALS |= {"speed_m_s": 3, "depth_m": 1, "head_m": 1, "area_km2": 2, "volume_km3": 4}


def end_in_words(end):
    """Return the end of a way as a person says it: given ends are floating ice or the sea."""
    return "floating ice or the sea" if end == ENDS[GIVEN_END] else f"the {end}"


def over_lake(found, k, s):
    """Say whether a station stands over lake ``k`` itself."""
    return bool(found.outlines[k].contains(found.station_m[s])[0])


def route_files(found):
    """Return {name: bytes} of the files of :class:`~.lakes_routes.Routed`, without figures."""
    return {
        "routes.csv": write_plain_table(_columns(route_rows(found)), _DECIMALS),
        "arrivals.csv": write_plain_table(_columns(arrival_rows(found)), _DECIMALS),
        "routes.geojson": write_features(_lines(found, found.way)),
        **_changed_file(found),
        "predicted_lakes.csv": write_plain_table(_columns(lake_rows(found)), _DECIMALS),
        "predicted_lakes.geojson": write_features(_areas(found)),
        "route_probability.nc": write_grids(_probability(found), "Where the lakes' water may run"),
        "head.nc": write_grids(_head(found), "Hydraulic head"),
        "routes.txt": ("\n".join(sentences(found)) + "\n").encode("utf-8"),
    }


def _columns(rows):
    """Return {name: array} of rows that are dicts with the same names, given first as ``names``."""
    names, rows = rows
    return {name: np.array([row[name] for row in rows]) for name in names}


def route_rows(found):
    """Return (names of columns, rows): each lake's way to each station, lake and end."""
    names = (
        "lake", "target", "kind", "on_drawn_route", "along_m", "beside_m", "beyond_end",
        "probability", "probability_sigma", "along_low_m", "along_high_m", "fastest_h", "slowest_h",
    )  # fmt: skip
    rows = []
    for k in range(len(found.case.names)):
        rows += [_station_row(found, k, s) for s in range(len(found.stations))]
        rows += [_lake_row(found, k, j) for j in range(len(found.case.names)) if j != k]
        rows += [_end_row(found, k, e) for e in range(1, len(ENDS))]
    return names, rows


def _row(found, k, target, kind, on, along, probability, low=np.nan, high=np.nan,
         beside=np.nan, beyond=""):  # fmt: skip
    speed = found.part.water_speed_m_s
    known = along if np.isnan(low) else low, along if np.isnan(high) else high
    return {
        "lake": found.case.names[k], "target": target, "kind": kind,
        "on_drawn_route": "yes" if on else "no", "along_m": float(along), "beside_m": float(beside),
        "beyond_end": beyond, "probability": float(probability),
        "probability_sigma": float(np.sqrt(probability * (1.0 - probability) / found.odds.count)),
        "along_low_m": float(low), "along_high_m": float(high),
        "fastest_h": known[0] / max(speed) / _HOUR_S, "slowest_h": known[1] / min(speed) / _HOUR_S,
    }  # fmt: skip


def _station_row(found, k, s):
    near, reach = found.beside[k], found.part.reach_m
    low, _, high = found.odds.along_quantiles_m(SHARES, reach)[:, k, s]
    on = bool(near.passed(reach)[s] and not near.beyond[s])
    kind = found.kinds[s] + " over it" * over_lake(found, k, s)
    return _row(
        found, k, found.stations[s], kind, on, near.along_m[s] if on else np.nan,
        found.odds.upstream(reach)[k, s], low, high, near.off_m[s],
        "yes" if near.beyond[s] else "no",
    )  # fmt: skip


def _lake_row(found, k, j):
    met = lakes_on(found.way.routes[k], found.case.places, found.case.names)
    entry = next((e for name, e, _ in met if name == found.case.names[j]), np.nan)
    on, odds = np.isfinite(entry), found.odds.meets[k, j]
    return _row(found, k, found.case.names[j], "lake", on, entry, odds)


def _end_row(found, k, e):
    route = found.way.routes[k]
    on = route.end == ENDS[e]
    length = found.odds.length_m[:, k]
    low, high = np.quantile(length, SHARES[::2]) if on else (np.nan, np.nan)
    along = route.length_m if on else np.nan
    return _row(found, k, end_in_words(ENDS[e]), "end", on, along, found.odds.ends[k, e], low, high)


def arrival_rows(found):
    """Return (names of columns, rows): hours from a lake's outlet to each station, by speed."""
    names = ("lake", "station", "speed_m_s", "low_h", "middle_h", "high_h", "probability")
    along = found.odds.along_quantiles_m(SHARES, found.part.reach_m)
    odds = found.odds.upstream(found.part.reach_m)
    rows = []
    for k, lake in enumerate(found.case.names):
        for s in np.flatnonzero(odds[k] > 0.0):
            if over_lake(found, k, s):
                continue
            for speed in sorted(found.part.water_speed_m_s):
                hours = (along[:, k, s] / speed / _HOUR_S).tolist()
                values = (lake, found.stations[s], speed, *hours, float(odds[k, s]))
                rows.append(dict(zip(names, values, strict=True)))
    return names, rows


def lake_rows(found):
    """Return (names of columns, rows): sinks of the head, largest volume first."""
    names = (
        "number", "latitude_deg", "longitude_deg", "area_km2", "depth_m", "volume_km3", "head_m",
        "known_as",
    )  # fmt: skip
    lakes = found.lakes
    place = np.degrees(projection(found.epsg).inverse(lakes.x_m, lakes.y_m))
    rows = [
        {
            "number": k + 1, "latitude_deg": place[0][k], "longitude_deg": place[1][k],
            "area_km2": lakes.area_m2[k] / 1e6, "depth_m": lakes.depth_m[k],
            "volume_km3": lakes.volume_m3[k] / 1e9, "head_m": lakes.level_m[k],
            "known_as": _known_as(found, k),
        }
        for k in range(lakes.area_m2.size)
    ]  # fmt: skip
    return names, rows


def _known_as(found, k):
    """Return the names of the known lakes that a predicted one overlaps."""
    places = np.unique(found.case.places[found.lakes.number == k + 1])
    return " and ".join(found.case.names[p - 1] for p in places if p > 0)


def _degrees(found, line):
    """Return longitude and latitude (n, 2) of map points. [deg]"""
    latitude, longitude = projection(found.epsg).inverse(*np.asarray(line, float).T)
    return np.degrees(np.stack([longitude, latitude], axis=1))


def _changed_file(found):
    """Return the file of the routes under the changed surface; none where none is asked for."""
    if found.changed is None:
        return {}
    features = []
    for one in _lines(found, found.changed.after):
        parting = found.changed.parting_m[found.case.names.index(one.properties["lake"])]
        told = {"surface": "changed", "leaves_its_way": bool(np.isfinite(parting))}
        if np.isfinite(parting):
            told["leaves_after_km"] = round(float(parting) / 1e3, 3)
        features.append(Feature(one.kind, one.parts_deg, one.properties | told))
    return {"what_if_routes.geojson": write_features(features)}


def _lines(found, way):
    """Return a Feature of each route of a way, from its lake's outlet on."""
    features = []
    for k, route in enumerate(way.routes):
        below = route.downstream
        line = np.stack([route.x_m[below], route.y_m[below]], axis=1)
        properties = {
            "lake": route.lake, "end": end_in_words(route.end),
            "length_km": round(route.length_m / 1e3, 3),
            "flotation": found.flotation,
            "catchment_km2": round(float(way.catchment_m2[k]) / 1e6, 2),
        }  # fmt: skip
        if len(line) > 1:
            features.append(Feature("LineString", (_degrees(found, line),), properties))
    return features


def _areas(found):
    """Return a Feature of each predicted lake; parts that touch at a corner alone come apart."""
    names, rows = lake_rows(found)
    features = []
    for k, row in enumerate(rows):
        properties = {
            name: round(v, 4) if isinstance(v := row[name], float) else v for name in names
        }
        for rings in cell_rings(found.maps.grid, found.lakes.number == k + 1):
            parts = tuple(_degrees(found, ring) for ring in rings)
            features.append(Feature("Polygon", parts, properties))
    return features


def _probability(found):
    """Return grids of the odds of each lake's route, and of the mean upstream area."""
    grid, odds = found.maps.grid, found.odds
    fields, units, words = {}, {}, {}
    for k, name in enumerate(odds.names):
        field = f"probability_{file_name(name)}"
        fields[field], units[field] = odds.on_route[k], "1"
        words[field] = f"share of {odds.count} realisations in which the water of {name} passes"
    fields["upstream_area"], units["upstream_area"] = odds.mean_upstream_m2, "m2"
    words["upstream_area"] = "mean area that drains through a cell"
    return Grids(grid.x_m, grid.y_m, grid.epsg, fields, units, words)


def _head(found):
    """Return grids of the head, of what fills its sinks, and of the surface and bed taken."""
    grid, drainage = found.maps.grid, found.way.drainage
    above = "above the geoid" if np.ndim(found.maps.geoid_m) else "as the maps have them"
    fields = {
        "head": (drainage.head_m, f"hydraulic head at flotation {found.flotation:g}"),
        "sink_depth": (drainage.depth_m, "head that fills the sinks"),
        "surface": (found.case.surface_m, f"height of the surface, {above}"),
        "bed": (found.case.bed_m, f"height of the bed, {above}"),
    }
    return Grids(
        grid.x_m, grid.y_m, grid.epsg, {k: v for k, (v, _) in fields.items()},
        dict.fromkeys(fields, "m"), {k: words for k, (_, words) in fields.items()},
    )  # fmt: skip


def sentences(found):
    """Return what was found, in sentences, and then what was taken how."""
    part, odds = found.part, found.odds
    lines = [line for k in range(len(found.case.names)) for line in _of_lake(found, k)]
    lines += _what_if(found)
    _, rows = lake_rows(found)
    new = sum(not row["known_as"] for row in rows)
    lines.append(
        f"{len(rows)} lakes are predicted where the head has a sink of at least "
        f"{part.least_depth_m:g} m over {part.least_area_km2:g} km2; {new} of them are not among "
        "the outlines."
    )
    lines += [f"Left out: {sentence}." for sentence in found.left_out]
    step = abs(found.maps.grid.step_m[0])
    lines.append(
        f"Taken: cells of {step:.0f} m, {odds.count} realisations, flotation {part.flotation[0]:g} "
        f"to {part.flotation[1]:g}, a station passed within {part.reach_m / 1e3:g} km; "
        + "; ".join((*found.maps.notes, *found.case.cells.notes))
        + "."
    )
    return lines


def _of_lake(found, k):
    """Return sentences about one lake's water."""
    name, route = found.case.names[k], found.way.routes[k]
    lines = [
        f"{name}: its water runs {route.length_m / 1e3:.1f} km, to {end_in_words(route.end)}; "
        f"{found.way.catchment_m2[k] / 1e6:.0f} km2 drain to it first."
    ]
    for j, other in enumerate(found.case.names):
        odds = found.odds.meets[k, j]
        if j != k and odds >= _WORTH:
            lines.append(f"It runs through {other} with probability {odds:.2f}.")
    odds = found.odds.upstream(found.part.reach_m)[k].copy()
    odds[[over_lake(found, k, s) for s in range(len(found.stations))]] = 0.0
    order = np.argsort(found.beside[k].along_m, kind="stable")
    likely = [s for s in order if odds[s] >= _LIKELY]
    lines += [_of_station(found, k, s) for s in likely]
    perhaps = [f"{_named(found, s)} ({odds[s]:.2f})" for s in np.flatnonzero(
        (odds >= _WORTH) & (odds < _LIKELY))]  # fmt: skip
    if perhaps:
        lines.append(f"Perhaps it passes {', '.join(perhaps)}.")
    if STATION in found.kinds and not (odds >= _WORTH).any():
        lines.append("It passes no station.")
    return lines


def _named(found, s):
    """Return a station's name in a sentence; of a place where none stands yet with what it is."""
    name, kind = found.stations[s], found.kinds[s]
    return name if kind == STATION else f"{kind} {name}" if kind != "best place" else f"the {name}"


def _of_station(found, k, s):
    low, middle, high = found.odds.along_quantiles_m(SHARES, found.part.reach_m)[:, k, s]
    speed, odds = found.part.water_speed_m_s, found.odds.upstream(found.part.reach_m)[k, s]
    return (
        f"It passes {_named(found, s)} with probability {odds:.2f}, {middle / 1e3:.1f} km below "
        f"the outlet ({low / 1e3:.1f} to {high / 1e3:.1f}): {duration(low / max(speed))} after it "
        f"left at {max(speed):g} m/s, {duration(high / min(speed))} at {min(speed):g} m/s."
    )


def duration(seconds):
    """Return a time as a person says it: hours, or days from two on."""
    if seconds < 2.0 * _DAY_S:
        return f"{seconds / _HOUR_S:.1f} h"
    return f"{seconds / _DAY_S:.1f} d"


def _what_if(found):
    """Return a sentence for each lake of what the changed surface does to its way."""
    if found.changed is None:
        return []
    lines = []
    for k, name in enumerate(found.case.names):
        after = found.changed.after.routes[k]
        parting = found.changed.parting_m[k]
        where = (
            f"keeps its way to within {found.part.reach_m / 1e3:g} km" if np.isnan(parting)
            else f"leaves it {parting / 1e3:.1f} km below the outlet"
        )  # fmt: skip
        lines.append(
            f"Under the changed surface the water of {name} {where}; it ends at "
            f"{end_in_words(after.end)}."
        )
    return lines
