"""Maps of the ice's motion in ``maps/``, and where it carries the places on a lake."""

from dataclasses import dataclass

import numpy as np

from ..constants import DAYS_PER_YEAR, NS_PER_DAY, NS_PER_S
from ..earth.projection import projection
from ..errors import SettingsError
from ..lakes.carried import Carried, IceField, carried, principal_strain_per_a
from .map_fields import map_fields

ALONG_X, ALONG_Y, SPEED, STRAIN = "velocity_x", "velocity_y", "speed", "strain_rate"
MOST_A = 50.0  # a; that a place is followed; choice
_DAY_S = NS_PER_DAY / NS_PER_S
_SPEED_UNITS = dict.fromkeys(("m d-1", "m/d", "m day-1", "m/day"), 1.0)
_SPEED_UNITS |= dict.fromkeys(("m s-1", "m/s"), _DAY_S)
_SPEED_UNITS |= dict.fromkeys(
    ("", "m a-1", "m/a", "m yr-1", "m/yr", "m year-1", "m/year"), 1.0 / DAYS_PER_YEAR
)
_STRAIN_UNITS = dict.fromkeys(("", "a-1", "1/a", "yr-1", "1/yr", "year-1"), 1.0)
_STRAIN_UNITS |= dict.fromkeys(("d-1", "1/d", "day-1"), DAYS_PER_YEAR)
_STRAIN_UNITS |= {"s-1": DAYS_PER_YEAR * _DAY_S, "1/s": DAYS_PER_YEAR * _DAY_S}


@dataclass(frozen=True, eq=False)
class MotionMap:
    """A map of the ice's motion about a lake, and in words where it is from."""

    field: IceField
    words: str


def motion_map(campaign, outline, drift):
    """Return the :class:`MotionMap` about a lake; None where ``maps/`` hold none on its map.

    ``velocity_x`` and ``velocity_y`` (true metres along the axes of the map), else ``speed`` along
    the drift of the lake, else that drift; strain rates by ``strain_rate``, else from the velocity.
    Without a unit speeds count as m/a and strain rates as 1/a.

    Parameters
    ----------
    campaign : Campaign
    outline : Outline
    drift : Drift

    Raises
    ------
    SettingsError
        For a unit that is neither, or one velocity without the other.
    """
    found = map_fields(campaign, (ALONG_X, ALONG_Y, SPEED, STRAIN))
    found = {
        name: next((one for one in fields if one.grids.epsg == outline.epsg), None)
        for name, fields in found.items()
    }
    found = {name: one for name, one in found.items() if one is not None}
    if not found:
        return None
    if (ALONG_X in found) != (ALONG_Y in found):
        lone = found.get(ALONG_X) or found.get(ALONG_Y)
        raise SettingsError(f"{lone.where}: {ALONG_X} and {ALONG_Y} go together; give both")
    base = next(found[name] for name in (ALONG_X, SPEED, STRAIN) if name in found)
    x = np.sort(np.asarray(base.grids.x_m, float))
    y = np.sort(np.asarray(base.grids.y_m, float))
    velocity, moved = _velocity(found, x, y, drift, outline.epsg)
    if STRAIN in found:
        rate = _on(found[STRAIN], _STRAIN_UNITS, x, y, outline.epsg)
        strained = f"strain rate of {found[STRAIN].where}"
    else:
        rate = principal_strain_per_a(x, y, velocity, outline.scale)
        strained = "strain rate by its differences"
    return MotionMap(IceField(x, y, velocity, rate, outline.scale), f"{moved}; {strained}")


def _velocity(found, x, y, drift, epsg):
    """Return (velocity (m, n, 2) [m/d], where it is from)."""
    if ALONG_X in found:
        parts = [_on(found[name], _SPEED_UNITS, x, y, epsg) for name in (ALONG_X, ALONG_Y)]
        return np.stack(parts, axis=-1), f"velocity of {found[ALONG_X].where}"
    along = np.asarray(drift.velocity_m_d, float)
    if SPEED in found:
        speed = _on(found[SPEED], _SPEED_UNITS, x, y, epsg)
        unit = along / max(drift.speed_m_d, 1e-12)
        return speed[..., None] * unit, f"speed of {found[SPEED].where} along the lake's flow"
    return np.broadcast_to(along, (y.size, x.size, 2)), "the lake's motion everywhere"


def _on(field, units, x, y, epsg):
    """Return a field in our unit on cells (m, n)."""
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    return field.in_units(units).at(points, epsg).reshape(y.size, x.size)


def speeds_by_map(campaign, place_rad, where=""):
    """Return (speeds (n,) at latitudes and longitudes (n, 2) [m/d], the map in words).

    NaN off every map; '' where there is none. ``where``: the only file that is looked at.
    """
    place_rad = np.asarray(place_rad, float).reshape(-1, 2)
    found = map_fields(campaign, (SPEED, ALONG_X, ALONG_Y))
    found = {n: [f for f in own if where in ("", f.where)] for n, own in found.items()}
    found = {name: fields for name, fields in found.items() if fields}
    names = (SPEED,) if SPEED in found else (ALONG_X, ALONG_Y)
    if not place_rad.size or any(name not in found for name in names):
        return np.full(len(place_rad), np.nan), ""
    parts = []
    for name in names:
        field = found[name][0]
        epsg = field.grids.epsg
        at = np.stack(projection(epsg).forward(*place_rad.T), axis=-1)
        parts.append(field.in_units(_SPEED_UNITS).at(at, epsg))
    return np.sqrt(np.sum(np.square(parts), axis=0)), f"{names[0]} of {found[names[0]][0].where}"


def carried_from(motion, place, limit_per_a, outline) -> Carried | None:
    """Return the :class:`Carried` of a place; None without a map, or where it lies off the map."""
    if motion is None:
        return None
    try:
        return carried(motion.field, place.map_m, limit_per_a, MOST_A * DAYS_PER_YEAR, outline)
    except SettingsError:
        return None
