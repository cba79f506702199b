"""The network page: a map, the days on record, what is out of date, what health has found."""

import math
from collections import Counter
from functools import lru_cache

import numpy as np

from ..campaign.folders import INTAKE, LAKES, MOTION, POSITION, open_campaign
from ..campaign.store import read_table
from ..earth.projection import projection
from ..errors import StakelineError
from .lakes_ground import lake_outlines
from .view_freshness import MOST_SAID, out_of_date
from .view_series import stations_with_results
from .view_tables import json_of, number, rows_of

WIDE, HIGH, EDGE = 900.0, 560.0, 90.0  # units of the drawing
ARROW = 70.0  # units; of the fastest station
RING_POINTS = 120  # of an outline or route drawn, at most
FULL_PERCENT = 95.0  # %; of the epochs expected, from which a day counts as whole; choice


def network(root):
    """Return all that the network page shows, as a dict."""
    campaign = open_campaign(root)
    try:
        outlines, trouble = lake_outlines(campaign), ""
    except StakelineError as problem:
        outlines, trouble = None, str(problem)
    return {
        "map": _map(campaign, outlines),
        "trouble": trouble,
        "calendar": calendar(campaign),
        "stale": out_of_date(campaign),
        "alarms": [row for row in rows_of(campaign.folder(INTAKE) / "health.csv")
                   if row.get("holds") != "no"][:MOST_SAID],
    }  # fmt: skip


def _map(campaign, outlines):
    """Return the drawing of the map; None where nothing has a place."""
    places = station_places(campaign)
    if outlines is None or outlines.epsg is None:
        north = not places or next(iter(places.values()))[0] > 0.0
        epsg = 3413 if north else 3031
    else:
        epsg = outlines.epsg
    chart = projection(epsg)
    lakes = {} if outlines is None else outlines.lakes
    rings = {name: _thinned(_ring(one)) for name, one in lakes.items()}
    routes = [(name, _thinned(_points(chart, line))) for name, line in _lines(campaign)]
    points = {name: _points(chart, [place[::-1]])[0] for name, place in places.items()}
    every = [*rings.values(), *(np.array([p]) for p in points.values())]
    if not every:
        return None
    frame = _Frame(np.concatenate(every))
    return {
        "epsg": epsg, "wide": WIDE, "high": frame.high, "grid": frame.grid(),
        "lakes": [(name, frame.path(ring), _below(frame, ring)) for name, ring in rings.items()],
        "routes": [(name, frame.path(line)) for name, line in routes],
        "stations": _stations(campaign, chart, frame, places, points),
    }  # fmt: skip


def _ring(outline):
    """Return the closed ring of the first outline of a lake: the one that is counted as it."""
    ring = outline[0].ring_m
    return np.concatenate([ring, ring[:1]])


def _below(frame, ring):
    """Return where the name of a lake stands: under its lowest point."""
    return frame.at((ring[:, 0].mean(), ring[:, 1].min()))


def _thinned(points):
    return points[:: max(-(-len(points) // RING_POINTS), 1)]


def _points(chart, degrees):
    """Return map points (n, 2) of [longitude, latitude] in degrees. [m]"""
    lon, lat = np.radians(np.asarray(degrees, float)).T
    return np.stack(chart.forward(lat, lon), axis=1)


def _lines(campaign):
    """Return [(lake, points in degrees)] of the water routes found."""
    found = json_of(campaign.folder(LAKES) / "routes.geojson").get("features", [])
    return [
        (str(one["properties"].get("lake", "")), one["geometry"]["coordinates"])
        for one in found
        if one.get("geometry", {}).get("type") == "LineString"
    ]


def station_places(campaign):
    """Return {station: (latitude, longitude)} of stations with positions. [deg]"""
    found = {}
    for name in stations_with_results(campaign.root):
        files = sorted((campaign.folder(POSITION) / name).glob(f"{name}_*.parquet"))
        if files:
            place = _place(str(files[0]), files[0].stat().st_mtime_ns)
            if place is not None:
                found[name] = place
    return found


@lru_cache(maxsize=512)
def _place(path, _changed_ns):
    columns, _ = read_table(path)
    latitude, longitude = (
        np.asarray(columns.get(name, ()), float) for name in ("latitude_deg", "longitude_deg")
    )
    if not np.isfinite(latitude).any():
        return None
    return float(np.nanmedian(latitude)), float(np.nanmedian(longitude))


def _stations(campaign, chart, frame, places, points):
    told = json_of(campaign.folder(MOTION) / "summary.json").get("stations", {})
    fastest = max((one.get("mean_speed_m_a") or 0.0 for one in told.values()), default=0.0)
    shown = []
    for name, point in points.items():
        x, y = frame.at(point)
        speed = (told.get(name) or {}).get("mean_speed_m_a")
        arrow = None
        if speed and fastest > 0.0 and speed > 0.005 * fastest:
            towards = math.radians(told[name]["azimuth_deg"])
            angle = towards + float(chart.convergence(math.radians(places[name][1])))
            length = ARROW * speed / fastest
            arrow = (round(x + length * math.sin(angle), 1), round(y - length * math.cos(angle), 1))
        shown.append({"name": name, "x": x, "y": y, "arrow": arrow, "speed_m_a": speed})
    return shown


class _Frame:
    """From map metres to the units of the drawing."""

    def __init__(self, points):
        low, high = points.min(axis=0), points.max(axis=0)
        size = np.maximum(high - low, 1000.0)
        self.scale = min((WIDE - 2 * EDGE) / size[0], (HIGH - 2 * EDGE) / size[1])
        self.high = round(2 * EDGE + size[1] * self.scale)
        middle = (low + high) / 2.0
        self.left = middle[0] - WIDE / 2.0 / self.scale
        self.top = middle[1] + self.high / 2.0 / self.scale

    def at(self, point):
        """Return where a map point is drawn."""
        x, y = (point[0] - self.left) * self.scale, (self.top - point[1]) * self.scale
        return round(float(x), 1), round(float(y), 1)

    def path(self, points):
        """Return map points as the path of a drawing."""
        return "M" + "L".join(f"{x} {y}" for x, y in map(self.at, points))

    def grid(self):
        """Return the lines of whole kilometres: {x: [(place, km)], y: [...], step_km}."""
        across_km = WIDE / self.scale / 1000.0
        step = next(s * 10**p for p in range(6) for s in (1, 2, 5) if across_km / (s * 10**p) < 10)
        low_y = self.top - self.high / self.scale
        return {
            "step_km": step,
            "x": [(self.at((km * 1e3, self.top))[0], km)
                  for km in _whole(self.left, self.left + WIDE / self.scale, step)],
            "y": [(self.at((self.left, km * 1e3))[1], km)
                  for km in _whole(low_y, self.top, step)],
        }  # fmt: skip


def _whole(low_m, high_m, step_km):
    first = math.ceil(low_m / 1e3 / step_km)
    return [step_km * k for k in range(first, math.floor(high_m / 1e3 / step_km) + 1)]


def calendar(campaign, positions=True):
    """Return the days on record: first and last day, marks of months, runs of days by station.

    A day is ``whole`` or ``part`` by the epochs of its receiver files, ``positions`` where there
    are positions of it and no receiver file here, and ``positions`` asks for them.
    """
    days = {}
    path = campaign.folder(MOTION) / "network.parquet"
    if positions and path.is_file():
        columns, _ = read_table(path)
        there = np.isfinite(np.asarray(columns["speed_m_d"], float))
        for station, day in zip(
            columns["station"][there],
            columns["time_gps"][there].astype("datetime64[D]"),
            strict=True,
        ):
            days.setdefault(str(station), {})[day] = "positions"
    for row in rows_of(campaign.folder(INTAKE) / "days.csv"):
        day = np.datetime64(row["day_gps"][:10], "D")
        share = number(row.get("percent")) or 0.0
        days.setdefault(row["station"], {})[day] = "whole" if share >= FULL_PERCENT else "part"
    if not days:
        return None
    every = [day for one in days.values() for day in one]
    first, last = min(every), max(every)
    count = int((last - first).astype(int)) + 1
    months = np.arange(first.astype("datetime64[M]"), last.astype("datetime64[M]") + 1)
    return {
        "first": str(first), "last": str(last), "count": count,
        "months": [(int((m.astype("datetime64[D]") - first).astype(int)), str(m))
                   for m in months[:: max(len(months) // 12, 1)]],
        "rows": [(name, _runs(days[name], first), dict(Counter(days[name].values())))
                 for name in sorted(days)],
    }  # fmt: skip


def _runs(days, first):
    """Return [(first day, days, kind)] of days in a row of one kind."""
    runs = []
    for day in sorted(days):
        at = int((day - first).astype(int))
        if runs and runs[-1][2] == days[day] and runs[-1][0] + runs[-1][1] == at:
            runs[-1][1] += 1
        else:
            runs.append([at, 1, days[day]])
    return [tuple(run) for run in runs]
