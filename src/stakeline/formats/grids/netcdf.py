"""Read and write grids as classic NetCDF with CF metadata."""

import io
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.io import netcdf_file

from ...errors import FormatError

_HDF5 = b"\x89HDF\r\n"
_MAPPING = "polar_map"
_PARALLEL_DEG = {3413: 70.0, 3031: -71.0}
_MERIDIAN_DEG = {3413: -45.0, 3031: 0.0}


@dataclass(frozen=True)
class Grids:
    """Fields on one regular map grid.

    ``x_m`` (columns,) and ``y_m`` (rows,) are map coordinates of EPSG code ``epsg``; ``fields``
    holds arrays (rows, columns) by name, ``units`` and ``words`` say what each is.
    """

    x_m: np.ndarray
    y_m: np.ndarray
    epsg: int
    fields: dict
    units: dict = field(default_factory=dict)
    words: dict = field(default_factory=dict)


def write_grids(grids, title=""):
    """Return the bytes of a NetCDF file of :class:`Grids` on EPSG:3413 or EPSG:3031.

    Raises FormatError for another map, or a field whose shape is not (rows, columns).
    """
    if grids.epsg not in _PARALLEL_DEG:
        raise FormatError("grids", None, f"EPSG:{grids.epsg}", "EPSG:3413 or EPSG:3031")
    shape = (len(grids.y_m), len(grids.x_m))
    sink = io.BytesIO()
    file = netcdf_file(sink, "w", version=2)
    file.Conventions = "CF-1.11"
    file.title = title
    _write_map(file, grids.epsg)
    for name, values in (("y", grids.y_m), ("x", grids.x_m)):
        file.createDimension(name, len(values))
        variable = file.createVariable(name, "f8", (name,))
        variable[:] = values
        variable.standard_name = f"projection_{name}_coordinate"
        variable.units = "m"
    for name, values in grids.fields.items():
        if np.shape(values) != shape:
            raise FormatError(f"grid '{name}'", None, f"shape {np.shape(values)}", f"{shape}")
        variable = file.createVariable(name, "f4", ("y", "x"))
        variable[:] = values
        variable.units = grids.units.get(name, "1")
        variable.long_name = grids.words.get(name, name)
        variable.grid_mapping = _MAPPING
    file.flush()
    data = sink.getvalue()
    file.close()
    return data


def _write_map(file, epsg):
    variable = file.createVariable(_MAPPING, "i4", ())
    variable.data[...] = 0  # CF: of no meaning
    variable.grid_mapping_name = "polar_stereographic"
    variable.latitude_of_projection_origin = 90.0 if _PARALLEL_DEG[epsg] > 0 else -90.0
    variable.standard_parallel = _PARALLEL_DEG[epsg]
    variable.straight_vertical_longitude_from_pole = _MERIDIAN_DEG[epsg]
    variable.semi_major_axis = 6378137.0
    variable.inverse_flattening = 298.257223563
    variable.spatial_epsg = np.int32(epsg)


def read_grids(path):
    """Return the :class:`Grids` of a classic NetCDF file.

    Raises
    ------
    FormatError
        For another format, missing coordinates or map, or no field on them.
    """
    data = Path(path).read_bytes()
    if data.startswith(_HDF5):
        raise FormatError(path, None, "NetCDF of the HDF5 form", "classic NetCDF", "convert it")
    try:
        file = netcdf_file(io.BytesIO(data), "r", mmap=False, maskandscale=False)
    except (
        Exception
    ) as problem:  # the library raises TypeError, ValueError, IndexError... on damage
        raise FormatError(path, None, f"no NetCDF ({problem})", "classic NetCDF") from None
    variables = file.variables
    missing = [name for name in ("x", "y") if name not in variables]
    if missing:
        raise FormatError(path, None, _list(file), f"coordinates x and y; missing {missing}")
    found = {n: v for n, v in variables.items() if v.dimensions == ("y", "x")}
    if not found:
        raise FormatError(path, None, _list(file), "a field on (y, x)")
    return Grids(
        np.array(variables["x"][:], float),
        np.array(variables["y"][:], float),
        _epsg_of(path, file, found),
        {name: np.array(v[:], float) for name, v in found.items()},
        {name: _text(v, "units") for name, v in found.items()},
        {name: _text(v, "long_name") for name, v in found.items()},
    )


def _epsg_of(path, file, fields):
    names = {_text(v, "grid_mapping") for v in fields.values()} & set(file.variables)
    codes = {int(getattr(file.variables[n], "spatial_epsg", 0)) for n in names} - {0}
    if len(codes) != 1:
        raise FormatError(
            *(path, None, "fields that name no map, or several"),
            "one variable as grid_mapping with spatial_epsg, such as 3413",
        )
    return codes.pop()


def _text(variable, name):
    value = getattr(variable, name, b"")
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def _list(file):
    return f"variables {', '.join(file.variables) or 'none'}"
