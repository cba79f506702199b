"""Maps of surface, bed and the like as NetCDF or GeoTIFF; see SPEC.md beside this file."""

from .netcdf import read_grids, write_grids
from .record import Grids

__all__ = ["Grids", "read_grids", "write_grids"]
