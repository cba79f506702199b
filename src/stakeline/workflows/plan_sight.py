"""What the stations of a plan tell together: strain of the ice, speed of the water, onsets."""

import csv
import json
from contextlib import suppress
from dataclasses import dataclass
from itertools import chain

import numpy as np
from scipy.spatial import Delaunay, QhullError

from ..campaign.folders import LAKES
from ..constants import DAYS_PER_YEAR
from ..earth.ellipsoid import enu_from_xyz, xyz_from_geodetic
from ..earth.projection import projection
from ..errors import SolutionError
from ..formats.plain_table import write_plain_table
from ..lakes.grid import MapGrid
from ..lakes.network_sight import (
    CORRELATION,
    StrainSight,
    fastest_told_m_s,
    slowness_sigma_d_m,
    speed_sight,
    strain_sight,
)
from ..lakes.paths import Route, beside, line_lengths_m
from ..lakes.placement import change_sigma_m, onset_sigma_d
from .lakes_parts import file_name
from .lakes_placement_tables import PLANNED, STANDS, TOGETHER
from .motion_ground import NORTH, SOUTH
from .motion_network_figures import azimuth_rad
from .plan_network import LENGTHS_D, RECORD_D, noise_of

ROUTES_FILE, PLACEMENT_FILE = "routes.geojson", "placement.csv"
RESPONSES = (
    0.05,
    0.1,
    0.2,
)  # -, of the speed: how much faster the ice goes as water passes; choice
RESPONSE_D = 15.0  # d; for how long; choice
TOLD_SHARE = 0.5  # -, of that length, up to which an onset's sigma means anything; choice
ALL = "all"
_LAKE = "lake"  # stands for a lake's own onset among stations
_HOUR_D = 1.0 / 24.0


@dataclass(frozen=True)
class SpeedRow:
    """What stations along one lake's route tell of the water, for one response of the ice.

    ``stations``: with ``lake`` where its own onset is told; ``onset_h``: sigma at a station;
    ``apart_km``: between first and last; ``fastest_m_s``: above it only a lower bound is told;
    ``sights``: of the speeds in question; both NaN and empty where the onset is not told.
    """

    lake: str
    stations: tuple
    response: float
    onset_h: float
    apart_km: float
    fastest_m_s: float
    sights: tuple


@dataclass(frozen=True)
class Sight:
    """``strain``: rows of (stations, length [d], :class:`StrainSight`); ``speeds``; ``flow``: words
    about what along and across mean; ``noise``: where it is from."""

    strain: tuple
    speeds: tuple
    flow: str
    noise: str


def sight_files(campaign):
    """Return the files of the verb lakes that :func:`sight_of` reads."""
    folder = campaign.folder(LAKES)
    return sorted(chain(folder.glob(ROUTES_FILE), folder.glob(f"*/{PLACEMENT_FILE}")))


def sight_of(campaign, places, results, speed_m_d):
    """Return the :class:`Sight` of stations at places.

    Parameters
    ----------
    campaign : Campaign
    places : sequence of Place
        Those on rock are left out.
    results : sequence of StationResult
        Motion so far, for flow and noise; may be empty.
    speed_m_d : float
        Of the ice; NaN where nobody knows.
    """
    moving = [one for one in places if not one.on_rock]
    model, white, noise = noise_of(results)
    azimuths = [azimuth_rad(one) for one in results if one.moves and one.told]
    flow = "along and across are north and west: no station has a motion yet"
    azimuth = 0.0
    if azimuths:
        azimuth = float(np.angle(np.exp(1j * np.array(azimuths)).mean()))
        flow = f"along is the mean flow, toward {np.degrees(azimuth) % 360.0:.0f} deg"
    sigmas = {d: change_sigma_m(model, white, d, RECORD_D, RECORD_D) / d for d in LENGTHS_D}
    onset_m_d = onset_sigma_d(model, white, RESPONSE_D, RECORD_D, RECORD_D)
    strain = tuple(_strain_rows(moving, azimuth, sigmas))
    speeds = tuple(_speed_rows(campaign, moving, onset_m_d, speed_m_d))
    return Sight(strain, speeds, flow, noise)


def _strain_rows(places, azimuth, sigmas):
    """Yield (names, length, :class:`StrainSight`) of all stations, then of each triangle."""
    if len(places) < 3:
        return
    at = _along_across(places, azimuth)
    groups = [tuple(range(len(places)))]
    if len(places) > 3:
        with suppress(QhullError):  # all on a line: the whole network says so below
            groups += sorted(tuple(sorted(one)) for one in Delaunay(at).simplices.tolist())
    for group in groups:
        names = (ALL,) if len(group) == len(places) else tuple(places[k].name for k in group)
        for length, sigma in sigmas.items():
            try:
                yield names, length, strain_sight(at[list(group)], sigma)
            except SolutionError:
                yield names, length, StrainSight(np.inf, np.inf, np.inf, np.inf, np.nan)


def _along_across(places, azimuth):
    """Return true metres along and across the flow (left) from the stations' middle (n, 2)."""
    where = np.array([(one.latitude_deg, one.longitude_deg, one.height_m) for one in places])
    xyz = np.stack([xyz_from_geodetic(*np.radians(one[:2]), one[2]) for one in where])
    middle = np.radians(where[:, :2].mean(axis=0))
    east, north, _ = enu_from_xyz(xyz - xyz.mean(axis=0), *middle).T
    along = np.sin(azimuth) * east + np.cos(azimuth) * north
    return np.column_stack([along, -np.cos(azimuth) * east + np.sin(azimuth) * north])


def _speed_rows(campaign, places, onset_m_d, speed_m_d):
    """Yield a :class:`SpeedRow` of each lake's route and response."""
    path = campaign.folder(LAKES) / ROUTES_FILE
    if not path.is_file() or not places or not speed_m_d > 0.0:
        return
    part = campaign.settings.lakes.routes
    for feature in json.loads(path.read_text(encoding="utf-8"))["features"]:
        lake = feature["properties"]["lake"]
        route = drawn_route(lake, np.array(feature["geometry"]["coordinates"], float))
        where = np.radians([(one.latitude_deg, one.longitude_deg) for one in places]).T
        near = beside(route, *projection(route.grid.epsg).forward(*where))
        over, lake_h = _lake_onset(campaign, lake)
        passed = near.passed(part.reach_m) & ~near.beyond
        passed &= [one.name not in over for one in places]
        names = tuple(one.name for one, on in zip(places, passed, strict=True) if on)
        along = near.along_m[passed]
        if np.isfinite(lake_h):
            names, along = (_LAKE, *names), np.concatenate([[0.0], along])
        if len(names) < 2 or not np.ptp(along) > 0.0:
            continue
        for response in RESPONSES:
            onset_d = onset_m_d / (response * speed_m_d * RESPONSE_D)
            sigmas = np.full(len(names), onset_d)
            if names[0] == _LAKE:
                sigmas[0] = lake_h * _HOUR_D
            yield _speed_row(lake, names, response, onset_d, along, sigmas, part.water_speed_m_s)


def _speed_row(lake, names, response, onset_d, along, sigmas, speeds):
    apart = float(np.ptp(along)) / 1e3
    if onset_d > TOLD_SHARE * RESPONSE_D:
        return SpeedRow(lake, names, response, onset_d / _HOUR_D, apart, np.nan, ())
    slowness = slowness_sigma_d_m(along, sigmas)
    sights = tuple(speed_sight(speed, slowness) for speed in sorted(speeds))
    fastest = fastest_told_m_s(slowness)
    return SpeedRow(lake, names, response, onset_d / _HOUR_D, apart, fastest, sights)


def drawn_route(lake, line_deg):
    """Return a :class:`Route` from its drawn line (k, 2), longitude and latitude. [deg]"""
    epsg = NORTH if line_deg[0, 1] > 0.0 else SOUTH
    x, y = projection(epsg).forward(*np.radians(line_deg[:, ::-1]).T)
    grid = MapGrid(*(np.linspace(one.min() - 1.0, one.max() + 1.0, 3) for one in (x, y)), epsg)
    none = np.zeros(0, int)
    return Route(lake, grid, none, none, x, y, line_lengths_m(grid, x, y), np.zeros(0), "")


def _lake_onset(campaign, lake):
    """Return (stations over a lake, sigma of the onset of 1 m that they tell or NaN [h])."""
    path = campaign.folder(LAKES) / file_name(lake) / PLACEMENT_FILE
    if not path.is_file():
        return set(), np.nan
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    over = [row for row in rows if row["role"] in (STANDS, PLANNED)]
    told = [row for row in rows if row["role"] in (STANDS, PLANNED, TOGETHER)]
    least = min((float(row["onset_1m_h"] or "nan") for row in told), default=np.nan)
    return {row["station"] for row in over}, least if np.isfinite(least) else np.nan


def strain_table(sight):
    """Return the bytes of the table of strain rates that are told."""
    rows = sight.strain
    found = [one for *_, one in rows]
    return write_plain_table(
        {
            "stations": [" ".join(names) for names, *_ in rows],
            "length_d": np.array([length for _, length, _ in rows]),
            "along_per_a": DAYS_PER_YEAR * np.array([one.along_per_d for one in found]),
            "across_per_a": DAYS_PER_YEAR * np.array([one.across_per_d for one in found]),
            "shear_per_a": DAYS_PER_YEAR * np.array([one.shear_per_d for one in found]),
            "condition": np.array([one.condition for one in found]),
            "poor_shape": [str(one.poor).lower() for one in found],
        },
        {"length_d": 1, "condition": 2}
        | dict.fromkeys(("along_per_a", "across_per_a", "shear_per_a"), 8),
    )


def speed_table(sight):
    """Return the bytes of the table of the water's speeds that are told."""
    rows = [(row, one) for row in sight.speeds for one in row.sights or (None,)]
    numbers = ("speed_m_s", "low_m_s", "high_m_s")
    return write_plain_table(
        {
            "lake": [row.lake for row, _ in rows],
            "stations": [" ".join(row.stations) for row, _ in rows],
            "apart_km": np.array([row.apart_km for row, _ in rows]),
            "response_percent": np.array([100.0 * row.response for row, _ in rows]),
            "onset_h": np.array([row.onset_h for row, _ in rows]),
            "fastest_told_m_s": np.array([row.fastest_m_s for row, _ in rows]),
            **{
                name: np.array([np.nan if one is None else getattr(one, name) for _, one in rows])
                for name in numbers
            },
        },
        {"apart_km": 2, "response_percent": 0, "onset_h": 2, "fastest_told_m_s": 3}
        | dict.fromkeys(numbers, 3),
    )


def sight_words(sight):
    """Yield what the stations tell together, in sentences."""
    yield (
        f"strain rate that the stations tell while a lake drains, 1 sigma; {sight.flow}; "
        f"{sight.noise}; errors alike by {CORRELATION:g}"
    )
    whole = [row for row in sight.strain if row[0] == (ALL,)]
    if not whole:
        yield "  three stations on moving ice are needed"
    for _, length, one in whole:
        along, across, shear = (
            1e6 * DAYS_PER_YEAR * rate
            for rate in (one.along_per_d, one.across_per_d, one.shear_per_d)
        )
        if not np.isfinite(one.condition):
            yield f"  {length:.0f} d: the stations stand on a line, which tells no strain"
            continue
        poor = "; poor shape" if one.poor else ""
        yield (
            f"  {length:.0f} d, all stations: along {along:.0f}, across {across:.0f}, shear "
            f"{shear:.0f} millionths a year{poor}"
        )
    yield ""
    yield (
        "speed of the water that the stations tell, by the onset of faster ice for "
        f"{RESPONSE_D:.0f} d along a lake's route, 5 to 95 %"
    )
    if not sight.speeds:
        yield (
            "  not known: a route with two stations, or one and a lake whose onset is told, and "
            "the ice's speed are needed"
        )
    for row in sight.speeds:
        yield f"  {_speed_words(row)}"


def _speed_words(row):
    begin = (
        f"{row.lake}, {' '.join(row.stations)}, {row.apart_km:.1f} km, ice {row.response:.0%} "
        f"faster: onset to {row.onset_h:.1f} h"
    )
    if not row.sights:
        return f"{begin}: too small to be dated"
    bands = "; ".join(
        f"{one.speed_m_s:g} m/s as {one.low_m_s:.2g} to {one.high_m_s:.2g}"
        if one.bounded
        else f"{one.speed_m_s:g} m/s as above {one.low_m_s:.2g}"
        for one in row.sights
    )
    return f"{begin}; {bands}"
