"""``[lakes.routes]`` and ``[lakes.placement]`` of ``campaign.toml``."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from .located import Strict

Fraction = Annotated[float, Field(ge=0, le=1)]
Speed = Annotated[float, Field(gt=0, le=20)]


class RoutesPart(Strict):
    """``[lakes.routes]``: where water runs below the ice, and what may be wrong with the maps.

    ``what_if_m`` changes the whole surface, ``what_if_grid`` names a file of ``maps/`` with
    ``surface_change`` or another ``surface``.
    """

    flotation: tuple[Fraction, Fraction] = (0.9, 1.0)
    bed_sigma_m: float = Field(50.0, ge=0, le=1000)
    bed_length_m: float = Field(3000.0, gt=0, le=100e3)
    surface_sigma_m: float = Field(1.0, ge=0, le=200)
    surface_length_m: float = Field(5000.0, gt=0, le=100e3)
    realisations: int = Field(100, ge=1, le=10_000)
    seed: int = Field(9, ge=0)
    reach_m: float = Field(2000.0, gt=0, le=50e3)
    water_speed_m_s: tuple[Speed, ...] = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0)
    on_holes: Literal["refuse", "around", "lost"] = "refuse"
    sea_level_m: float | None = Field(None, ge=-200, le=200)
    most_cells: int = Field(400_000, ge=100, le=20_000_000)
    least_depth_m: float = Field(1.0, gt=0, le=500)
    least_area_km2: float = Field(1.0, ge=0, le=10_000)
    what_if_m: float | None = Field(None, ge=-500, le=500)
    what_if_grid: str = ""

    @model_validator(mode="after")
    def _ordered(self):
        if self.flotation[0] > self.flotation[1]:
            raise ValueError(f"flotation {self.flotation}: give the least first, then the most")
        if not self.water_speed_m_s:
            raise ValueError("water_speed_m_s is empty: give one speed or more")
        if self.what_if_m is not None and self.what_if_grid:
            raise ValueError("what_if_m and what_if_grid both stand there: choose one")
        return self


class PlacementPart(Strict):
    """``[lakes.placement]``: what a station on a lake is to see, and for how long.

    ``strain_limit_per_a``: strain rate from which crevasses may open; 0.0016 to 0.16 has been found
    (Colgan et al. 2016, Rev. Geophys. 54, 119; from memory), the default is our choice.
    """

    stay_d: float = Field(365.0, ge=0, le=3650)
    change_d: float = Field(10.0, gt=0, le=1000)
    record_d: float = Field(60.0, gt=0, le=1000)
    false_alarm: float = Field(0.01, gt=0, lt=1)
    power: float = Field(0.9, gt=0, lt=1)
    outlines: int = Field(6, ge=0, le=200)
    seed: int = Field(11, ge=0)
    strain_limit_per_a: float = Field(0.01, gt=0, le=10)
