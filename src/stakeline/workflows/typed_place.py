"""Where a station file says that a station stands: coordinates as numbers, or as people write."""

from dataclasses import dataclass

from ..campaign.located import line_numbers, line_of
from ..campaign.station_file import read_station_file
from ..errors import SettingsError
from ..station.field_coordinates import FieldPlace, read_line, read_place, side_by_side

MOST_DOUBTS = 5  # other readings that are told one by one, the nearest first; choice


@dataclass(frozen=True)
class TypedPlace:
    """A place as it was typed, and as it was read."""

    text: str
    read: FieldPlace

    @property
    def form(self):
        """The notation in which it was read."""
        return self.read.form

    @property
    def sentences(self):
        """What else the same text can mean, and how far away that is."""
        told = {f"{one.what}: {_far(one.distance_m)}": None for one in self.read.doubts}
        lines = list(told)[:MOST_DOUBTS]
        if not lines:
            return ()
        shown = side_by_side(self.read.latitude_deg, self.read.longitude_deg).minutes
        return (
            f"Place {self.text!r} can be read otherwise; taken as {self.form}, {shown}. The other "
            f"readings lie off by: {'; '.join(lines)}. Write N, S, E, W and the marks of "
            "degrees, minutes and seconds",
        )


def _far(distance_m):
    return f"{distance_m:.0f} m" if distance_m < 1e4 else f"{distance_m / 1e3:.0f} km"


def read_plan(path):
    """Return the :class:`StationFile` of a path with its coordinates as numbers.

    Raises
    ------
    SettingsError
        With file and line, also for a text that is no place.
    """
    settings = read_station_file(path)
    try:
        return in_degrees(settings)[0]
    except SettingsError as problem:
        line = line_of(line_numbers(path.read_text(encoding="utf-8")), ("site",))
        raise SettingsError(f"{path}:{line}: {problem}") from None


def in_degrees(settings):
    """Return (a :class:`StationFile` with its coordinates as numbers, TypedPlace or None)."""
    site = settings.site
    pair = (site.latitude_deg, site.longitude_deg)
    texts = [isinstance(one, str) for one in pair]
    if site.place:
        typed = TypedPlace(site.place, read_line(site.place))
    elif all(texts):
        typed = TypedPlace(f"{pair[0]}, {pair[1]}", read_place(*pair))
    elif any(texts):
        raise SettingsError(
            f"site: latitude_deg {pair[0]!r} and longitude_deg {pair[1]!r}: expected both as "
            "numbers or both as text"
        )
    else:
        return settings, None
    numbers = {
        "latitude_deg": typed.read.latitude_deg,
        "longitude_deg": typed.read.longitude_deg,
        "place": "",
    }
    return settings.model_copy(update={"site": site.model_copy(update=numbers)}), typed
