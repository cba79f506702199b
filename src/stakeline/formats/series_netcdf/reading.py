"""Read columns of a NetCDF file: the classic form, and HDF5 where a library for it is installed."""

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.io import netcdf_file

from ...errors import FormatError

try:
    import h5py
except ImportError:  # an optional library
    h5py = None

_HDF5 = b"\x89HDF\r\n"


@dataclass(frozen=True)
class NetcdfColumns:
    """Variables of a file: ``values`` and ``units`` by name, and the names of its stations."""

    file: str
    values: dict
    units: dict
    station_names: tuple = ()

    def column(self, name, station=""):
        """Return one variable as (n,); of a variable of several stations that of ``station``.

        Raises FormatError naming what is there.
        """
        if name not in self.values:
            raise FormatError(
                self.file, None, f"no variable {name}", f"one of {', '.join(self.values)}"
            )
        values = self.values[name]
        if values.ndim <= 1 or 1 in values.shape:
            return np.ravel(values)
        if values.ndim == 2 and station in self.station_names:
            axis = values.shape.index(len(self.station_names))
            return np.take(values, self.station_names.index(station), axis=axis)
        raise FormatError(
            self.file,
            None,
            f"{name} of shape {values.shape}",
            f"one station's: name one of {', '.join(self.station_names) or 'a station variable'}",
        )


def is_netcdf(path):
    """Tell by its first bytes whether a file is NetCDF, of either form."""
    with Path(path).open("rb") as file:
        begin = file.read(8)
    return begin.startswith((_HDF5, b"CDF\x01", b"CDF\x02"))


def read_columns(path):
    """Return the :class:`NetcdfColumns` of a NetCDF file.

    Raises
    ------
    FormatError
        For another format, or HDF5 where its library is missing.
    """
    path = Path(path)
    data = path.read_bytes()
    if data.startswith(_HDF5):
        if h5py is None:
            raise FormatError(
                path,
                None,
                "NetCDF of the HDF5 form",
                "classic NetCDF",
                "install h5py or convert it",
            )
        return _hdf5(path)
    try:
        file = netcdf_file(io.BytesIO(data), "r", mmap=False, maskandscale=False)
        found = {name: (np.array(v[:]), dict(v._attributes)) for name, v in file.variables.items()}
    except (
        Exception
    ) as problem:  # the library raises TypeError, ValueError, IndexError... on damage
        raise FormatError(path, None, f"no NetCDF ({problem})", "classic NetCDF") from None
    return _columns(path, found)


def _hdf5(path):
    with h5py.File(path, "r") as file:
        found = {
            name: (np.array(item), {k: _plain(v) for k, v in item.attrs.items()})
            for name, item in file.items()
            if isinstance(item, h5py.Dataset)
        }
    return _columns(path, found)


def _plain(value):
    """Return an attribute as text or number; what is neither as its name."""
    if isinstance(value, bytes | str):
        return value
    value = np.ravel(value) if isinstance(value, np.ndarray) else value
    return value[0] if isinstance(value, np.ndarray) and value.size == 1 else value


def _columns(path, found):
    values, units, names = {}, {}, ()
    for name, (raw, attributes) in found.items():
        units[name] = _text(attributes.get("units", ""))
        if raw.dtype.kind in "SU":
            if _text(attributes.get("cf_role", "")) == "timeseries_id":
                names = tuple(_word(row) for row in np.atleast_1d(raw))
            continue
        if raw.dtype.kind in "iuf":
            values[name] = _scaled(raw, attributes)
    return NetcdfColumns(str(path), values, units, names)


def _scaled(raw, attributes):
    """Return numbers with missing ones as NaN, scale and offset applied (CF 1.11, chapter 8)."""
    out = raw.astype(float)
    for key in ("_FillValue", "missing_value"):
        if key in attributes:
            out[raw == np.ravel(attributes[key])[0]] = np.nan
    scale = float(np.ravel(attributes.get("scale_factor", 1.0))[0])
    return out * scale + float(np.ravel(attributes.get("add_offset", 0.0))[0])


def _word(row):
    parts = row if isinstance(row, np.ndarray) else np.array([row])
    return "".join(_text(part) for part in np.ravel(parts)).strip("\0 ")


def _text(value):
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
