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


class SigmaPart(Strict):
    """``[sigma]``: a column and its unit, or one standard deviation for all rows."""

    column: str = ""
    unit: Length = "m"
    same_m: float | None = Field(None, gt=0, le=100)

    @model_validator(mode="after")
    def _either(self):
        if bool(self.column) == (self.same_m is not None):
            raise ValueError("give a column, or same_m for all rows: one of the two")
        return self


class LevelPart(LengthPart):
    """``[level]``: the column of a ready series of a lake's level, and what it is.

    ``kind``: ``level``, or ``change`` since the row before. ``less``: a column, such as that of the
    ground around, that is taken off.
    """

    kind: Literal["level", "change"] = "level"
    less: str = ""


class QualityPart(Strict):
    """``[quality]``: a column of flags, and the values that stand for good."""

    column: str
    good: tuple[float, ...] = (0.0,)


class AltimetryMap(Strict):
    """All of the file; ``time``, ``place`` and ``height`` together where the names are foreign.

    ``epsg``: map of columns ``x_m`` and ``y_m`` of a table with our names. ``field``: of a file of
    maps. ``flagged``: keep points that their maker flags. ``level`` with ``time``: the table is a
    ready series, of ``lake`` or of the lakes that the column ``lake_column`` names.
    """

    datum: DatumPart = DatumPart()
    epsg: Literal[3413, 3031] | None = None
    field: str | None = None
    flagged: bool = False
    time: TimeColumn | None = None
    place: PlacePart | None = None
    height: LengthPart | None = None
    sigma: SigmaPart | None = None
    geoid: LengthPart | None = None
    quality: QualityPart | None = None
    level: LevelPart | None = None
    lake: str = ""
    lake_column: str = ""
    track: str = ""
    cycle: str = ""
    missing: tuple[float, ...] = Field((), description="codes that stand for a missing number")

    @model_validator(mode="after")
    def _series(self):
        if self.level is None:
            if self.lake or self.lake_column:
                raise ValueError("names a lake without [level]; only ready series have one")
            return self
        if self.time is None or self.place is not None or self.height is not None:
            raise ValueError("has [level]: it needs [time], and neither [place] nor [height]")
        if bool(self.lake) == bool(self.lake_column):
            raise ValueError("has [level]: say its lake, or the lake_column: one of the two")
        return self

    @model_validator(mode="after")
    def _whole(self):
        if self.level is not None:
            return self
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
