"""The small TOML that says which columns of a foreign table are time, position and sigmas."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field, model_validator

from .history import Instant
from .located import Strict, read_located

Three = Annotated[tuple[str, str, str], Field(description="names of three columns")]
LENGTHS = {"m": 1.0, "km": 1e3, "cm": 1e-2, "mm": 1e-3}
NEEDS_SINCE = ("days", "hours", "seconds")


class TimeColumn(Strict):
    """``[time]``: the column of time, its scale and how it is written."""

    column: str
    scale: Literal["GPS", "UTC"]
    written: Literal[
        "ISO 8601",
        "days",
        "hours",
        "seconds",
        "decimal years",
        "Julian date",
        "modified Julian date",
    ] = "ISO 8601"
    since: datetime | None = None

    @model_validator(mode="after")
    def _origin(self):
        if self.written in NEEDS_SINCE and self.since is None:
            raise ValueError(f"is written in {self.written}: say since when (since = 2015-01-01)")
        return self


class PositionColumns(Strict):
    """``[position]``: three columns and what they are.

    ``geodetic``: latitude, longitude, height; ``earth-fixed``: x, y, z; ``map``: easting, northing
    of a polar map and height; ``local``: true metres east, north, up; ``along``: one more way,
    along the flow, across it (left), up.
    """

    kind: Literal["geodetic", "earth-fixed", "map", "local", "along"]
    columns: Three
    unit: Literal["m", "km", "cm", "mm"] = "m"
    angle: Literal["deg", "rad"] = "deg"
    epsg: Literal[3413, 3031] | None = None
    latitude_deg: float | None = Field(None, ge=-90, le=90)
    longitude_deg: float | None = Field(None, ge=-180, le=360)
    height_m: float = 0.0
    azimuth_deg: float | None = Field(None, ge=0, le=360)

    @model_validator(mode="after")
    def _whole(self):
        if self.kind == "map" and self.epsg is None:
            raise ValueError("is on a map: say on which (epsg = 3413 or epsg = 3031)")
        if self.kind == "along" and self.azimuth_deg is None:
            raise ValueError("is along the flow: say where to (azimuth_deg, clockwise from north)")
        return self


class SigmaColumns(Strict):
    """``[sigma]``: columns of standard deviations east, north, up, or the same for all rows."""

    columns: Three | None = None
    same_m: tuple[float, float, float] | None = None
    unit: Literal["m", "km", "cm", "mm"] = "m"
    axes: Literal["east, north, up", "map", "earth-fixed"] = "east, north, up"

    @model_validator(mode="after")
    def _either(self):
        if (self.columns is None) == (self.same_m is None):
            raise ValueError("give columns, or same_m for all rows: one of the two")
        if self.same_m is not None and not all(value > 0.0 for value in self.same_m):
            raise ValueError("standard deviations must be more than 0")
        return self


class LogPart(Strict):
    """``[log]``: what was done to the station."""

    steps: tuple[Instant | tuple[Instant, Instant], ...] = ()
    by_hand: tuple[tuple[Instant, Instant], ...] = ()


class ColumnMap(Strict):
    """All of a column map."""

    station: str = Field(min_length=1, max_length=40)
    station_column: str = ""
    missing: tuple[float, ...] = ()
    time: TimeColumn
    position: PositionColumns
    sigma: SigmaColumns
    log: LogPart = LogPart()


def read_column_map(path):
    """Return the checked :class:`ColumnMap` of a TOML file; SettingsError with line numbers."""
    return read_located(path, ColumnMap)
