"""Maps of height change whose fields lie in groups of a file of the HDF5 form."""

import h5py
import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.altimetry import read_height_change

SHAPE = (2, 2, 3)


def grouped(path, groups, coordinates_in_root=False):
    """Write {group: names of fields} with coordinates in each group, or once in the root."""
    with h5py.File(path, "w") as file:
        file.create_dataset("Polar", data=np.int32(0)).attrs["spatial_epsg"] = 3413
        for k, (group, names) in enumerate(groups.items()):
            if not (coordinates_in_root and k):
                lay_axes(file if coordinates_in_root else file.require_group(group))
            for name in names:
                field = file.create_dataset(f"{group}/{name}", data=np.full(SHAPE, k + 1.0))
                field.attrs["units"], field.attrs["grid_mapping"] = "m", "Polar"
    return path


def lay_axes(place):
    for name, values in (("time", [0.0, 91.0]), ("y", [-1e6, -1.1e6]), ("x", [-3e5, -2e5, -1e5])):
        place[name] = np.array(values)
        place[name].attrs["units"] = "m" if name != "time" else "days since 2030-01-01"


@pytest.mark.parametrize("root", [False, True])
def test_the_only_group_is_read_with_the_map_of_the_root(tmp_path, root):
    path = grouped(tmp_path / "a.nc", {"delta_h": ("delta_h", "delta_h_sigma")}, root)
    maps = read_height_change(path)
    assert (maps.name, maps.epsg, maps.dh_m.shape) == ("delta_h", 3413, SHAPE)
    assert (maps.sigma_m == 1.0).all()


def test_of_several_groups_one_is_named(tmp_path):
    path = grouped(tmp_path / "a.nc", {"change": ("dh",), "rate/lag1": ("dh", "other")})
    assert (read_height_change(path, "rate/lag1/dh").dh_m == 2.0).all()
    assert (read_height_change(path, "/change/dh").dh_m == 1.0).all()
    assert (read_height_change(path, "other").dh_m == 2.0).all()  # only one group has it
    for name in (None, "dh", "rate/dh"):
        with pytest.raises(FormatError, match=r"change/dh, rate/lag1/dh.*field = \"change/dh\""):
            read_height_change(path, name)
