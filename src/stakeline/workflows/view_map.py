"""The map of the network page: stations, flow, lakes, water routes, and the shape of the ice."""

import base64
import io
import math

import numpy as np
from PIL import Image

from ..campaign.folders import LAKES, MOTION, POSITION, open_campaign
from ..campaign.store import read_table
from ..earth.projection import projection
from ..errors import StakelineError
from ..report.map_parts import surface_lines
from .intake_results import csv_text
from .lakes_ground import lake_outlines
from .map_fields import map_fields
from .motion_ground import SURFACE, grid_files
from .view_kept import once
from .view_labels import Labels, around, beside
from .view_series import stations_with_results
from .view_tables import json_of, sheet_text

WIDE, HIGH, EDGE = 900.0, 560.0, 90.0  # units of the drawing
ARROW = 70.0  # units; of the fastest station
RING_POINTS = 120  # of an outline or route drawn, at most
STEP = 6.0  # units between the points at which the surface is read
DARKEST = 70.0  # of 255: the strongest shade or light of the surface; choice
NORTH, SOUTH = 3413, 3031  # maps where no grid and no setting names one
MAP_COLUMNS = ("kind", "name", "point", "x_km", "y_km", "latitude_deg", "longitude_deg",
               "speed_m_a", "azimuth_deg")  # fmt: skip


def drawn_map(campaign):
    """Return (drawing, trouble): what draws the map, None where nothing has a place."""
    outlines, trouble = _outlines(campaign)
    found = _Found(campaign, outlines)
    every = [*found.rings.values(), *(np.array([p]) for p in found.points.values())]
    if not every:
        return None, trouble
    frame = _Frame(np.concatenate(every))
    stations = found.stations(frame)
    surface, shade = _surface(campaign, found.epsg, frame)
    drawing = {
        "epsg": found.epsg, "wide": WIDE, "high": frame.high, "grid": frame.grid(),
        "lakes": [(name, frame.path(_thinned(ring))) for name, ring in found.rings.items()],
        "routes": [(name, frame.path(_thinned(line))) for name, line in found.routes],
        "stations": stations, "shade": shade,
    }  # fmt: skip
    return drawing | _named(frame, found, stations, surface), trouble


def map_table(root):
    """Return what the map shows as a CSV table: stations, outlines and routes, point by point."""
    campaign = open_campaign(root)
    found, rows = _Found(campaign, _outlines(campaign)[0]), []
    for name, point in found.points.items():
        told = found.told.get(name) or {}
        rows.append(found.row("station", name, 0, point)
                    | {key: told.get(key) for key in ("azimuth_deg",)}
                    | {"speed_m_a": told.get("mean_speed_m_a")})  # fmt: skip
    for name, ring in found.rings.items():
        rows += [found.row("lake", name, k, point) for k, point in enumerate(ring)]
    for name, line in found.routes:
        rows += [found.row("water route", name, k, point) for k, point in enumerate(line)]
    return csv_text(rows, MAP_COLUMNS)


def _outlines(campaign):
    """Return (outlines or None, what is wrong with them in words)."""
    try:
        return lake_outlines(campaign), ""
    except StakelineError as problem:
        return None, str(problem)


class _Found:
    """What has a place, in metres of one map."""

    def __init__(self, campaign, outlines):
        self.places = station_places(campaign)
        self.epsg = None if outlines is None else outlines.epsg
        if self.epsg is None:
            north = not self.places or next(iter(self.places.values()))[0] > 0.0
            self.epsg = NORTH if north else SOUTH
        self.chart = projection(self.epsg)
        lakes = {} if outlines is None else outlines.lakes
        self.rings = {name: _ring(one) for name, one in lakes.items()}
        self.routes = [(name, self.metres(line)) for name, line in _lines(campaign)]
        self.points = {name: self.metres([p[::-1]])[0] for name, p in self.places.items()}
        told = json_of(campaign.folder(MOTION) / "summary.json")
        self.told = told.get("stations", {})

    def metres(self, degrees):
        """Return map points (n, 2) of [longitude, latitude] in degrees. [m]"""
        lon, lat = np.radians(np.asarray(degrees, float)).T
        return np.stack(self.chart.forward(lat, lon), axis=1)

    def row(self, kind, name, number, point):
        """Return a row of the map's table."""
        latitude, longitude = (math.degrees(float(v)) for v in self.chart.inverse(*point))
        return {"kind": kind, "name": sheet_text(name), "point": number,
                "x_km": f"{point[0] / 1e3:.4f}", "y_km": f"{point[1] / 1e3:.4f}",
                "latitude_deg": f"{latitude:.6f}",
                "longitude_deg": f"{longitude:.6f}"}  # fmt: skip

    def stations(self, frame):
        """Return what draws each station: its place, and the end of its arrow."""
        fastest = max((one.get("mean_speed_m_a") or 0.0 for one in self.told.values()), default=0.0)
        shown = []
        for name, point in self.points.items():
            x, y = frame.at(point)
            speed = (self.told.get(name) or {}).get("mean_speed_m_a")
            arrow = None
            if speed and fastest > 0.0 and speed > 0.005 * fastest:
                towards = math.radians(self.told[name]["azimuth_deg"])
                turned = float(self.chart.convergence(math.radians(self.places[name][1])))
                angle, length = towards + turned, ARROW * speed / fastest
                arrow = (round(x + length * math.sin(angle), 1),
                         round(y - length * math.cos(angle), 1))  # fmt: skip
            shown.append({"name": name, "x": x, "y": y, "arrow": arrow, "speed_m_a": speed})
        return shown


def _named(frame, found, stations, surface):
    """Return the names of lakes, stations and contours, each with its place."""
    labels = Labels(WIDE, frame.high)
    for one in stations:
        labels.point(one["x"], one["y"], 8.0)
        if one["arrow"]:
            labels.line((one["x"], one["y"]), one["arrow"])
    lakes = [(name, *labels.place(name, around(np.array([frame.at(p) for p in ring]))))
             for name, ring in found.rings.items()]  # fmt: skip
    for one in stations:
        one["label"] = labels.place(one["name"], beside(one["x"], one["y"]))
    lines, heights = [], []
    for height, points in surface:
        lines.append("M" + "L".join(f"{x:.0f} {y:.0f}" for x, y in points))
        text, at = f"{height:.0f} m", points[len(points) // 2]
        spot = (round(float(at[0])), round(float(at[1])) + 4, "middle")
        if len(points) > 12 and labels.hidden(text, spot) == 0.0:
            heights.append((text, *labels.place(text, [spot])))
    return {"lake_names": lakes, "contours": lines, "heights": heights}


def _surface(campaign, epsg, frame):
    """Return ([(height, contour in units)], shaded relief as an address); nothing without a grid.

    The first grid with a surface that lies under the map is taken.
    """
    stamp = tuple((str(p), p.stat().st_mtime_ns) for p in grid_files(campaign))
    return _surface_of(str(campaign.root), stamp, epsg, frame.corner) if stamp else ([], "")


@once(8)
def _surface_of(root, _stamp, epsg, corner):
    left, top, scale, high = corner
    across, down = np.arange(0.0, WIDE + STEP, STEP), np.arange(0.0, high + STEP, STEP)
    x, y = np.meshgrid(left + across / scale, top - down / scale)
    for field in _fields(open_campaign(root)):
        height = field.at(np.stack([x.ravel(), y.ravel()], axis=1), epsg).reshape(x.shape)
        if np.isfinite(height).mean() > 0.1:
            return surface_lines(across, down, height), _shade(height)
    return [], ""


def _fields(campaign):
    try:
        return map_fields(campaign, (SURFACE,)).get(SURFACE, ())
    except StakelineError:
        return ()  # motion and lakes say what is wrong with a grid


def _shade(height):
    """Return light and shade of a surface, lit from the upper left, as the address of a PNG.

    Slopes are stretched until the steepest twentieth is darkest or lightest: ice is flat.
    """
    down, across = np.gradient(height)
    lit = np.nan_to_num((across + down) / math.sqrt(2.0))
    steep = np.quantile(np.abs(lit), 0.95)
    if steep <= 0.0:
        return ""
    lit = np.clip(lit / steep, -1.0, 1.0)
    pixels = np.zeros((*height.shape, 4), np.uint8)
    pixels[..., :3] = np.where(lit > 0.0, 255, 0)[..., None]
    pixels[..., 3] = np.abs(lit) * DARKEST
    sink = io.BytesIO()
    Image.fromarray(pixels).save(sink, "PNG")
    return f"data:image/png;base64,{base64.b64encode(sink.getvalue()).decode('ascii')}"


def _ring(outline):
    """Return the closed ring of the first outline of a lake: the one that is counted as it."""
    ring = outline[0].ring_m
    return np.concatenate([ring, ring[:1]])


def _thinned(points):
    return points[:: max(-(-len(points) // RING_POINTS), 1)]


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


@once(512)
def _place(path, _changed_ns):
    columns, _ = read_table(path, ("latitude_deg", "longitude_deg"))
    latitude, longitude = (
        np.asarray(columns.get(name, ()), float) for name in ("latitude_deg", "longitude_deg")
    )
    if not np.isfinite(latitude).any():
        return None
    return float(np.nanmedian(latitude)), float(np.nanmedian(longitude))


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

    @property
    def corner(self):
        """The upper left in metres, units for each metre, and the height in units."""
        return float(self.left), float(self.top), float(self.scale), self.high

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
