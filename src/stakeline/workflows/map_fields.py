"""Fields of the grids in ``maps/`` by name, whichever file, format or map holds them."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from ..earth.projection import projection
from ..errors import SettingsError
from ..formats.grids import read_grids
from ..lakes.map_input import heights_above, same_heights
from .motion_ground import SURFACE, grid_files

BED, THICKNESS, BED_SIGMA, GEOID_FIELD = "bed", "thickness", "bed_sigma", "geoid"
_ALSO = {"bed_error": BED_SIGMA, "errbed": BED_SIGMA}  # as published maps have them
_ALSO |= {"vx": "velocity_x", "vy": "velocity_y"}
_ALSO |= {f"land_ice_surface_{a}_velocity": f"velocity_{a}" for a in "xy"}  # CF standard names
_METRES = ("", "m", "metre", "metres", "meter", "meters")


@dataclass(frozen=True, eq=False)
class MapField:
    """One field of one file: ``where``, the file below the campaign; ``grids``, all it holds."""

    name: str
    where: str
    grids: object

    @property
    def values(self):
        """The field (rows, columns). [m]

        Raises SettingsError where it is in another unit.
        """
        unit = self.grids.units.get(self.name, "m")
        if unit not in _METRES:
            raise SettingsError(f"{self.where}: {self.name} is in '{unit}'; give metres")
        return np.asarray(self.grids.fields[self.name], float)

    def in_units(self, units):
        """Return this field times the factor of its unit in ``units``; its values count as metres.

        Raises SettingsError where it is in another unit.
        """
        unit = self.grids.units.get(self.name, "")
        if unit not in units:
            known = ", ".join(one for one in units if one)
            raise SettingsError(f"{self.where}: {self.name} is in '{unit}'; give one of {known}")
        values = units[unit] * np.asarray(self.grids.fields[self.name], float)
        return replace(
            self, grids=replace(self.grids, fields={self.name: values}, units={self.name: "m"})
        )

    @property
    def above(self):
        """What heights are above, as the file says: ellipsoid, geoid, or ''."""
        return heights_above(self.grids.words.get(self.name, ""))

    def at(self, point_m, epsg):
        """Return the field at points (n, 2) of map ``epsg``, linear; NaN off it. [m]"""
        x, y = np.asarray(point_m, float).T
        if epsg != self.grids.epsg:
            place = projection(epsg).inverse(x, y)
            x, y = projection(self.grids.epsg).forward(*place)
        east, north = np.asarray(self.grids.x_m, float), np.asarray(self.grids.y_m, float)
        across, down = np.argsort(east), np.argsort(north)
        read = RegularGridInterpolator(
            (north[down], east[across]), self.values[np.ix_(down, across)],
            bounds_error=False, fill_value=np.nan,
        )  # fmt: skip
        return read(np.stack([y, x], axis=-1))


def fields_by_name(path):
    """Return the Grids of a file with our own names of fields, whatever their letters' size."""
    grids = read_grids(path)
    own = {name: _ALSO.get(name.lower(), name.lower()) for name in grids.fields}
    return replace(
        grids,
        fields={own[k]: v for k, v in grids.fields.items()},
        units={own[k]: v for k, v in grids.units.items()},
        words={own[k]: v for k, v in grids.words.items()},
    )


def map_fields(campaign, names, left_out=""):
    """Return {name: list of :class:`MapField`} of the grids of ``maps/``, in order of files.

    Names that no file holds are missing. ``left_out``: name of a file that is not looked at.
    """
    found = {}
    for path in grid_files(campaign):
        if path.name == left_out:
            continue
        grids = fields_by_name(path)
        for name in (n for n in names if n in grids.fields):
            found.setdefault(name, []).append(MapField(name, campaign.relative(path), grids))
    return found


@dataclass(frozen=True, eq=False)
class ThicknessMap:
    """Thickness of the ice by one map, or by two: ``words`` say which; ``at(point_m, epsg)``."""

    words: str
    at: object


def thickness_maps(campaign):
    """Return the :class:`ThicknessMap` of ``maps/``: each ``thickness``, then surface less bed.

    Surface and bed may stand in two files, as GeoTIFFs do, and on two grids. Heights above the
    geoid and above the ellipsoid are brought together by a map ``geoid``.
    """
    found = map_fields(campaign, (THICKNESS, SURFACE, BED, GEOID_FIELD))
    maps = [ThicknessMap(f"thickness of {one.where}", one.at) for one in found.get(THICKNESS, ())]
    geoid = (found.get(GEOID_FIELD) or [None])[0]
    pairs = [(s, b) for s in found.get(SURFACE, ()) for b in found.get(BED, ())]
    for surface, bed in sorted(pairs, key=lambda pair: pair[0].where != pair[1].where):
        said = f" and {bed.where}" * (bed.where != surface.where)
        words = f"surface less bed of {surface.where}{said}"
        maps.append(ThicknessMap(words, partial(_difference, surface, bed, geoid)))
    return tuple(maps)


def _difference(surface, bed, geoid, point_m, epsg):
    """Return surface less bed at points, above the same. [m]"""
    above = surface.above, bed.above
    height = None if geoid is None else geoid.at(point_m, epsg)
    top, ground, *_ = same_heights(surface.at(point_m, epsg), bed.at(point_m, epsg), above, height)
    return top - ground
