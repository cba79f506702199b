"""What lies under the map of a campaign: outlines and surface of its folder ``maps/``."""

from dataclasses import dataclass

import numpy as np

from ..earth.projection import PolarStereographic, projection
from ..formats.grids.netcdf import read_grids
from ..formats.outlines import OUTLINE_SUFFIXES, outline_parts, read_rings
from ..report.motion_maps import Ground

MAPS = "maps"
NORTH, SOUTH = 3413, 3031
SURFACE = "surface"
_SUFFIXES = (".nc", ".tif", ".tiff")


@dataclass(frozen=True)
class MapSheet:
    """The map that a campaign is drawn on, and what lies on it.

    ``ground`` is in map kilometres; ``files``: what was read, relative to the campaign.
    """

    epsg: int
    chart: PolarStereographic
    ground: Ground
    files: tuple = ()

    @property
    def name(self):
        """What the axes are called after."""
        return f"EPSG:{self.epsg}"

    def place_km(self, latitude_rad, longitude_rad):
        """Return map coordinates x, y. [km]"""
        easting, northing = self.chart.forward(latitude_rad, longitude_rad)
        return easting / 1e3, northing / 1e3

    def direction_rad(self, azimuth_rad, longitude_rad):
        """Return the angle on the map, from its x towards y, of a true azimuth."""
        return 0.5 * np.pi - np.asarray(azimuth_rad) - self.chart.convergence(longitude_rad)


def grid_files(campaign):
    """Return the paths of the grids in the folder ``maps/``, in order of names."""
    return _of_kind(campaign, _SUFFIXES)


def outline_files(campaign):
    """Return the paths of the outlines in the folder ``maps/``, in order of names."""
    return _of_kind(campaign, OUTLINE_SUFFIXES)


def _of_kind(campaign, suffixes):
    folder = campaign.folder(MAPS)
    return sorted(path for path in folder.glob("*") if path.suffix.lower() in suffixes)


def map_sheet(campaign, latitude_rad):
    """Return the :class:`MapSheet` of a campaign around a latitude.

    The map is that of the first grid with a surface, else the usual one of the hemisphere. Grids
    of another map are left aside.

    Raises
    ------
    FormatError
        Where a file of the folder cannot be read.
    """
    surfaces, files = [], []
    for path in grid_files(campaign):
        grids = read_grids(path)
        if SURFACE in grids.fields:
            surfaces.append(grids)
            files.append(campaign.relative(path))
    epsg = surfaces[0].epsg if surfaces else (NORTH if latitude_rad > 0.0 else SOUTH)
    chart = projection(epsg)
    lakes = []
    for path in outline_files(campaign):
        files += [campaign.relative(part) for part in outline_parts(path)]
        for rings in read_rings(path):
            x, y = rings.outer.T
            if not rings.in_metres:
                x, y = chart.forward(np.radians(y), np.radians(x))
            lakes.append((rings.name, x / 1e3, y / 1e3))
    surface = ()
    if surfaces:
        grids = surfaces[0]
        height = np.asarray(grids.fields[SURFACE], float)
        surface = (np.asarray(grids.x_m) / 1e3, np.asarray(grids.y_m) / 1e3, height)
    return MapSheet(epsg, chart, Ground(tuple(lakes), *surface), tuple(files))
