"""NetCDF of the HDF5 form: variables of the root group, by an optional library."""

from ...errors import FormatError

try:
    import h5py
except ImportError:
    h5py = None


def read_hdf5(path):
    """Return {name: (values, names of dimensions, attributes)} of the root group.

    Raises
    ------
    FormatError
        Where the library is missing, or the file is damaged.
    """
    if h5py is None:
        raise FormatError(
            *(path, None, "NetCDF of the HDF5 form", "classic NetCDF"),
            "install h5py (pip install 'stakeline[hdf5]') or convert it",
        )
    try:
        with h5py.File(path, "r") as file:
            sets = {n: v for n, v in file.items() if isinstance(v, h5py.Dataset)}
            return {name: (v[()], _dimensions(v), dict(v.attrs)) for name, v in sets.items()}
    except (OSError, RuntimeError, KeyError) as problem:
        raise FormatError(path, None, f"no HDF5 ({problem})", "NetCDF") from None


def _dimensions(variable):
    """Return the names of the coordinates that are attached to a variable."""
    attached = (list(one.values()) for one in variable.dims)
    return tuple(one[0].name.rsplit("/", 1)[-1] if one else "" for one in attached)
