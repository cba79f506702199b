"""Tables of a station file that wind and snow ask for: mast, guys, anchors, frame, antenna, storm.

Defaults without a source beside them are common practice, no source.
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, field_validator

from .located import Strict
from .station_parts import Azimuth, Degrees, Length, Mass, Share

Material = Literal["aluminium", "steel", "glass fibre"]


class MastPart(Strict):
    """``[mast]``: a round tube with the antenna on its top.

    ``free_m`` above the surface, ``embedded_m`` below it.
    """

    free_m: float = Field(2.5, gt=0, le=20)
    embedded_m: float = Field(1.5, ge=0, le=20)
    diameter_m: float = Field(0.06, gt=0, le=1)
    wall_m: float = Field(0.003, gt=0, le=0.1)
    material: Material = "aluminium"


class GuysPart(Strict):
    """``[guys]``: equal ones around the mast, the first toward ``first_deg``."""

    count: int = Field(4, ge=3, le=12)
    top_m: Length = 2.0
    out_m: Length = 2.0
    first_deg: Azimuth = 0.0
    breaking_N: float = Field(10e3, gt=0, le=1e6)
    stretch_N: float = Field(5e5, gt=0, le=1e8)
    pretension_share: Share = 0.10


class AnchorsPart(Strict):
    """``[anchors]``: what holds each guy."""

    kind: Literal["buried plate", "picket", "ice screw", "drilled leg", "rock bolt"]
    area_m2: float = Field(0.04, gt=0, le=5)
    depth_m: Length = 0.8
    width_m: Length = 0.07
    length_m: Length = 0.6
    diameter_m: float = Field(0.04, gt=0, le=1)


class FramePart(Strict):
    """``[frame]``: legs that carry panels, turbine or box; ``embedded_m`` 0 where they stand."""

    legs: int = Field(3, ge=3, le=8)
    out_m: Length = 0.75
    diameter_m: float = Field(0.05, gt=0, le=1)
    wall_m: float = Field(0.003, gt=0, le=0.1)
    material: Material = "aluminium"
    embedded_m: float = Field(1.5, ge=0, le=20)
    mass_kg: Mass = 30.0


class AntennaPart(Strict):
    """``[antenna]``: of the receiver, on the mast."""

    width_m: float = Field(0.38, gt=0, le=2)
    tall_m: float = Field(0.15, gt=0, le=2)
    mass_kg: Mass = 4.0


def _in_every_year(value):
    try:
        date.fromisoformat(f"2001-{value}")
    except ValueError:
        raise ValueError("expected month and day, such as 06-01") from None
    return value


DayOfYear = Annotated[str, AfterValidator(_in_every_year)]


class SnowPart(Strict):
    """``[snow]``: how the surface rises by snow, or falls by melt. [m/a as it lies]

    ``drift_at``: in place of ``drift_m_a`` around a part by name: antenna, turbine, box, or that of
    a panel. ``melt_season``: first and last day of melt as month and day, such as
    ``["06-01", "09-10"]``; without it, or without ``built``, melt is spread over the year.
    """

    rate_m_a: float = Field(0.0, ge=0, le=20)
    rate_sigma_m_a: float = Field(0.0, ge=0, le=10)
    year_sigma_m_a: float = Field(0.0, ge=0, le=10)
    drift_m_a: float = Field(0.0, ge=0, le=20)
    melt_m_a: float = Field(0.0, ge=0, le=20)
    melt_sigma_m_a: float = Field(0.0, ge=0, le=10)
    drift_at: tuple[tuple[str, Annotated[float, Field(ge=0, le=20)]], ...] = ()
    melt_season: tuple[DayOfYear, DayOfYear] | None = None

    @field_validator("drift_at", mode="before")
    @classmethod
    def _pairs(cls, value):
        return tuple(value.items()) if isinstance(value, dict) else value  # settings are hashed


class StormPart(Strict):
    """``[storm]``: what it must stand: mean wind, rime, cold.

    ``return_years``: the wind is compared with what comes once in so many years there.
    38.6 m/s and -73 degC: 75 knots and -100 degF, common practice, no source.
    """

    wind_m_s: float = Field(38.6, gt=0, le=100)
    measured_at_m: float = Field(3.0, gt=0.1, le=50)
    gust: bool = True
    return_years: float = Field(50.0, ge=2, le=1000)
    rime_m: float = Field(0.02, ge=0, le=1)
    coldest_degC: Degrees = -73.0
