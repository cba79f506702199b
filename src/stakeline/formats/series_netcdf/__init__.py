"""Series of stations as NetCDF with CF metadata; see SPEC.md beside this file."""

from .points import PointFile, write_points
from .reading import NetcdfColumns, is_netcdf, read_columns
from .writing import StationSeriesFile, write_series

__all__ = [
    "NetcdfColumns",
    "PointFile",
    "StationSeriesFile",
    "is_netcdf",
    "read_columns",
    "write_points",
    "write_series",
]
