"""Read outlines from a shapefile, by an optional library."""

import re
import warnings
from glob import escape
from pathlib import Path

import numpy as np

from ...errors import FormatError
from .record import Rings, signed_area

try:
    import shapefile
except ImportError:
    shapefile = None

SHAPEFILE = ".shp"
_BESIDE = (".dbf", ".shx", ".prj", ".cpg")
_POLYGONS = ("POLYGON", "POLYGONZ", "POLYGONM")
_NAME = "name"
_POLAR = {(70.0, -45.0): 3413, (-71.0, 0.0): 3031}  # standard parallel, meridian; EPSG dataset
_SAME_DEG = 1e-6  # deg, of the parameters of a map; choice
_EXTRA = "install pyshp (pip install 'stakeline[shapefile]') or save it as GeoJSON (RFC 7946)"


def shapefile_parts(path):
    """Return the paths of a shapefile and of the files of its name that belong to it."""
    path = Path(path)
    near = sorted(path.parent.glob(f"{escape(path.stem)}.*"))
    beside = (p for p in near if p.stem == path.stem and p.suffix.lower() in _BESIDE)
    return (path, *beside)


def read_shapefile(path):
    """Return the tuple of :class:`~.record.Rings` of a shapefile of polygons.

    Names come from the attribute ``name``, in letters of any size. The file ``.prj`` tells degrees
    from metres and names the map; without it that is left open, as in GeoJSON.

    Raises
    ------
    FormatError
        Where the library is missing, the file is damaged, holds another geometry, a polygon of
        several parts, an open or short ring, or a map other than EPSG:3413 and EPSG:3031.
    """
    path = Path(path)
    if shapefile is None:
        raise FormatError(path, None, "a shapefile", "GeoJSON", _EXTRA)
    parts = {p.suffix.lower(): p for p in shapefile_parts(path)}
    metres, epsg = _map(parts[".prj"]) if ".prj" in parts else (None, None)
    shapes, names = _content(path, parts)
    return tuple(
        _rings(path, number, shape, name, epsg, metres)
        for number, (shape, name) in enumerate(zip(shapes, names, strict=True), 1)
        if shape.shapeTypeName != "NULL"
    )


def _content(path, parts):
    """Return (shapes, names) of a file; names are '' where there is no attribute for them."""
    try:
        with path.open("rb") as shp, warnings.catch_warnings():
            warnings.simplefilter("error")  # damaged headers come as warnings
            shapes = list(shapefile.Reader(shp=shp).iterShapes())
            names = _names(parts) if ".dbf" in parts else [""] * len(shapes)
    except Exception as problem:  # the library raises many kinds on damage
        said = f"no shapefile that can be read ({type(problem).__name__}: {problem})"
        raise FormatError(path, None, said, "a shapefile of polygons") from None
    if len(names) != len(shapes):
        raise FormatError(
            *(path, None, f"{len(shapes)} shapes, {len(names)} rows of attributes"),
            "one row for each shape",
            "copy .shp, .dbf and .shx together again",
        )
    return shapes, names


def _names(parts):
    """Return the attribute ``name`` of every row; '' where it is missing or empty."""
    encoding = "utf-8"
    if ".cpg" in parts:
        encoding = parts[".cpg"].read_text(encoding="ascii").strip() or encoding
        encoding = f"cp{encoding}" if encoding.isdigit() else encoding
    with parts[".dbf"].open("rb") as dbf:
        reader = shapefile.Reader(dbf=dbf, encoding=encoding, encodingErrors="replace")
        fields = [field[0].lower() for field in reader.fields if field[0] != "DeletionFlag"]
        rows = [list(record) for record in reader.iterRecords()]
    if _NAME not in fields:
        return [""] * len(rows)
    return [str(row[fields.index(_NAME)] or "").strip() for row in rows]


def _rings(path, number, shape, name, epsg, metres):
    """Return the :class:`~.record.Rings` of one shape: outer rings run clockwise in a shapefile."""
    name = name or f"outline {number}"
    where = f"feature {number} ({name})"
    if shape.shapeTypeName not in _POLYGONS:
        raise FormatError(path, None, f"{where}: {shape.shapeTypeName}", "a polygon")
    points = np.array([point[:2] for point in shape.points], float).reshape(-1, 2)
    rings = np.split(points, list(shape.parts)[1:])
    for ring in rings:
        if len(ring) < 4 or not np.isfinite(ring).all() or not np.array_equal(ring[0], ring[-1]):
            raise FormatError(
                path, None, f"{where}: {len(ring)} points", "a closed ring of 4 points or more"
            )
    outer = [ring for ring in rings if signed_area(ring) < 0.0]
    if len(outer) != 1:
        raise FormatError(
            *(path, None, f"{where}: {len(outer)} outer rings (clockwise)", "one"),
            "give the parts of a lake as features of their own, each with its name",
        )
    holes = tuple(ring for ring in rings if ring is not outer[0])
    return Rings(name, outer[0], holes, epsg, number, metres)


def _map(path):
    """Return (whether metres, EPSG code or None) of a file ``.prj``: well-known text of a map.

    OGC 01-009, clause 7: GEOGCS is in the angle of its UNIT, PROJCS in the length of its own.
    """
    text = path.read_text(encoding="utf-8", errors="replace")
    kind = re.match(r"\s*(GEOGCS|PROJCS)\s*\[\s*\"([^\"]*)\"", text, re.IGNORECASE)
    units = re.findall(r"UNIT\s*\[\s*\"[^\"]*\"\s*,\s*([-+.\deE]+)", text, re.IGNORECASE)
    if not kind or not units:
        raise FormatError(path, None, f"'{text[:40]}'", "GEOGCS or PROJCS with a UNIT (OGC 01-009)")
    projected = kind[1].upper() == "PROJCS"
    wanted = 1.0 if projected else np.pi / 180.0
    if not np.isclose(float(units[-1]), wanted, rtol=1e-9):
        what = "metres" if projected else "degrees"
        raise FormatError(path, None, f"{kind[2]} in units of {units[-1]}", what)
    if not projected:
        return False, None
    epsg = _POLAR.get(_polar_parameters(text))
    if epsg is None:
        raise FormatError(
            *(path, None, f"the map {kind[2]}", "degrees, EPSG:3413 or EPSG:3031"),
            "bring the outlines to one of them",
        )
    return True, epsg


def _polar_parameters(text):
    """Return (standard parallel, meridian) of a polar stereographic map; () of another one. [deg]

    The parallel goes by one of two names, with the value of 90 left for the pole.
    """
    if not re.search(r"PROJECTION\s*\[\s*\"[^\"]*stereographic", text, re.IGNORECASE):
        return ()
    found = re.findall(r"PARAMETER\s*\[\s*\"([^\"]*)\"\s*,\s*([-+.\deE]+)", text, re.IGNORECASE)
    number = {name.lower(): float(value) for name, value in found}
    parallels = (number.get(k) for k in ("standard_parallel_1", "latitude_of_origin"))
    parallel = next((v for v in parallels if v is not None and abs(v) != 90.0), np.nan)
    names = ("central_meridian", "longitude_of_center", "longitude_of_origin")
    meridian = next((number[k] for k in names if k in number), np.nan)
    shifted = any(number.get(k, 0.0) for k in ("false_easting", "false_northing"))
    near = (p for p in _POLAR if np.allclose(p, (parallel, meridian), rtol=0.0, atol=_SAME_DEG))
    return () if shifted else next(near, ())
