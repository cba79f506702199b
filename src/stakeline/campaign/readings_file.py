"""A file of readings taken at a station: who, when, weather, and one line for each thing done."""

from typing import Literal

from pydantic import Field

from .history import Instant, Shift
from .located import Strict, read_located
from .settings import Code

Entry = bool | int | float | str


class ReadingsFile(Strict):
    """All of a file of readings.

    ``readings``: one line for each item of the sheet: true, a number, or a text with its unit; an
    empty text is a reading not taken. ``photos``: the file of each photograph, from this file's
    folder. ``accepted``: why the site may be left although an item is not as expected.
    """

    station: Code
    time: Instant
    kind: Literal["set-up", "visit", "raise", "swap", "retrieval"]
    by: str = ""
    note: str = ""
    sky: Literal["clear", "cloudy", "unknown"] = "unknown"
    temperature_degC: float = Field(ge=-100, le=50)
    wind_m_s: float = Field(ge=0, le=100)
    battery_degC: float | None = Field(None, ge=-100, le=60)
    readings: dict[str, Entry]
    photos: dict[str, str] = Field(default_factory=dict)
    accepted: dict[str, str] = Field(default_factory=dict)
    marker_moved: Shift | None = None


def read_readings(path):
    """Return the checked :class:`ReadingsFile`; SettingsError with line numbers."""
    return read_located(path, ReadingsFile)
