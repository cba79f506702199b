"""The small TOML beside a file of altimetry: its datum, and which columns are what."""

from typing import Literal

from pydantic import Field, model_validator

from .column_map import TimeColumn
from .located import Strict, read_located

Length = Literal["m", "km", "cm", "mm"]


class DatumPart(Strict):
    """``[datum]``: what heights are counted from."""

    height_above: Literal["ellipsoid", "geoid", ""] = ""
    tide_system: Literal["tide-free", "zero-tide", "mean-tide", ""] = ""
    frame: str = ""


class PlacePart(Strict):
    """``[place]``: latitude and longitude in degrees, or x and y in metres of a polar map."""

    columns: tuple[str, str]
    epsg: Literal[3413, 3031] | None = None


class LengthPart(Strict):
    """``[height]``, ``[sigma]``, ``[geoid]``: one column and its unit."""

    column: str
    unit: Length = "m"


class QualityPart(Strict):
    """``[quality]``: a column of flags, and the values that stand for good."""

    column: str
    good: tuple[float, ...] = (0.0,)


class AltimetryMap(Strict):
    """All of the file; ``time``, ``place`` and ``height`` together where the names are foreign.

    ``epsg``: map of columns ``x_m`` and ``y_m`` of a table with our names. ``field``: of a file of
    maps. ``flagged``: keep points that their maker flags.
    """

    datum: DatumPart = DatumPart()
    epsg: Literal[3413, 3031] | None = None
    field: str | None = None
    flagged: bool = False
    time: TimeColumn | None = None
    place: PlacePart | None = None
    height: LengthPart | None = None
    sigma: LengthPart | None = None
    geoid: LengthPart | None = None
    quality: QualityPart | None = None
    track: str = ""
    cycle: str = ""
    missing: tuple[float, ...] = Field((), description="codes that stand for a missing number")

    @model_validator(mode="after")
    def _whole(self):
        given = [part is not None for part in (self.time, self.place, self.height)]
        if any(given) and not all(given):
            raise ValueError("needs [time], [place] and [height] together, or none of them")
        if all(given) and not (self.track or self.cycle):
            raise ValueError("names neither a column of tracks (track) nor of cycles (cycle)")
        return self

    @property
    def foreign(self):
        """Say whether the names of the table's columns are foreign."""
        return self.height is not None


def read_altimetry_map(path):
    """Return the checked :class:`AltimetryMap` of a TOML file; SettingsError with line numbers."""
    return read_located(path, AltimetryMap)
