"""Coordinates as people write and read them: four forms side by side, and what can be misread.

Degrees; degrees and minutes; degrees, minutes and seconds; metres of a polar map. A text that two
people could read as two places is read the likelier way, and the other way is told with how far
off it would put an aircraft. Taking seconds for decimals of a minute moves a place by up to 730 m.
"""

import re
from dataclasses import dataclass

import numpy as np

from ..earth.ellipsoid import xyz_from_geodetic
from ..earth.projection import projection
from ..errors import SettingsError

DEGREES = "degrees"
MINUTES = "degrees and minutes"
SECONDS = "degrees, minutes and seconds"
FORMS = (DEGREES, MINUTES, SECONDS)
LIMIT_DEG = {"latitude": 90.0, "longitude": 180.0}

_DECIMALS = {DEGREES: 6, MINUTES: 4, SECONDS: 2}  # of the last part: 0.1, 0.2 and 0.3 m
_LETTERS = {"latitude": "NS", "longitude": "EW"}
_MARKS = str.maketrans({"º": "°", "’": "'", "′": "'", "”": '"', "″": '"', "−": "-", "‘": "'"})
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_ANGLE = re.compile(r"^\s*[\d.°'\"\s]+$")
_DOTTED = re.compile(r"^(\d{1,3})\.(\d{1,2})\.(\d{1,2}(?:\.\d+)?)$")
_TWO_PARTS = {  # with their letters behind or before; does the latitude stand first
    True: re.compile(r"^(.*?[NS])[\s,;]*(.*[EW])$|^([NS].*?)[\s,;]*([EW].*)$", re.IGNORECASE),
    False: re.compile(r"^(.*?[EW])[\s,;]*(.*[NS])$|^([EW].*?)[\s,;]*([NS].*)$", re.IGNORECASE),
}


@dataclass(frozen=True)
class Angle:
    """One angle as read: its likelier value and form, and other readings as (value, form)."""

    value_deg: float
    form: str
    others: tuple = ()


@dataclass(frozen=True)
class Doubt:
    """Another place that the same text can mean, and how far from the one taken. [deg], [m]"""

    what: str
    latitude_deg: float
    longitude_deg: float
    distance_m: float

    def __str__(self):
        return f"{self.what}: {self.distance_m:.0f} m away"


@dataclass(frozen=True)
class FieldPlace:
    """A place as read from text, with its doubts, farthest last."""

    latitude_deg: float
    longitude_deg: float
    form: str
    doubts: tuple = ()


@dataclass(frozen=True)
class SideBySide:
    """One place in every form; the texts read back without doubt.

    ``easting_m``, ``northing_m``: of the polar map ``epsg``; ``scale``: length on it over length
    on the ground.
    """

    degrees: str
    minutes: str
    seconds: str
    easting_m: float
    northing_m: float
    epsg: int
    scale: float


def written(value_deg, axis, form):
    """Return an angle as text, such as ``79° 07.4070' S``; the last part rounded, never 60.

    ``axis``: latitude or longitude. ``form`` of :data:`FORMS`.
    """
    limit = _limit(axis)
    if not abs(value_deg) <= limit:
        raise SettingsError(f"{axis} of {value_deg} deg: expected -{limit:g} to {limit:g}")
    if form not in FORMS:
        raise SettingsError(f"form {form!r} is not known; known are {', '.join(FORMS)}")
    parts = FORMS.index(form)
    decimals = _DECIMALS[form]
    smallest = round(abs(value_deg) * 60**parts * 10**decimals)
    whole, rest = divmod(smallest, 60**parts * 10**decimals)
    text = f"{whole:0{2 if axis == 'latitude' else 3}d}"
    if form == DEGREES:
        text += f".{rest:0{decimals}d}°"
    elif form == MINUTES:
        text += f"° {rest / 10**decimals:0{3 + decimals}.{decimals}f}'"
    else:
        minutes, seconds = divmod(rest, 60 * 10**decimals)
        text += f"° {minutes:02d}' {seconds / 10**decimals:0{3 + decimals}.{decimals}f}\""
    return f"{text} {_LETTERS[axis][0 if value_deg >= 0.0 else 1]}"


def side_by_side(latitude_deg, longitude_deg, epsg=None):
    """Return a place in all forms; without ``epsg`` on the map of its pole (3413 or 3031)."""
    code = epsg or (3413 if latitude_deg >= 0.0 else 3031)
    polar = projection(code)
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
    pairs = [
        f"{written(latitude_deg, 'latitude', form)}  {written(longitude_deg, 'longitude', form)}"
        for form in FORMS
    ]
    easting, northing = polar.forward(latitude, longitude)
    scale = float(polar.point_scale(latitude))
    return SideBySide(*pairs, float(easting), float(northing), code, scale)


def read_angle(text, axis):
    """Return the :class:`Angle` of a text: degrees, minutes, seconds with or without their marks.

    Marks settle the form. Without them two or four decimals of a degree can be minutes and seconds,
    two decimals of a minute can be seconds, and a bare pair after the minutes decimals of them.

    Raises
    ------
    SettingsError
        For signs of another kind, minutes or seconds from 60, angles beyond the axis.
    """
    sign, signed, body = _signed(text, axis)
    dotted = _DOTTED.match(body)
    numbers = list(dotted.groups()) if dotted else _NUMBER.findall(body)
    stray = "." in _NUMBER.sub("", body) or any("." in part for part in numbers[:-1])
    if not _ANGLE.match(body) or not 1 <= len(numbers) <= 3 or (stray and not dotted):
        raise _unread(text, axis)
    likely, *others = _readings(numbers, body, bool(dotted))
    value = _value(likely[0], text, axis)
    possible = [(_value(p, text, axis), form) for p, form in others if _sound(p, axis)]
    found = [(sign * v, form) for v, form in possible]
    if not signed:
        found.append((-value, f"{likely[1]}, the other side of zero"))
    return Angle(sign * value, likely[1], tuple(found))


def read_place(latitude_text, longitude_text):
    """Return the :class:`FieldPlace` of two texts, with every doubt and its distance."""
    north, east = read_angle(latitude_text, "latitude"), read_angle(longitude_text, "longitude")
    both = [other for other in north.others if other[1] in dict((f, v) for v, f in east.others)]
    doubts = []
    for value, form in both:
        other = next(v for v, f in east.others if f == form)
        doubts.append((f"both as {form}", value, other))
    doubts += [(f"latitude as {form}", v, east.value_deg) for v, form in north.others]
    doubts += [(f"longitude as {form}", north.value_deg, v) for v, form in east.others]
    here = (north.value_deg, east.value_deg)
    found = [Doubt(what, a, b, distance(here, (a, b))) for what, a, b in doubts]
    form = north.form if north.form == east.form else f"{north.form}; {east.form}"
    return FieldPlace(*here, form, tuple(sorted(found, key=lambda one: one.distance_m)))


def read_line(text):
    """Return the :class:`FieldPlace` of a latitude and a longitude in one text.

    Parted by their letters, or by a comma or semicolon: then latitude first, with a doubt where
    the other order is possible too.
    """
    for latitude_first, pattern in _TWO_PARTS.items():
        parted = pattern.match(text.strip().translate(_MARKS))
        if parted:
            pair = [part for part in parted.groups() if part is not None]
            return read_place(*(pair if latitude_first else pair[::-1]))
    parts = [part for part in re.split(r"[,;]", text) if part.strip()]
    if len(parts) != 2:
        raise SettingsError(
            f"place {text!r}: expected latitude and longitude with N or S and E or W, or parted by "
            "one comma; decimals are written with a point"
        )
    place = read_place(*parts)
    if re.search(r"[NSEW]", text, re.IGNORECASE) or abs(place.longitude_deg) > 90.0:
        return place
    here, swapped = (
        (place.latitude_deg, place.longitude_deg),
        (place.longitude_deg, place.latitude_deg),
    )
    doubt = Doubt("longitude first", *swapped, distance(here, swapped))
    doubts = sorted([*place.doubts, doubt], key=lambda one: one.distance_m)
    return FieldPlace(*here, place.form, tuple(doubts))


def from_grid(easting_m, northing_m, epsg):
    """Return (latitude, longitude) of metres on a polar map. [deg]"""
    latitude, longitude = projection(epsg).inverse(easting_m, northing_m)
    return float(np.degrees(latitude)), float(np.degrees(longitude))


def distance(one_deg, other_deg):
    """Return the straight distance between two (latitude, longitude) on the ellipsoid. [m]"""
    points = [xyz_from_geodetic(*np.radians(place), 0.0) for place in (one_deg, other_deg)]
    return float(np.linalg.norm(points[0] - points[1]))


def _limit(axis):
    if axis not in LIMIT_DEG:
        raise SettingsError(f"axis {axis!r}: expected latitude or longitude")
    return LIMIT_DEG[axis]


def _signed(text, axis):
    """Return (sign, whether it was given, the rest) of a text."""
    _limit(axis)
    body = str(text).strip().translate(_MARKS).replace("''", '"')
    letters = [c for c in body.upper() if c in _LETTERS[axis]]
    minus = body.startswith(("-", "+"))
    if len(letters) + minus > 1:
        raise SettingsError(f"{axis} {text!r}: expected a letter or a sign, not both")
    negative = body.startswith("-") or letters == [_LETTERS[axis][1]]
    body = body.lstrip("+-")
    for letter in letters:
        body = re.sub(letter, " ", body, flags=re.IGNORECASE)
    return (-1.0 if negative else 1.0), bool(letters or minus), body.strip()


def _readings(numbers, body, dotted):
    """Return the possible (parts, form) of the numbers of an angle, the likelier first."""
    decimals = numbers[-1].partition(".")[2]
    if len(numbers) == 1:
        found = [((numbers[0],), DEGREES)]
        whole = numbers[0].partition(".")[0]
        if "°" in body:
            return found
        if len(whole) > 3:
            return _packed(whole, decimals)
        if len(decimals) == 4:
            found.append(((whole, decimals[:2], decimals[2:]), SECONDS))
            found.append(((whole, f"{decimals[:2]}.{decimals[2:]}"), MINUTES))
        if len(decimals) == 2:
            found.append(((whole, decimals), MINUTES))
        return found
    if len(numbers) == 2:
        found = [(tuple(numbers), MINUTES)]
        if len(decimals) == 2 and "'" not in body:
            found.append(((numbers[0], *numbers[1].split(".")), SECONDS))
        return found
    found = [(tuple(numbers), SECONDS)]
    if dotted or (not decimals and "'" not in body and '"' not in body):
        found.append(((numbers[0], f"{numbers[1]}.{numbers[2].replace('.', '')}"), MINUTES))
    return found


def _packed(whole, decimals):
    """Return readings of digits written without a gap: minutes, or minutes and seconds."""
    tail = f".{decimals}" if decimals else ""
    found = []
    if len(whole) <= 5:
        found.append(((whole[:-2], whole[-2:] + tail), MINUTES))
    if len(whole) >= 5:
        found.append(((whole[:-4], whole[-4:-2], whole[-2:] + tail), SECONDS))
    return found


def _sound(parts, axis):
    numbers = [float(p or 0) for p in parts]
    small = all(n < 60.0 for n in numbers[1:])
    return small and sum(n / 60**k for k, n in enumerate(numbers)) <= _limit(axis)


def _value(parts, text, axis):
    if not _sound(parts, axis):
        raise _unread(text, axis)
    return sum(float(p or 0) / 60**k for k, p in enumerate(parts))


def _unread(text, axis):
    return SettingsError(
        f"{axis} {text!r} is no angle: expected up to {_limit(axis):g} degrees, minutes and "
        "seconds below 60, such as -79.123456, 79 07.407 S or 79° 07' 24.4\" S, decimals with "
        "a point"
    )
