"""Satellite tracks about one lake: which passes which station, and the map of both."""

from dataclasses import replace

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..formats.plain_table import write_plain_table
from ..lakes.overflights import NEAR_M, overflights
from ..report.lake_figures import draw_lake_map
from ..report.style import svg_bytes
from ..time import iso
from .lakes_figures import map_record, outline_record
from .lakes_places import NEITHER, tracks
from .lakes_sites import sites
from .motion_results import station_results

TABLE, FIGURE = "altimetry_overflights.csv", "altimetry_map.svg"
ABOUT_M = 10_000.0  # m, from the margin of a lake, within which stations are looked at; choice
MOST_POINTS = 4000  # of the satellite on a map; choice


def station_overflights(campaign, outline, altimetry):
    """Return the Overflights of all stations about a lake, and of places where none stands yet."""
    if altimetry.points is None:
        return ()
    found, places = [], stations_about(campaign, outline)
    for site in sites_about(campaign, outline):
        here = site.map_m(outline.epsg)
        places[site.name] = lambda time_ns, here=here: here
    for name, place_at in places.items():
        found += overflights(altimetry.points, name, place_at, outline.scale)
    return tuple(found)


def sites_about(campaign, outline):
    """Return the :class:`Site` of places about a lake where no station stands yet."""
    return tuple(
        site
        for site in sites(campaign)
        if outline.margin_m(site.map_m(outline.epsg)[None])[0] > -ABOUT_M
    )


def stations_about(campaign, outline):
    """Return {station: function from a time [ns] to its map point} of those about a lake."""
    names = [result.station for result in station_results(campaign)]
    return {
        name: _place_at(track)
        for name, track in tracks(campaign, names, outline.epsg).items()
        if outline.margin_m(np.median(track.point_m, axis=0))[0] > -ABOUT_M
    }


def _place_at(track):
    """Return a function from a time to the station's place; None a day or more off its record."""
    first, last = track.time_ns[[0, -1]] + np.array([-NS_PER_DAY, 2 * NS_PER_DAY])
    return lambda time_ns: track.at(time_ns) if first <= time_ns <= last else None


def overflights_csv(found, names):
    """Return the bytes of the table: a line for each pass; ``names`` of the tracks."""
    rows = [
        (one.station, names[one.track], time_ns, distance)
        for one in found
        for time_ns, distance in zip(one.time_ns, one.distance_m, strict=True)
    ]
    station, track, time_ns, distance = (np.array(c) for c in zip(*rows, strict=True))
    seconds = (time_ns + NS_PER_S // 2) // NS_PER_S * NS_PER_S
    columns = {"station": station, "track": track, "time_gps": seconds, "distance_m": distance}
    return write_plain_table(columns, {"distance_m": 0})


def overflight_words(found, names):
    """Return a sentence for each station and track."""
    return [_sentence(one, names[one.track]) for one in found]


def _sentence(one, name):
    last = iso(int(one.time_ns[-1]))[:10]
    said = f"{one.station}: track {name} passes at {np.median(one.distance_m):.0f} m"
    if one.next_ns is None:
        return f"{said}, once, on {last}"
    return (
        f"{said}, {len(one.time_ns)} times, usually every {one.repeat_d:.0f} d, last on {last}, "
        f"next about {iso(one.next_ns)[:10]}"
    )


def overflight_map(campaign, result, ground, altimetry, lake):
    """Return the map of a lake with the satellite's points as SVG; None without any there.

    Without results of the lake its outlines, planned stations and best places are drawn alone.
    """
    if altimetry.points is None:
        return None
    variants = ground.lakes[lake]
    places = tuple(
        (site.name, NEITHER, *(site.map_m(ground.epsg) / 1e3).tolist())
        for site in sites_about(campaign, variants[0])
    )
    if result is None:
        record = outline_record(campaign, variants, ground, places)
    else:
        record = map_record(campaign, result, ground, "")
        record = replace(record, stations=(*record.stations, *places))
    point = altimetry.points.point_m / 1e3
    low, high = record.corners
    point = point[((point > low) & (point < high)).all(axis=1)]
    if not len(point):
        return None
    seen = point[:: -(-len(point) // MOST_POINTS)]
    note = f"Dots: points that the satellite saw. A place counts as passed within {NEAR_M:g} m."
    title = f"{campaign.settings.campaign.name}: {lake}, satellite tracks"
    record = replace(record, title=title, seen_km=seen, note=f"{record.note}\n{note}".strip())
    return svg_bytes(draw_lake_map(record))
