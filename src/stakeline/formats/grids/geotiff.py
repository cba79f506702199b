"""Read one field of a GeoTIFF: TIFF 6.0 with the keys of OGC GeoTIFF 1.1 (19-008r4)."""

import io
import warnings
from pathlib import Path

import numpy as np
from PIL import Image

from ...errors import FormatError
from .record import Grids

TIFF = (b"II*\x00", b"MM\x00*")
_SCALE, _TIEPOINT, _KEYS, _NODATA = (
    33550,
    33922,
    34735,
    42113,
)  # tags; 19-008r4, annex; 42113 common
_RASTER_TYPE, _PROJECTED = 1025, 3072  # keys; 19-008r4, clauses 7.2 and 7.5.1
_POINT = 2  # PixelIsPoint; 19-008r4, 7.2.1
_MODES = ("F", "I", "I;16", "I;16B", "L")
_FARTHEST_M = 1e8  # m, of any number of the axes; more than maps have
_CELLS = 200_000_000  # most that are read; our choice


def read_geotiff(path, data=None):
    """Return the :class:`~.record.Grids` of a GeoTIFF: one field, named as the file.

    Rows come from the upper one downward, so that ``y_m`` falls.

    Raises
    ------
    FormatError
        For a damaged file, several bands, numbers of another kind, no map of its own, or a turned
        one.
    """
    path = Path(path)
    values, tags = _decoded(path, path.read_bytes() if data is None else data)
    keys = _listed(tags, _KEYS)
    keys = {int(k[0]): int(k[3]) for k in keys[4 : keys.size // 4 * 4].reshape(-1, 4)}
    epsg, scale, tie = keys.get(_PROJECTED, 0), _listed(tags, _SCALE), _listed(tags, _TIEPOINT)
    good = scale.size >= 2 and tie.size == 6 and (scale[:2] > 0.0).all()
    if not epsg or not good or np.abs([*scale, *tie]).max() > _FARTHEST_M:
        raise FormatError(
            *(
                path,
                None,
                f"map {epsg or 'not named'}, {scale.size} scales, {tie.size} tie numbers",
            ),
            "a projected map by its EPSG code, a positive pixel scale and one tie point",
            "save it north up, on EPSG:3413 or EPSG:3031",
        )
    half = 0.0 if keys.get(_RASTER_TYPE) == _POINT else 0.5
    rows, columns = values.shape
    x = tie[3] + (np.arange(columns) + half - tie[0]) * scale[0]
    y = tie[4] - (np.arange(rows) + half - tie[1]) * scale[1]
    gone = _nodata(tags.get(_NODATA, ""))
    field = as_numbers(values)
    field[field == gone] = np.nan
    return Grids(x, y, epsg, {path.stem: field}, {path.stem: "m"}, {path.stem: path.stem})


def as_numbers(values):
    """Return values as new doubles; bits that are no number become NaN without a warning."""
    with np.errstate(invalid="ignore"):
        return np.array(values, float)


def _listed(tags, tag):
    """Return the finite numbers of a tag (n,); none where it holds anything else."""
    try:
        found = np.atleast_1d(np.array(tags.get(tag, ()), float))
    except (TypeError, ValueError):
        return np.empty(0)
    return found if np.isfinite(found).all() else np.empty(0)


def _decoded(path, data):
    """Return (values (rows, columns), tags) of the first image."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # damaged tags come as warnings
            image = Image.open(io.BytesIO(data), formats=("TIFF",))
            if image.mode in _MODES and image.width * image.height <= _CELLS:
                return np.array(image), dict(image.tag_v2)
    except Exception as problem:  # the library raises many kinds on damage
        raise FormatError(path, None, f"a TIFF that cannot be read ({problem})", "TIFF") from None
    raise FormatError(
        *(path, None, f"{image.width} x {image.height} cells of mode {image.mode}"),
        f"one band of 8, 16 or 32-bit integers or 32-bit floats, at most {_CELLS:,} cells",
    )


def _nodata(text):
    """Return the number that stands for missing; NaN where none does."""
    try:
        return float(str(text).strip(" \0"))
    except ValueError:
        return np.nan
