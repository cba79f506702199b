"""``[lakes]`` of ``campaign.toml``, ``[[lakes.lake]]`` and ``[[lakes.review]]``."""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from .located import Strict
from .water_settings import PlacementPart, RoutesPart

Shape = Literal["ice flow", "plate bulge", "uniform", "measured pattern"]
Day = Annotated[date, Field(description="a day such as 2031-06-14")]


class Lake(Strict):
    """``[[lakes.lake]]``: what is particular to one lake; ``name`` is that of its outline.

    ``stations`` and ``controls`` by hand stand for those found by place. ``below``: the lake whose
    water it gets.
    """

    name: str
    stations: tuple[str, ...] = ()
    controls: tuple[str, ...] | None = None
    thickness_m: float | None = Field(None, gt=0, le=5000)
    thickness_sigma_m: float | None = Field(None, ge=0, le=2000)
    viscosity_Pa_s: float | None = Field(None, ge=1e11, le=1e17)
    bed: Literal["stuck", "sliding", "either"] | None = None
    margin_sigma_m: float | None = Field(None, ge=0, le=20e3)
    shape: Shape | None = None
    below: str = ""
    seed: int | None = Field(None, ge=0)
    false_per_year: float | None = Field(None, gt=0, le=1)
    least_m: float | None = Field(None, gt=0, le=10)
    longest_d: float | None = Field(None, ge=1, le=400)

    @model_validator(mode="after")
    def _thickness(self):
        if self.thickness_sigma_m is not None and self.thickness_m is None:
            raise ValueError("has a sigma of the thickness (thickness_sigma_m) but no thickness_m")
        twice = sorted(set(self.stations) & set(self.controls or ()))
        if twice:
            raise ValueError(f"station {', '.join(twice)} is over the lake and a control as well")
        if self.below == self.name:
            raise ValueError("lies below itself; 'below' names the lake whose water it gets")
        return self


class Review(Strict):
    """``[[lakes.review]]``: what a person has made of an event, told by its lake and onset.

    ``within_d``: how far the event's onset may lie from the day given. [d]
    """

    lake: str
    onset: Day
    status: Literal["reviewed", "rejected"]
    reason: str = Field(min_length=1)
    who: str = Field(min_length=1)
    day: Day
    within_d: float = Field(3.0, gt=0, le=60)


class LakesPart(Strict):
    """``[lakes]``: the same for all lakes."""

    heights_within_m: float = Field(500.0, gt=0, le=5000)
    controls_within_km: float = Field(15.0, ge=0, le=200)
    margin_sigma_m: float = Field(200.0, ge=0, le=20e3)
    viscosity_Pa_s: float = Field(1e14, ge=1e11, le=1e17)
    bed: Literal["stuck", "sliding", "either"] = "either"
    shape: Shape = "ice flow"
    false_per_year: float = Field(0.02, gt=0, le=1)
    least_m: float = Field(0.03, gt=0, le=10)
    longest_d: float = Field(120.0, ge=1, le=400)
    seed: int = Field(6, ge=0)
    map_epsg: Literal[3413, 3031] | None = None
    routes: RoutesPart = RoutesPart()
    placement: PlacementPart = PlacementPart()
    lake: tuple[Lake, ...] = ()
    review: tuple[Review, ...] = ()

    @field_validator("lake")
    @classmethod
    def _each_once(cls, value):
        names = [part.name for part in value]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"lake {', '.join(twice)} stands there more than once")
        return value

    def of(self, name):
        """Return the part of one lake; an empty one where there is none."""
        return next((lake for lake in self.lake if lake.name == name), Lake(name=name))

    def chosen(self, name, key):
        """Return a setting of one lake; that of all lakes where it has none of its own."""
        own = getattr(self.of(name), key)
        return getattr(self, key) if own is None else own
