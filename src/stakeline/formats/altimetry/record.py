"""One record for heights measured from space, whatever file they came in."""

from dataclasses import dataclass, field, replace

import numpy as np

from ...errors import FormatError

HEIGHT_ABOVE = ("ellipsoid", "geoid")
TIDE_SYSTEMS = ("tide-free", "zero-tide", "mean-tide")
LOWEST_M, HIGHEST_M = -500.0, 9000.0  # m, no ice surface lies beyond; choice
LARGEST_MAP_M = 1.0e7  # m; a polar map holds no more of its hemisphere (from its formula)
NO_CYCLE = -1  # where the file tells none


@dataclass(frozen=True)
class Datum:
    """What heights are counted from; '' where the file does not say.

    ``height_above``: of :data:`HEIGHT_ABOVE`; ``tide_system``: of :data:`TIDE_SYSTEMS`;
    ``frame``: such as ``ITRF2014``.
    """

    height_above: str = ""
    tide_system: str = ""
    frame: str = ""

    @property
    def missing(self):
        """Names of what is not said."""
        return tuple(name for name in ("height_above", "tide_system") if not getattr(self, name))

    @property
    def words(self):
        """What is said and what is not, as a person reads it."""
        said = [f"heights above the {self.height_above}"] * bool(self.height_above)
        said += [one for one in (self.tide_system, self.frame and f"frame {self.frame}") if one]
        unsaid = [name.replace("_", " ") for name in self.missing] + ["frame"] * (not self.frame)
        said += [f"not said: {', '.join(unsaid)}"] * bool(unsaid)
        return "; ".join(said)


@dataclass(frozen=True, eq=False)
class AltimetryPoints:
    """Heights of the surface at places and times.

    Attributes
    ----------
    file : str
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    place : array, shape (n, 2)
        Latitude and longitude [deg] where ``epsg`` is None, else x and y of that map. [m]
    epsg : int or None
    height_m, sigma_m : arrays, shape (n,)
        Sigma is NaN where the file tells none. [m]
    track, cycle : int arrays, shape (n,)
        Number in ``track_names``; cycle, -1 where the file tells none.
    track_names : tuple of str
    datum : Datum
    geoid_m : array, shape (n,)
        Height of the geoid above the ellipsoid; NaN where the file tells none. [m]
    notes : tuple of str
        What was passed over, and what the file does not say.
    """

    file: str
    time_ns: np.ndarray
    place: np.ndarray
    epsg: int | None
    height_m: np.ndarray
    sigma_m: np.ndarray
    track: np.ndarray
    cycle: np.ndarray
    track_names: tuple
    datum: Datum = field(default_factory=Datum)
    geoid_m: np.ndarray | None = None
    notes: tuple = ()

    def __len__(self):
        return len(self.time_ns)

    def chosen(self, rows):
        """Return the points of rows, a mask or numbers."""
        columns = ("time_ns", "place", "height_m", "sigma_m", "track", "cycle", "geoid_m")
        return replace(self, **{name: getattr(self, name)[rows] for name in columns})

    def with_heights(self, height_m, datum):
        """Return the points with heights of another datum."""
        return replace(self, height_m=height_m, datum=datum)

    def with_places(self, place, epsg):
        """Return the points at places of another map."""
        return replace(self, place=place, epsg=epsg)


def checked_points(file, columns, epsg, datum, notes=(), line=None):
    """Return :class:`AltimetryPoints` of raw columns, rows without a value passed over and told.

    Parameters
    ----------
    file : str or path
    columns : dict
        ``time_ns``, ``place`` (n, 2), ``height_m``; ``sigma_m``, ``track``, ``cycle``, ``geoid_m``,
        ``good`` (False: flagged) where there are any.
    epsg : int or None
    datum : Datum
    notes : tuple of str
    line : function, optional
        From the number of a row, counted from 0, to its line.

    Raises
    ------
    FormatError
        For degrees taken as metres and the other way round, heights no ground can have, negative
        sigmas, words of the datum that are not known.
    """
    place, height = np.asarray(columns["place"], float), np.asarray(columns["height_m"], float)
    count, line = len(height), line or (lambda row: None)
    _check_datum(file, datum)
    there = np.isfinite(place).all(axis=1) & np.isfinite(height) & columns.get("timed", True)
    good = np.asarray(columns.get("good", np.ones(count, bool)), bool)
    notes = (*notes, *_counted(there, good))
    rows = np.flatnonzero(there & good)
    _check_place(file, place, epsg, rows, line)
    _check_height(file, height, rows, line)
    sigma = np.asarray(columns.get("sigma_m", np.full(count, np.nan)), float)
    negative = rows[sigma[rows] <= 0.0]
    if negative.size:
        raise FormatError(file, line(negative[0]), f"a sigma of {sigma[negative[0]]:g} m", "> 0 m")
    track, names = _tracks(columns.get("track"), count)
    cycle = np.asarray(columns.get("cycle", np.full(count, NO_CYCLE)), np.int64)
    geoid = np.asarray(columns.get("geoid_m", np.full(count, np.nan)), float)
    if datum.missing:
        notes += (f"the datum is not said: {', '.join(datum.missing)}",)
    points = AltimetryPoints(
        str(file), np.asarray(columns["time_ns"], np.int64), place, epsg, height, sigma, track,
        cycle, names, datum, geoid, notes,
    )  # fmt: skip
    return points.chosen(rows[np.argsort(points.time_ns[rows], kind="stable")])


def joined_points(parts):
    """Return several :class:`AltimetryPoints` as one, in order of time.

    Raises
    ------
    FormatError
        Where they lie on different maps or are counted from different datums.
    """
    first = parts[0]
    for part in parts[1:]:
        if part.epsg != first.epsg:
            raise FormatError(
                part.file, None, f"places in {_map_words(part.epsg)}",
                f"{_map_words(first.epsg)} as in {first.file}", "convert to one of them first",
            )  # fmt: skip
        if part.datum != first.datum:
            raise FormatError(
                part.file, None, f"heights of {_datum_words(part.datum)}",
                f"{_datum_words(first.datum)} as in {first.file}", "bring them to one datum first",
            )  # fmt: skip
    names = tuple(dict.fromkeys(name for part in parts for name in part.track_names))
    number = {name: k for k, name in enumerate(names)}
    track = [np.array([number[n] for n in p.track_names], np.int64)[p.track] for p in parts]
    columns = ("time_ns", "place", "height_m", "sigma_m", "cycle", "geoid_m")
    whole = {name: np.concatenate([getattr(p, name) for p in parts]) for name in columns}
    whole |= {"track": np.concatenate(track), "track_names": names}
    several = len(parts) > 1
    notes = tuple(f"{p.file}: {n}" if several else n for p in parts for n in p.notes)
    file = ", ".join(p.file for p in parts)
    points = replace(first, file=file, notes=notes, **whole)
    return points.chosen(np.argsort(points.time_ns, kind="stable"))


def _map_words(epsg):
    return "degrees" if epsg is None else f"metres of EPSG:{epsg}"


def _datum_words(datum):
    above = f"above the {datum.height_above}" if datum.height_above else "of an unsaid datum"
    return f"{above}, {datum.tide_system or 'tide system unsaid'}, {datum.frame or 'frame unsaid'}"


def _counted(there, good):
    missing, flagged = int((~there).sum()), int((there & ~good).sum())
    if missing:
        yield f"passed over, without time, place or height: {missing} of {len(there)} points"
    if flagged:
        yield f"passed over, flagged by their maker: {flagged} of {len(there)} points"


def _check_datum(file, datum):
    for name, known in (("height_above", HEIGHT_ABOVE), ("tide_system", TIDE_SYSTEMS)):
        word = getattr(datum, name)
        if word and word not in known:
            raise FormatError(file, None, f"{name}: {word}", f"one of {', '.join(known)}")


def _check_place(file, place, epsg, rows, line):
    seen = place[rows]
    degrees = (np.abs(seen[:, 0]) <= 90.0) & (np.abs(seen[:, 1]) <= 360.0)
    words = [f"({a:.10g}, {b:.10g})" for a, b in seen[:1]]
    if epsg is None and not degrees.all():
        odd = rows[np.argmin(degrees)]
        given = f"latitude, longitude ({place[odd, 0]:.10g}, {place[odd, 1]:.10g})"
        raise FormatError(
            file, line(odd), given, "degrees", "metres of a map stand in x_m and y_m, with its epsg"
        )
    if epsg is None or not rows.size:
        return
    if (np.abs(seen) <= 360.0).all():
        raise FormatError(
            file, line(rows[0]), f"x, y {words[0]}, and none larger than 360: these are degrees",
            f"metres of EPSG:{epsg}", "degrees stand in latitude_deg and longitude_deg",
        )  # fmt: skip
    far = np.flatnonzero(np.abs(seen).max(axis=1) > LARGEST_MAP_M)
    if far.size:
        odd = rows[far[0]]
        given = f"x, y ({place[odd, 0]:.10g}, {place[odd, 1]:.10g})"
        raise FormatError(file, line(odd), given, f"a place that EPSG:{epsg} holds")


def _check_height(file, height, rows, line):
    odd = rows[(height[rows] < LOWEST_M) | (height[rows] > HIGHEST_M)]
    if odd.size:
        raise FormatError(
            file, line(odd[0]), f"a height of {height[odd[0]]:g} m",
            f"{LOWEST_M:g} to {HIGHEST_M:g} m", "say which code stands for a missing height",
        )  # fmt: skip


def _tracks(track, count):
    """Return (numbers (n,), names) of a column of tracks; one track where there is none."""
    if track is None:
        return np.zeros(count, np.int64), ("",)
    track = np.asarray(track)
    if track.dtype.kind == "f":
        whole = np.isfinite(track) & (track == np.round(track))
        pairs = zip(track, whole, strict=True)
        words = [f"{value:.0f}" if ok else str(value) for value, ok in pairs]
    else:
        words = [str(value) for value in track.tolist()]
    names, numbers = np.unique(np.array(words, object).astype(str), return_inverse=True)
    return numbers.astype(np.int64), tuple(names.tolist())
