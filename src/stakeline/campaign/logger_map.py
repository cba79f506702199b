"""``loggers/NAME.toml``: what the columns of a foreign logger's files are."""

from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from .column_map import TimeColumn
from .located import Strict, read_located
from .settings import Code

LOGGERS = "loggers"
"""Folder of a campaign that holds these maps."""
UNITS = {
    "battery_V": {"V": 1.0, "mV": 1e-3},
    "panel_A": {"A": 1.0, "mA": 1e-3},
    "turbine_A": {"A": 1.0, "mA": 1e-3},
    "load_A": {"A": 1.0, "mA": 1e-3},
    "box_degC": {"degC": 1.0, "K": 1.0, "degF": 5.0 / 9.0},
    "air_degC": {"degC": 1.0, "K": 1.0, "degF": 5.0 / 9.0},
    "wind_m_s": {"m/s": 1.0, "kn": 1852.0 / 3600.0, "km/h": 1.0 / 3.6},
    "humidity_percent": {"percent": 1.0, "1": 100.0},
    "pressure_hPa": {"hPa": 1.0, "mbar": 1.0, "Pa": 1e-2, "kPa": 10.0},
    "snow_distance_m": {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "ft": 0.3048, "in": 0.0254},
    "tilt_deg": {"deg": 1.0, "rad": 57.29577951308232},
}
"""Quantities of a logger's table, and the factor of each unit to that in the name."""
ZERO_AT = {"K": -273.15, "degF": -160.0 / 9.0}  # degC at 0 of the unit; definitions
Quantity = Literal[
    "battery_V",
    "panel_A",
    "turbine_A",
    "load_A",
    "box_degC",
    "air_degC",
    "wind_m_s",
    "humidity_percent",
    "pressure_hPa",
    "snow_distance_m",
    "tilt_deg",
]


class ClockSet(Strict):
    """``[[time.set]]``: what the clock shows from a line of the file on.

    ``ahead_h``: less the scale named, as in :class:`LoggerTime`, in whose place it stands from
    ``from_line`` on (1 is the first line of the file).
    """

    from_line: int = Field(ge=1)
    ahead_h: float = Field(ge=-1e6, le=1e6)


class LoggerTime(TimeColumn):
    """``[time]``: as in a column map, and how far the clock goes ahead.

    ``ahead_h``: what the clock shows less the scale named, such as -3 for local time three hours
    behind UTC. ``pattern``: how a time is written where it is not ISO 8601, such as
    ``%d.%m.%Y %H:%M`` (C standard, strftime). ``set``: where the clock was set on the way.
    """

    pattern: str = ""
    ahead_h: float = Field(0.0, ge=-26, le=26)
    set: tuple[ClockSet, ...] = ()

    @field_validator("set")
    @classmethod
    def _in_order(cls, value):
        lines = [one.from_line for one in value]
        if sorted(set(lines)) != lines:
            raise ValueError(f"from_line {lines}: expected each line once, in order")
        return value


class SensorColumn(Strict):
    """``[[column]]``: a column, what it measures, in which unit.

    ``factor`` and ``plus`` act on the values as written, before the unit: a shunt's factor, an
    offset of a calibration. ``least`` and ``most``: readings beyond, in the quantity's own unit,
    count as missing; a value that stands at either end is a range's floor, not a reading.
    ``add``: several columns of one quantity are added (strings of panels), not averaged.
    """

    column: str
    quantity: Quantity
    unit: str
    factor: float = 1.0
    plus: float = 0.0
    least: float | None = None
    most: float | None = None
    add: bool = False

    @model_validator(mode="after")
    def _unit_fits(self):
        known = UNITS[self.quantity]
        if self.unit not in known:
            raise ValueError(
                f"'{self.unit}' is no unit of {self.quantity}; expected {', '.join(known)}"
            )
        if self.factor == 0.0:
            raise ValueError("factor is 0: every reading would be the same")
        return self


Column = Annotated[SensorColumn, Field(description="a table [[column]]")]


class LoggerMap(Strict):
    """All of a logger map: which files, whose, and what their columns are.

    ``files``: patterns below the campaign, such as ``0-raw/HV03/logger*.csv``. ``names``: names of
    the columns in order, for files without a line of names; ``lines_before``: lines above the
    names, or above the first row.
    """

    files: tuple[str, ...] = Field(min_length=1)
    station: Code
    missing: tuple[float, ...] = ()
    separator: Literal[",", ";", "tab", "space"] = ","
    names: tuple[str, ...] = ()
    lines_before: int = Field(0, ge=0, le=1000)
    units_below: int = Field(0, ge=0, le=10)
    time: LoggerTime
    column: tuple[Column, ...] = Field(min_length=1)

    @field_validator("column")
    @classmethod
    def _each_once(cls, value):
        names = [part.column for part in value]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"column {', '.join(twice)} stands there more than once")
        return value


def read_logger_map(path):
    """Return the checked :class:`LoggerMap` of a TOML file; SettingsError with line numbers."""
    return read_located(path, LoggerMap)


def in_own_unit(values, part):
    """Return readings of a column in the unit of its quantity, as an array."""
    return (part.factor * values + part.plus) * UNITS[part.quantity][part.unit] + ZERO_AT.get(
        part.unit, 0.0
    )
