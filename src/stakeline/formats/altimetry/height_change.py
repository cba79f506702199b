"""Read maps of height change with time (NetCDF with CF metadata); see SPEC.md."""

import io
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.io import netcdf_file

from ...constants import NS_PER_DAY, NS_PER_S
from ...errors import FormatError, TimeError
from ...time import from_iso, gps_from_utc
from .hdf5_points import HDF5, h5py
from .tables import LENGTHS

_SINCE = re.compile(r"(days?|hours?|seconds?)\s+since\s+(\d{4}-\d\d?-\d\d?)[T ]?(\S*)")
_UNIT_NS = {"day": NS_PER_DAY, "hour": NS_PER_DAY // 24, "second": NS_PER_S}
_EPSG = re.compile(r'(?:EPSG"?\s*[:,]+\s*"?|ID\["EPSG",\s*)(\d{4,5})')
_LATITUDE = {70.0: 3413, -71.0: 3031}  # standard parallel of the maps that are known
_DIMENSIONS = ("time", "y", "x")


@dataclass(frozen=True, eq=False)
class HeightChange:
    """Height change on one regular map at several times.

    ``x_m`` (columns,), ``y_m`` (rows,): map of ``epsg``; ``time_ns`` (t,): GPS time; ``dh_m``,
    ``sigma_m`` (t, rows, columns), NaN missing; sigma is None where the file tells none.
    """

    file: str
    x_m: np.ndarray
    y_m: np.ndarray
    epsg: int
    time_ns: np.ndarray
    dh_m: np.ndarray
    sigma_m: np.ndarray | None
    name: str
    notes: tuple = ()


def read_height_change(path, name=None):
    """Return the :class:`HeightChange` of a NetCDF file, classic or HDF5.

    Parameters
    ----------
    path : str or path
    name : str, optional
        Of the field; needed where several lie on ``(time, y, x)``. Of one in a group:
        ``group/field``, or the field's name where only one group has it.

    Raises
    ------
    FormatError
        Where coordinates, the map, units or the field are missing or not as CF asks for.
    """
    path = Path(path)
    found, own, name = _group(path, _variables(path), name)
    missing = [n for n in _DIMENSIONS if n not in found]
    if missing:
        raise FormatError(
            path, None, f"variables {', '.join(found) or 'none'}",
            f"coordinates time, y, x; missing {', '.join(missing)}",
        )  # fmt: skip
    axes = {n: np.ravel(found[n][0]).astype(float) for n in _DIMENSIONS}
    for axis in ("x", "y"):
        _metres(path, axis, found[axis][1], axes[axis])
    name, error = _chosen(path, _fields(found, own), name)
    values = _scaled(path, name, *found[name])
    sigma = _scaled(path, error, *found[error]) if error else None
    return HeightChange(
        str(path), axes["x"], axes["y"], _map_of(path, found, found[name][1]),
        _times(path, found["time"]), values, sigma, name,
        () if error else (f"{name}: no standard deviation in the file",),
    )  # fmt: skip


def _variables(path):
    """Return {name: (raw values, attributes)} of a file."""
    data = path.read_bytes()
    if data.startswith(HDF5):
        if h5py is None:
            raise FormatError(
                path, None, "NetCDF of the HDF5 form", "classic NetCDF",
                "install h5py or convert it",
            )  # fmt: skip
        try:
            return _hdf5(path)
        except OSError as problem:
            raise FormatError(path, None, f"damaged HDF5 ({problem})", "a whole file") from None
    try:
        file = netcdf_file(io.BytesIO(data), "r", mmap=False, maskandscale=False)
        return {n: (np.array(v[...]), dict(v._attributes)) for n, v in file.variables.items()}
    except Exception as problem:  # the library raises whatever it meets on damage
        raise FormatError(path, None, f"no NetCDF ({problem})", "NetCDF") from None


def _hdf5(path):
    """Return the variables of all groups; those within one are named ``group/variable``."""
    found = {}

    def keep(name, item):
        if isinstance(item, h5py.Dataset):
            found[name] = (item[()], dict(item.attrs))

    with h5py.File(path, "r") as file:
        file.visititems(keep)
    return {n: (np.asarray(values), attributes) for n, (values, attributes) in found.items()}


def _group(path, found, name):
    """Return (variables seen from the group that is meant, names of its own, field or None).

    A group sees the variables of the groups around it (CF 1.11, chapter 2.7).
    """
    seen = {}
    for group in sorted({n.rpartition("/")[0] for n in found}):
        around = ["/".join(group.split("/")[:k]) for k in range(len(group.split("/")))]
        own = {n.rpartition("/")[2] for n in found if n.rpartition("/")[0] == group}
        inner = {n.rpartition("/")[2]: v for place in dict.fromkeys(["", *around, group])
                 for n, v in found.items() if n.rpartition("/")[0] == place}  # fmt: skip
        seen[group] = (inner, own)
    fields = {g: _fields(*one) for g, one in seen.items()}
    wanted, _, field = (name or "").strip("/").rpartition("/")
    fit = [g for g in seen if fields[g] and (not field or field in fields[g])]
    fit = [g for g in fit if g == wanted] if wanted else fit
    if len(fit) == 1:
        return (*seen[fit[0]], field or None)
    grouped = [f"{g}/{n}" for g in seen if g for n in fields[g]]
    if not grouped:
        return (*seen.get("", ({}, set())), name)
    raise FormatError(
        path, None, f"fields in groups: {', '.join(grouped)}", f"one field, not {name or 'none'}",
        f'name the one that is meant in {path.with_suffix(".toml").name}: field = "{grouped[0]}"',
    )  # fmt: skip


def _fields(found, own):
    """Return the names of a group's own numbers on ``(time, y, x)``."""
    if any(n not in found for n in _DIMENSIONS):
        return []
    shape = tuple(found[n][0].size for n in _DIMENSIONS)
    return [
        n for n in found if n in own and found[n][0].shape == shape
        and found[n][0].dtype.kind in "iuf"
    ]  # fmt: skip


def _text(attributes, key):
    value = attributes.get(key, b"")
    value = np.ravel(value)[0] if isinstance(value, np.ndarray) and value.size else value
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def _metres(path, axis, attributes, values):
    unit = _text(attributes, "units")
    if unit not in ("m", "metre", "meter", "metres", "meters"):
        raise FormatError(path, None, f"{axis} in '{unit}'", "metres of a polar map")
    if len(values) and (np.abs(values) <= 360.0).all():
        raise FormatError(
            path, None, f"{axis} up to {np.abs(values).max():g}", "metres, not degrees"
        )


def _chosen(path, fields, name):
    """Return (name of the field, name of its standard deviation or None)."""
    errors = [n for n in fields if re.search(r"_(sigma|error|err|std)$", n)]
    plain = [n for n in fields if n not in errors]
    if name is None and len(plain) != 1:
        raise FormatError(
            path, None, f"fields {', '.join(plain) or 'none'} on (time, y, x)", "one field",
            "name the one that is meant" if plain else "",
        )  # fmt: skip
    name = name or plain[0]
    if name not in plain:
        raise FormatError(path, None, f"no field {name}", f"one of {', '.join(plain)}")
    own = [n for n in errors if n.rsplit("_", 1)[0] == name]
    return name, own[0] if own else None


def _scaled(path, name, raw, attributes):
    """Return numbers in metres, missing ones as NaN (CF 1.11, chapters 3.1 and 8.1)."""
    unit = _text(attributes, "units")
    if unit not in LENGTHS:
        raise FormatError(path, None, f"{name} in '{unit}'", f"one of {', '.join(LENGTHS)}")
    values = raw.astype(float)
    for key in ("_FillValue", "missing_value"):
        if key in attributes:
            values[raw == np.ravel(attributes[key])[0]] = np.nan
    scale, offset = (
        float(np.ravel(attributes.get(key, otherwise))[0])
        for key, otherwise in (("scale_factor", 1.0), ("add_offset", 0.0))
    )
    return (values * scale + offset) * LENGTHS[unit]


def _times(path, variable):
    raw, attributes = variable
    said = _text(attributes, "units")
    match = _SINCE.match(said)
    calendar = _text(attributes, "calendar") or "standard"
    if not match or calendar not in ("standard", "gregorian", "proleptic_gregorian"):
        raise FormatError(
            path, None, f"time in '{said}', calendar {calendar}", "such as 'days since 2000-01-01'"
        )
    date = "-".join(part.zfill(2) for part in match[2].split("-"))
    try:
        start = from_iso(f"{date}T{match[3] or '00:00:00'}")
    except TimeError:
        raise FormatError(path, None, f"time in '{said}'", "an ISO 8601 date") from None
    values = np.ravel(raw).astype(float)
    if not np.isfinite(values).all() or (np.diff(values) <= 0.0).any():
        raise FormatError(path, None, "times that do not rise", "rising times")
    unit_ns = _UNIT_NS[match[1].rstrip("s")]
    return gps_from_utc(start + np.round(values * unit_ns).astype(np.int64))


def _map_of(path, found, attributes):
    """Return the EPSG code of a field's map."""
    mapping = _text(attributes, "grid_mapping").rpartition("/")[2]
    told = found[mapping][1] if mapping in found else {}
    if "spatial_epsg" in told:
        return int(np.ravel(told["spatial_epsg"])[0])
    for key in ("crs_wkt", "spatial_ref", "epsg_code"):
        codes = _EPSG.findall(_text(told, key))
        if codes:
            return int(codes[-1])
    parallel = np.ravel(told.get("standard_parallel", np.nan))[0]
    if float(parallel) in _LATITUDE:
        return _LATITUDE[float(parallel)]
    raise FormatError(
        path, None, "a field whose map is not told",
        "grid_mapping with spatial_epsg, crs_wkt or standard_parallel 70 or -71",
    )  # fmt: skip
