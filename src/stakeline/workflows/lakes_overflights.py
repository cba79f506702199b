"""Satellite tracks about one lake: which passes which station, and the map of both."""

from dataclasses import replace

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..formats.plain_table import write_plain_table
from ..lakes.overflights import NEAR_M, overflights
from ..report.lake_figures import draw_lake_map
from ..report.style import svg_bytes
from ..time import iso
from .lakes_figures import map_record
from .lakes_places import tracks
from .motion_results import station_results

TABLE, FIGURE = "altimetry_overflights.csv", "altimetry_map.svg"
ABOUT_M = 10_000.0  # m, from the margin of a lake, within which stations are looked at; choice
MOST_POINTS = 4000  # of the satellite on a map; choice


def station_overflights(campaign, outline, altimetry):
    """Return the Overflights of all stations about a lake, by station."""
    if altimetry.points is None:
        return ()
    found = []
    for name, place_at in stations_about(campaign, outline).items():
        found += overflights(altimetry.points, name, place_at, outline.scale)
    return tuple(found)


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


def overflight_map(campaign, result, ground, altimetry):
    """Return the map of a lake with the satellite's points as SVG; None without any there."""
    if result is None or altimetry.points is None:
        return None
    record = map_record(campaign, result, ground, "")
    point = altimetry.points.point_m / 1e3
    low, high = record.corners
    point = point[((point > low) & (point < high)).all(axis=1)]
    if not len(point):
        return None
    seen = point[:: -(-len(point) // MOST_POINTS)]
    note = f"Dots: points that the satellite saw. A station counts as passed within {NEAR_M:g} m."
    title = f"{campaign.settings.campaign.name}: {result.lake}, satellite tracks"
    record = replace(record, title=title, seen_km=seen, note=f"{record.note}\n{note}")
    return svg_bytes(draw_lake_map(record))
