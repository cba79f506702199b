"""``[decide]`` of ``campaign.toml``: what is asked of speed and drainages, set before looking."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from .located import Strict

Days = Annotated[float, Field(gt=0, le=200)]
Length = Annotated[float, Field(ge=0, le=200)]


class Covariate(Strict):
    """``[[decide.covariate]]``: an influence that is measured: a column of a table below the root.

    ``name`` stands in results; runoff, sea level, pressure and the like.
    """

    name: str = Field(min_length=1, max_length=40)
    file: str = Field(min_length=1)
    column: str = Field(min_length=1)


class DecidePart(Strict):
    """``[decide]``: the rule for events, the stations, windows and shapes of the one main test.

    ``stations`` by hand stand for those that the routes name, ``placebo_stations`` likewise.
    """

    lakes: tuple[str, ...] = ()
    stations: tuple[str, ...] = ()
    placebo_stations: tuple[str, ...] | None = None
    least_probability: float = Field(0.9, ge=0, le=1)
    largest_onset_sigma_d: float = Field(3.0, gt=0, le=60)
    route_probability: float = Field(0.5, ge=0, le=1)
    placebo_beside_km: float = Field(6.0, ge=0, le=500)
    window_d: Days = 1.0
    before_d: Days = 10.0
    after_d: Days = 10.0
    lag_d: tuple[Length, Length] = (0.0, 5.0)
    lag_step_d: float = Field(0.5, gt=0, le=20)
    rise_d: tuple[Length, ...] = (0.5, 1.0)
    longer_d: tuple[Length, ...] = (0.0, 2.5, 5.0)
    decay_d: tuple[Length, ...] = (5.0, 10.0, 20.0)
    take_off_melt: bool = True
    take_off_fortnight: bool | None = None
    covariate: tuple[Covariate, ...] | None = None
    earlier_d: Days = 5.0
    relevant_percent: float | None = Field(None, gt=0, le=100)
    permutations: int = Field(9999, ge=99, le=1_000_000)
    seed: int = Field(7, ge=0)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.lag_d[0] > self.lag_d[1]:
            raise ValueError("has a range of lags (lag_d) that ends before it begins")
        for name, lengths in (
            ("rise_d", self.rise_d),
            ("longer_d", self.longer_d),
            ("decay_d", self.decay_d),
        ):
            if not lengths:
                raise ValueError(f"has no length of a response ({name}): give one or more")
        names = [one.name for one in self.covariate or ()]
        again = sorted({name for name in names if names.count(name) > 1})
        if again:
            raise ValueError(f"has a covariate {', '.join(again)} more than once")
        twice = sorted(set(self.stations) & set(self.placebo_stations or ()))
        if twice:
            raise ValueError(f"station {', '.join(twice)} must respond and must not respond")
        return self
