"""Write grids as classic NetCDF with CF metadata; read them from NetCDF or GeoTIFF."""

import io
from pathlib import Path

import numpy as np
from scipy.io import netcdf_file

from ...errors import FormatError
from .geotiff import TIFF, as_numbers, read_geotiff
from .hdf5 import read_hdf5
from .record import Grids

_HDF5 = b"\x89HDF\r\n"
_MAPPING = "polar_map"
_PARALLEL_DEG = {3413: 70.0, 3031: -71.0}
_MERIDIAN_DEG = {3413: -45.0, 3031: 0.0}


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
    """Return the :class:`Grids` of a NetCDF file, or of a GeoTIFF.

    Raises
    ------
    FormatError
        For another format, missing coordinates or map, or no field on them; for NetCDF of the HDF5
        form where its library is missing.
    """
    data = Path(path).read_bytes()
    if data[:4] in TIFF:
        return read_geotiff(path, data)
    found = read_hdf5(path) if data.startswith(_HDF5) else _classic(path, data)
    missing = [n for n in ("x", "y") if n not in found or found[n][0].dtype.kind not in "fiu"]
    if missing:
        raise FormatError(path, None, _list(found), f"coordinates x and y; missing {missing}")
    fields = {n: v for n, v in found.items() if v[1] == ("y", "x") and v[0].dtype.kind in "fiu"}
    if not fields:
        raise FormatError(path, None, _list(found), "a field on (y, x)")
    return Grids(
        *(np.array(found[name][0], float) for name in ("x", "y")),
        _epsg_of(path, found, fields),
        {name: _numbers(*v) for name, v in fields.items()},
        {name: _text(v, "units") for name, v in fields.items()},
        {name: _text(v, "long_name") for name, v in fields.items()},
    )


def _classic(path, data):
    """Return {name: (values, dimensions, attributes)} of the classic format."""
    try:
        file = netcdf_file(io.BytesIO(data), "r", mmap=False, maskandscale=False)
        return {
            name: (np.array(v[:] if v.shape else v.getValue()), v.dimensions, v._attributes)
            for name, v in file.variables.items()
        }
    except (
        Exception
    ) as problem:  # the library raises TypeError, ValueError, IndexError... on damage
        raise FormatError(path, None, f"no NetCDF ({problem})", "classic NetCDF") from None


def _numbers(values, _, attributes):
    """Return a field as numbers, missing NaN, packing undone (CF 1.11, sections 2.5.1 and 8.1)."""
    numbers = as_numbers(values)
    for name in ("_FillValue", "missing_value"):
        numbers[values == _number(attributes, name)] = np.nan
    scale, offset = _number(attributes, "scale_factor", 1.0), _number(attributes, "add_offset", 0.0)
    return numbers if (scale, offset) == (1.0, 0.0) else numbers * scale + offset


def _number(attributes, name, otherwise=np.nan):
    """Return an attribute as a number; ``otherwise`` where it is missing or none."""
    try:
        return float(np.ravel(attributes.get(name, otherwise))[0])
    except (TypeError, ValueError, IndexError):
        return otherwise


def _epsg_of(path, found, fields):
    """Return the EPSG code that the fields' map has, by its code or by CF's parameters."""
    names = {_text(v, "grid_mapping") for v in fields.values()} & set(found)
    codes = {_code(found[name][2]) for name in names} - {0}
    if len(codes) != 1:
        raise FormatError(
            *(path, None, "fields that name no map, or several"),
            "one variable as grid_mapping with spatial_epsg, such as 3413, or the CF parameters of "
            "EPSG:3413 or EPSG:3031",
        )
    return codes.pop()


def _code(attributes):
    """Return the EPSG code of a grid mapping; 0 where it is none that is known."""
    code = _number(attributes, "spatial_epsg")
    if np.isfinite(code):
        return int(code)
    names = "standard_parallel", "straight_vertical_longitude_from_pole"
    found = tuple(_number(attributes, name) for name in names)
    known = (c for c in _PARALLEL_DEG if (_PARALLEL_DEG[c], _MERIDIAN_DEG[c]) == found)
    return next(known, 0)


def _text(variable, name):
    value = variable[2].get(name, b"")
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def _list(found):
    return f"variables {', '.join(found) or 'none'}"
