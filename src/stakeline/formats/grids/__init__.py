"""Maps of surface, bed and the like as NetCDF with CF metadata; see SPEC.md beside this file."""

from .netcdf import Grids, read_grids, write_grids

__all__ = ["Grids", "read_grids", "write_grids"]
