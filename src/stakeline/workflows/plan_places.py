"""Where stations are on the day of the visit: coordinates side by side, way points, order."""

import datetime
import itertools
from dataclasses import dataclass

import numpy as np

from ..constants import DAYS_PER_YEAR, NS_PER_DAY
from ..formats.map_features import Feature, write_features
from ..formats.plain_table import write_plain_table
from ..formats.waypoints import Track, Waypoint, write_waypoints
from ..station.cautions import ESTIMATE, GROUND
from ..station.field_coordinates import distance, side_by_side
from ..station.visit_place import MovingSite, VisitPlace, ellipse_outline, visit_place
from ..station.visits import shortest_round
from ..time import from_calendar
from .motion_network_figures import azimuth_rad
from .position_tables import station_positions

KNOWN_M = 5.0  # m; sigma of a site read from a map or a hand-held receiver, common practice
SWING = 0.15  # -; by which ice may flow otherwise than so far (seasons, floods), own choice
LEAST_M_A = 2.0  # m/a; the same, least


@dataclass(frozen=True)
class Place:
    """A station on the day of the visit.

    Attributes
    ----------
    name : str
    today : MovingSite or None
        As last known; None where its motion is not.
    visit : VisitPlace or None
    latitude_deg, longitude_deg, height_m : float
        Where to go: predicted, or as the file says.
    visit_ns : int or None
    source : str
        What the prediction rests on.
    on_rock : bool
    """

    name: str
    latitude_deg: float
    longitude_deg: float
    height_m: float
    source: str
    on_rock: bool
    today: MovingSite | None = None
    visit: VisitPlace | None = None
    visit_ns: int | None = None

    @property
    def cautions(self):
        """Sentences about going there."""
        return self.visit.cautions if self.visit else (GROUND, ESTIMATE)

    @property
    def side_by_side(self):
        """The place in every form."""
        return side_by_side(self.latitude_deg, self.longitude_deg)

    @property
    def misread_m(self):
        """How far seconds taken for decimals of a minute put somebody off. [m]"""
        misread = []
        for value in (self.latitude_deg, self.longitude_deg):
            seconds = round(abs(value) * 3600.0, 2)  # as written: 18.0000' are no 17' 59.9"
            degrees, minutes, seconds = seconds // 3600.0, seconds // 60.0 % 60.0, seconds % 60.0
            read = minutes + np.floor(seconds) / 100.0  # 24.4 seconds read as .24
            misread.append(np.copysign(degrees + read / 60.0, value))
        return distance((self.latitude_deg, self.longitude_deg), tuple(misread))


def day_ns(day):
    """Return noon of a date as GPS time, to the leap seconds. [ns]"""
    return from_calendar(day.year, day.month, day.day, 12)


def place_of(description, result=None, positions=None):
    """Return the :class:`Place` of a described station.

    Parameters
    ----------
    description : StationDescription
    result : StationResult, optional
        Its motion so far.
    positions : dict of str to array, optional
        Its positions: the last one is where it is known from.
    """
    site, aim = description.design.site, description.settings.aim
    rock = site.surface == "rock"
    given = (site.latitude_deg, site.longitude_deg, site.elevation_m)
    visit_ns = day_ns(aim.visit) if aim.visit else None
    known = result is not None and result.moves and positions is not None and len(
        positions["time_gps"]) > 0  # fmt: skip
    if rock or not known or visit_ns is None:
        missing = "stands on rock" if rock else (
            "no date of a visit" if known else "its motion is not known yet"
        )  # fmt: skip
        return Place(description.name, *given, f"as the file says: {missing}", rock,
                     visit_ns=visit_ns)  # fmt: skip
    return moved_place(description.name, result, positions, visit_ns)


def moved_place(name, result, positions, visit_ns):
    """Return the :class:`Place` on a day of a station that has moved so far."""
    site = moving_site(result, positions)
    there = visit_place(site, visit_ns)
    years = (visit_ns - site.time_ns) / (NS_PER_DAY * DAYS_PER_YEAR)
    return Place(
        name, there.latitude_deg, there.longitude_deg, site.height_m,
        f"its motion so far, {years:.1f} years on", False, site, there, visit_ns,
    )  # fmt: skip


def standing_place(name, positions):
    """Return the :class:`Place` of a station that does not move: its last position."""
    last = int(np.flatnonzero(np.isfinite(positions["latitude_deg"]))[-1])
    where = (float(positions[key][last]) for key in ("latitude_deg", "longitude_deg", "height_m"))
    return Place(name, *where, "does not move", True)


def moving_site(result, positions):
    """Return the :class:`MovingSite` of a station's last position and mean motion."""
    last = int(np.flatnonzero(np.isfinite(positions["latitude_deg"]))[-1])
    speed, sigma = (one * DAYS_PER_YEAR for one in result.mean_speed_m_d)
    azimuth = azimuth_rad(result)
    doubt = max(SWING * speed, LEAST_M_A, sigma)
    return MovingSite(
        latitude_deg=float(positions["latitude_deg"][last]),
        longitude_deg=float(positions["longitude_deg"][last]),
        height_m=float(positions["height_m"][last]),
        time_ns=int(positions["time_gps"][last].astype("int64")),
        velocity_m_a=(speed * np.sin(azimuth), speed * np.cos(azimuth)),
        position_covariance_m2=np.eye(2) * KNOWN_M**2,
        velocity_covariance_m2_a2=_along(azimuth, doubt, 0.3 * doubt),
    )


def _along(azimuth, along, across):
    """Return the covariance (2, 2) of a velocity, east and north."""
    s, c = np.sin(azimuth), np.cos(azimuth)
    turn = np.array([[s, c], [c, -s]])
    return turn @ np.diag([along**2, across**2]) @ turn.T


def places_of(campaign, descriptions, results):
    """Return the :class:`Place` of each described station, then of others that have a motion.

    Those that have no station file are visited on the last day of a visit that any file names.
    """
    by_name = {one.station: one for one in results}
    positions = {name: station_positions(campaign, name) for name in by_name}
    found = [place_of(one, by_name.get(one.name), positions.get(one.name)) for one in descriptions]
    days = [one.visit_ns for one in found if one.visit_ns]
    for name in sorted(set(by_name) - {one.name for one in found}):
        if not np.isfinite(positions[name]["latitude_deg"]).any():
            continue
        if not by_name[name].moves:
            found.append(standing_place(name, positions[name]))
        elif days:
            found.append(moved_place(name, by_name[name], positions[name], max(days)))
    return tuple(found)


def way_points(places):
    """Return the bytes of a GPX of places to go to, with their ellipses as tracks."""
    points, tracks = [], []
    for one in places:
        comment = one.side_by_side.minutes
        points.append(
            Waypoint(one.name, one.latitude_deg, one.longitude_deg, one.height_m,
                     comment=comment, description=one.source)
        )  # fmt: skip
        if one.visit is not None:
            tracks.append(Track(f"{one.name} 95 %", ellipse_outline(one.visit)))
    return write_waypoints(points, tracks, title="Stations on the day of the visit")


def features(places):
    """Return the bytes of a GeoJSON of places and their ellipses."""
    found = []
    for one in places:
        found.append(
            Feature(
                "Point",
                (np.array([[one.longitude_deg, one.latitude_deg]]),),
                {"station": one.name, "minutes": one.side_by_side.minutes, "source": one.source},
            )
        )
        if one.visit is not None:
            about = {"station": one.name, "ellipse": "95 %", "area_ha": one.visit.search_ha}
            found.append(Feature("Polygon", (ellipse_outline(one.visit),), about))
    return write_features(found)


def place_table(places):
    """Return the bytes of the table of places: every notation side by side."""
    sides = [one.side_by_side for one in places]
    columns = {
        "station": [one.name for one in places],
        "degrees": [one.degrees for one in sides],
        "degrees_minutes": [one.minutes for one in sides],
        "degrees_minutes_seconds": [one.seconds for one in sides],
        "map_epsg": [one.epsg for one in sides],
        "map_easting_m": [one.easting_m for one in sides],
        "map_northing_m": [one.northing_m for one in sides],
        "height_m": [one.height_m for one in places],
        "seconds_read_as_decimals_m": [one.misread_m for one in places],
        "ellipse_major_m": [_of(one, "semi_major_m") for one in places],
        "ellipse_minor_m": [_of(one, "semi_minor_m") for one in places],
        "ellipse_azimuth_deg": [_of(one, "azimuth_deg") for one in places],
        "source": [one.source for one in places],
    }
    return write_plain_table(columns, {"map_easting_m": 1, "map_northing_m": 1, "height_m": 1})


def _of(place, name):
    return np.nan if place.visit is None else getattr(place.visit, name)


@dataclass(frozen=True)
class Leg:
    """One leg of a round of visits. [km], azimuth [deg]"""

    start: str
    end: str
    length_km: float
    azimuth_deg: float


def round_of(places):
    """Return (legs, whether no shorter round exists) from the first place on rock, else the first.

    Straight lines: crevasses and slopes are not in them.
    """
    if len(places) < 2:
        return (), True
    points = [(one.latitude_deg, one.longitude_deg) for one in places]
    table = np.array([[distance(a, b) for b in points] for a in points])
    table = 0.5 * (table + table.T)
    start = next((k for k, one in enumerate(places) if one.on_rock), 0)
    found = shortest_round(table, start)
    legs = tuple(
        Leg(places[a].name, places[b].name, length / 1e3, azimuth(points[a], points[b]))
        for (a, b), length in zip(itertools.pairwise(found.order), found.legs_m, strict=True)
    )
    return legs, found.exact


def azimuth(one_deg, other_deg):
    """Return the direction from one (latitude, longitude) to another, from true north. [deg]"""
    one, other = np.radians(one_deg), np.radians(other_deg)
    turned = other[1] - one[1]
    east = np.sin(turned) * np.cos(other[0])
    north = np.cos(one[0]) * np.sin(other[0]) - np.sin(one[0]) * np.cos(other[0]) * np.cos(turned)
    return float(np.degrees(np.arctan2(east, north)) % 360.0)


def leg_table(legs):
    """Return the bytes of the table of a round."""
    return write_plain_table(
        {
            "from": [one.start for one in legs],
            "to": [one.end for one in legs],
            "length_km": [one.length_km for one in legs],
            "azimuth_deg": [one.azimuth_deg for one in legs],
            "caution": [f"{GROUND} {ESTIMATE}"] * len(legs),
        },
        {"azimuth_deg": 1},
    )


def last_day(description, snow):
    """Return the day by which the station must be taken out or raised, and why; None for never.

    The first part to be buried or to melt out with a chance of 5 %; after the building day.
    """
    built = description.settings.aim.built
    found = [one for one in (*snow.passages, *snow.melting) if np.isfinite(one.visit_a)]
    if built is None or not found:
        return None, ""
    first = min(found, key=lambda one: one.visit_a)
    return built + datetime.timedelta(days=first.visit_a * DAYS_PER_YEAR), first.name
