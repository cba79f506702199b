"""Which stations stand over a lake, since when and how far inside, and which beside it."""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_DAY
from ..earth.ellipsoid import geodetic_from_xyz
from ..earth.projection import projection
from ..errors import SettingsError
from ..time import iso
from .lakes_ground import ice_thickness
from .position_tables import station_positions

OVER, CONTROL, NEITHER = "over", "control", "neither"
BY_HAND = "by hand"
LEAST_INSIDE = 0.5  # -, of a station's days inside from which it stands over the lake; choice
MOST_CONTROLS = 3  # the nearest ones; choice
FLOATS_M = 0.05  # m, amplitude of the greatest tide up from which ice is taken to float; choice
FREE_THICKNESSES = 2.0  # -, ice thicknesses from any margin, beyond which the lake is not felt;
# choice: there the surface over a stuck bed does less than some per cent of the roof


@dataclass(frozen=True, eq=False)
class Track:
    """Where a station was, once a day: GPS times (n,) and map points (n, 2). [ns, m]"""

    station: str
    time_ns: np.ndarray
    point_m: np.ndarray

    def at(self, time_ns):
        """Return the map point (2,) at a time; the nearest day's."""
        return self.point_m[np.argmin(np.abs(self.time_ns - int(time_ns)))]


@dataclass(frozen=True)
class Role:
    """What a station is to a lake.

    ``role``: ``over``, ``control`` or ``neither``; ``inside_share`` of its days, ``inside_m``: the
    true distance inside the margin, median over the days (negative: outside). ``words``: why.
    ``x_m``, ``y_m``: its median place on the map.
    """

    station: str
    role: str
    inside_share: float
    inside_m: float
    words: str
    x_m: float = np.nan
    y_m: float = np.nan


def tracks(campaign, stations, epsg):
    """Return {station: Track} of stations with positions on the Earth."""
    chart, found = projection(epsg), {}
    for name in stations:
        columns = station_positions(campaign, name)
        time_ns = columns["time_gps"].astype("datetime64[ns]").view(np.int64)
        first = np.unique(time_ns // NS_PER_DAY, return_index=True)[1] if len(time_ns) else []
        xyz = np.stack([columns[f"{axis}_m"][first] for axis in "xyz"], axis=1)
        there = np.isfinite(xyz).all(axis=1)
        if there.any():
            latitude, longitude, _ = geodetic_from_xyz(xyz[there])
            point = np.stack(chart.forward(latitude, longitude), axis=1)
            found[name] = Track(name, time_ns[first][there], point)
    return found


def roles(campaign, lake, outline, every, located, results):
    """Return the tuple of :class:`Role` of all stations to one lake, nearest first.

    Parameters
    ----------
    campaign : Campaign
    lake : str
    outline : Outline
        Of this lake.
    every : sequence of Outline
        Of all lakes of the campaign.
    located : dict of Track
    results : dict of StationResult
        Motion by station: a control moves and does not float.

    Raises
    ------
    SettingsError
        Where ``[[lakes.lake]]`` names a station that has no motion.
    """
    own = campaign.settings.lakes.of(lake)
    unknown = [s for s in (*own.stations, *(own.controls or ())) if s not in located]
    if unknown:
        raise SettingsError(
            f"campaign.toml: lake '{lake}' names station {', '.join(unknown)}; with motion and "
            f"positions there are {', '.join(located)}"
        )
    free_m = FREE_THICKNESSES * _thickness(campaign, outline)
    within_m = 1e3 * campaign.settings.lakes.controls_within_km
    found = []
    for name, track in located.items():
        inside_m = outline.margin_m(track.point_m)
        nearest = max(float(o.margin_m(track.point_m).max()) for o in every)
        role, words = _over(track, inside_m)
        if role == NEITHER and not (inside_m > 0.0).any():
            words = _not_control(results[name], nearest, inside_m, free_m, within_m)
            role = NEITHER if words else CONTROL
            words = words or f"{-np.median(inside_m) / 1e3:.1f} km outside the margin"
        share = float((inside_m > 0.0).mean())
        place = np.median(track.point_m, axis=0).tolist()
        found.append(Role(name, role, share, float(np.median(inside_m)), words, *place))
    found.sort(key=lambda one: -one.inside_m)
    return tuple(_by_hand(_few_controls(found), own))


def _thickness(campaign, outline):
    """Return the thickness above a lake; 0 where it is not known: any distance will do then."""
    try:
        return ice_thickness(campaign, outline).value_m
    except SettingsError:
        return 0.0


def _over(track, inside_m):
    """Return (role, words) of a station by its days inside the outline."""
    inside = inside_m > 0.0
    depth = f"{np.median(inside_m[inside]):.0f} m inside the margin" if inside.any() else ""
    if inside.all():
        return OVER, depth
    if not inside.any():
        return NEITHER, ""
    day = iso(int(track.time_ns[np.flatnonzero(np.diff(inside.astype(int)) != 0)[0] + 1]))[:10]
    said = f"{depth} on {inside.mean():.0%} of its days only, {_crossing(inside)} on {day}"
    if inside.mean() >= LEAST_INSIDE:
        return OVER, said
    return NEITHER, f"{said}: neither over the lake nor a control"


def _crossing(inside):
    return "out over the margin" if inside[0] else "in over the margin"


def _not_control(result, nearest_m, inside_m, free_m, within_m):
    """Return why a station outside is no control; '' where it is one."""
    away = -float(np.median(inside_m))
    if away > within_m:
        return f"{away / 1e3:.1f} km outside, further than controls may stand"
    if nearest_m > 0.0:
        return "over another lake"
    if nearest_m > -free_m:
        return (
            f"{-nearest_m / 1e3:.1f} km from the margin of a lake, nearer than "
            f"{free_m / 1e3:.1f} km ({FREE_THICKNESSES:g} ice thicknesses): it may feel the water"
        )
    if not result.moves:
        return "on rock, not on the ice"
    if floats(result):
        return "afloat: it moves up and down with the tide"
    return ""


def floats(result):
    """Say whether the tide lifts a station."""
    up = [float(t["amplitude_m"] or 0.0) for t in result.tides if t["axis"] == "up"]
    return max(up, default=0.0) > FLOATS_M


def _few_controls(found):
    """Keep the nearest controls as such."""
    count, kept = 0, []
    for one in found:
        count += one.role == CONTROL
        if one.role == CONTROL and count > MOST_CONTROLS:
            words = f"{one.words}; {MOST_CONTROLS} controls are nearer"
            one = replace(one, role=NEITHER, words=words)
        kept.append(one)
    return kept


def _by_hand(found, own):
    """Return the roles with those that the settings name in place of those found."""
    for one in found:
        role, words = one.role, one.words
        if own.stations and (role == OVER or one.station in own.stations):
            role = OVER if one.station in own.stations else NEITHER
            words = f"{words}; {BY_HAND}"
        if own.controls is not None and (role == CONTROL or one.station in own.controls):
            role = CONTROL if one.station in own.controls else NEITHER
            words = f"{words}; {BY_HAND}"
        yield replace(one, role=role, words=words)


def rule(part):
    """Return in words how stations are given their roles."""
    return (
        f"A station stands over a lake where it was inside the outline on {LEAST_INSIDE:.0%} of "
        f"its days or more. Controls are the {MOST_CONTROLS} nearest of those on moving ice that "
        f"is aground, at most {part.controls_within_km:g} km outside and at least "
        f"{FREE_THICKNESSES:g} ice thicknesses from the margin of any lake."
    )
