"""Write things that happen at a place and time as classic NetCDF (CF, featureType point)."""

import io
from dataclasses import dataclass, field

import numpy as np
from scipy.io import netcdf_file

from ...constants import NS_PER_DAY
from ...errors import FormatError
from ...time import iso
from .writing import dress


@dataclass(frozen=True)
class PointFile:
    """Things at places and times: ``time_ns`` (n,) GPS time, ``latitude_deg``, ``longitude_deg``.

    ``texts`` holds words (n,) by name, ``times_ns`` more GPS times (n,), ``fields`` numbers (n,);
    ``units`` and ``words`` say what they are; ``attributes`` are global texts, ``named`` more
    attributes of a variable.
    """

    time_ns: np.ndarray
    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    texts: dict = field(default_factory=dict)
    times_ns: dict = field(default_factory=dict)
    fields: dict = field(default_factory=dict)
    units: dict = field(default_factory=dict)
    words: dict = field(default_factory=dict)
    attributes: dict = field(default_factory=dict)
    named: dict = field(default_factory=dict)


def write_points(points):
    """Return the bytes of a NetCDF file of a :class:`PointFile`.

    Raises
    ------
    FormatError
        Where something is not as long as the times.
    """
    count = len(points.time_ns)
    for name, values in {**points.texts, **points.times_ns, **points.fields}.items():
        if len(values) != count:
            raise FormatError(f"points '{name}'", None, f"{len(values)} values", f"{count}")
    sink = io.BytesIO()
    file = netcdf_file(sink, "w", version=2)
    attributes = {"Conventions": "CF-1.11", "featureType": "point", "time_scale": "GPS time"}
    for name, text in {**attributes, **points.attributes}.items():
        setattr(file, name, str(text))
    file.createDimension("obs", count)
    start = int(min(points.time_ns)) // NS_PER_DAY * NS_PER_DAY if count else 0
    when = f"days since {iso(start).replace('T', ' ')}"
    _number(file, "time", (points.time_ns - start) / NS_PER_DAY, when, "time",
            standard_name="time", calendar="standard",
            units_metadata="leap_seconds: none")  # fmt: skip
    for name, values, unit in (("lat", points.latitude_deg, "degrees_north"),
                               ("lon", points.longitude_deg, "degrees_east")):  # fmt: skip
        standard = "latitude" if name == "lat" else "longitude"
        _number(file, name, values, unit, standard, standard_name=standard)
    for name, values in points.times_ns.items():
        days = (np.asarray(values, np.int64) - start) / NS_PER_DAY
        _number(file, name, days, when, points.words.get(name, name), coordinates="time lat lon",
                calendar="standard", units_metadata="leap_seconds: none")  # fmt: skip
    for name, values in points.fields.items():
        _number(file, name, values, points.units.get(name, "1"), points.words.get(name, name),
                _FillValue=np.array([np.nan]), coordinates="time lat lon")  # fmt: skip
    for name, texts in points.texts.items():
        _text(file, name, texts, points.words.get(name, name))
    dress(file, points.named)
    file.flush()
    data = sink.getvalue()
    file.close()
    return data


def _number(file, name, values, unit, words, **attributes):
    variable = file.createVariable(name, "f8", ("obs",))
    variable[:] = np.asarray(values, float)
    for key, value in {"units": unit, "long_name": words, **attributes}.items():
        setattr(variable, key, value)


def _text(file, name, texts, words):
    coded = [text.encode("utf-8") for text in texts]
    width = max([len(text) for text in coded] or [1]) or 1
    file.createDimension(f"{name}_length", width)
    variable = file.createVariable(name, "c", ("obs", f"{name}_length"))
    letters = np.frombuffer(b"".join(text.ljust(width) for text in coded), "S1")
    variable[:] = letters.reshape(len(texts), width)
    variable.long_name = words
    variable.coordinates = "time lat lon"
