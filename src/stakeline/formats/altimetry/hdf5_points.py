"""Read heights along tracks from HDF5 files of the kinds ATL06 and ATL11; see SPEC.md."""

from pathlib import Path

import numpy as np

from ...constants import NS_PER_S
from ...errors import FormatError
from ...time import from_gps_week
from .record import Datum, checked_points, joined_points

try:
    import h5py
except ImportError:  # an optional library
    h5py = None

HDF5 = b"\x89HDF\r\n"
_EPOCH = "ancillary_data/atlas_sdp_gps_epoch"
_DATUM = Datum("ellipsoid", "tide-free", "WGS 84")
_BEAMS = tuple(f"gt{k}{side}" for k in (1, 2, 3) for side in "lr")
_PAIRS = ("pt1", "pt2", "pt3")


def read_altimetry_hdf5(path, flagged=False):
    """Return the :class:`~.record.AltimetryPoints` of a file of heights along tracks.

    Parameters
    ----------
    path : str or path
    flagged : bool
        Keep points whose quality summary is not 0; else they are passed over and counted.

    Raises
    ------
    FormatError
        Where the library for HDF5 is missing, groups or data sets are missing, or as
        :func:`.checked_points`.
    """
    path = Path(path)
    with path.open("rb") as begin:
        if not begin.read(6).startswith(HDF5):
            raise FormatError(path, None, "no HDF5", "a file of heights along tracks as HDF5")
    if h5py is None:
        raise FormatError(
            path, None, "HDF5, for which the optional library is missing", "h5py",
            "install h5py, or write the points as a table",
        )  # fmt: skip
    try:
        with h5py.File(path, "r") as file:
            return _points(path, file, flagged)
    except OSError as problem:
        raise FormatError(path, None, f"damaged HDF5 ({problem})", "a whole file") from None


def _points(path, file, flagged):
    epoch_s = float(np.ravel(_dataset(path, file, _EPOCH))[0])
    beams = [b for b in _BEAMS if f"{b}/land_ice_segments" in file]
    pairs = [p for p in _PAIRS if f"{p}/h_corr" in file]
    if not beams and not pairs:
        raise FormatError(
            path, None, f"groups {', '.join(file) or 'none'}",
            "gt1l/land_ice_segments and the like, or pt1 with h_corr",
        )  # fmt: skip
    parts = [_beam(path, file, name, epoch_s, flagged) for name in beams]
    parts += [_pair(path, file, name, epoch_s, flagged) for name in pairs]
    return joined_points(parts)


def _beam(path, file, beam, epoch_s, flagged):
    """Return the points of one beam of a pass."""
    group = f"{beam}/land_ice_segments"
    names = ("h_li", "h_li_sigma", "delta_time", "latitude", "longitude")
    height, sigma, delta_s, *place = (_numbers(path, file, f"{group}/{n}") for n in names)
    track = int(np.ravel(_dataset(path, file, "orbit_info/rgt"))[0])
    cycle = int(np.ravel(_dataset(path, file, "orbit_info/cycle_number"))[0])
    columns = _timed(epoch_s, delta_s)
    columns |= {"place": np.stack(place, axis=1), "height_m": height}
    columns |= {"sigma_m": _positive(sigma), "cycle": np.full(len(height), cycle)}
    columns["track"] = np.full(len(height), f"{track:04d} {beam}")
    if not flagged:
        columns["good"] = _numbers(path, file, f"{group}/atl06_quality_summary") == 0.0
    if f"{group}/dem/geoid_h" in file:
        columns["geoid_m"] = _numbers(path, file, f"{group}/dem/geoid_h")
    return checked_points(f"{path}:{beam}", columns, None, _DATUM)


def _pair(path, file, pair, epoch_s, flagged):
    """Return the points of one reference track, all cycles."""
    names = ("h_corr", "h_corr_sigma", "delta_time")
    height, sigma, delta_s = (_numbers(path, file, f"{pair}/{n}") for n in names)
    place = [_numbers(path, file, f"{pair}/{n}") for n in ("latitude", "longitude")]
    cycle = np.asarray(_dataset(path, file, f"{pair}/cycle_number"), np.int64)
    expected = (len(place[0]), len(cycle))
    if height.shape != expected:
        raise FormatError(
            path, None, f"{pair}/h_corr of shape {height.shape}", f"(points, cycles) {expected}"
        )
    track = int(np.ravel(_dataset(path, file, "ancillary_data/start_rgt"))[0])
    columns = _timed(epoch_s, delta_s.ravel())
    columns["place"] = np.repeat(np.stack(place, axis=1), len(cycle), axis=0)
    columns |= {"height_m": height.ravel(), "sigma_m": _positive(sigma.ravel())}
    columns["cycle"] = np.tile(cycle, len(place[0]))
    columns["track"] = np.full(height.size, f"{track:04d} {pair}")
    if not flagged:
        columns["good"] = _numbers(path, file, f"{pair}/quality_summary").ravel() == 0.0
    return checked_points(f"{path}:{pair}", columns, None, _DATUM)


def _timed(epoch_s, delta_s):
    """Return columns of GPS times of seconds since the file's epoch."""
    known = np.isfinite(delta_s)
    whole = np.floor(np.where(known, delta_s, 0.0))
    parts = np.round((np.where(known, delta_s, 0.0) - whole) * NS_PER_S).astype(np.int64)
    start = int(from_gps_week(0, 0.0)) + round(epoch_s * NS_PER_S)
    return {"time_ns": start + whole.astype(np.int64) * NS_PER_S + parts, "timed": known}


def _positive(sigma):
    """Return sigmas; NaN where 0 or less stands for none."""
    return np.where(sigma > 0.0, sigma, np.nan)


def _dataset(path, file, name):
    if name not in file:
        raise FormatError(path, None, f"no {name}", "a data set of that name")
    return file[name][()]


def _numbers(path, file, name):
    """Return numbers, the fill value as NaN."""
    raw = np.asarray(_dataset(path, file, name))
    values = raw.astype(float)
    if "_FillValue" in file[name].attrs:
        values[raw == np.ravel(file[name].attrs["_FillValue"])[0]] = np.nan
    return values
