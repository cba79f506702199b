"""``[motion]`` of ``campaign.toml``, and ``[[motion.station]]``: how the motion is worked out."""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from ..errors import TimeError
from ..time import from_iso
from .located import Strict


def _span(pair):
    """Return a pair of UTC times in order; ValueError where they are none."""
    try:
        begin, end = (from_iso(text) for text in pair)
    except TimeError as problem:
        raise ValueError(str(problem)) from None
    if end <= begin:
        raise ValueError(f"begins at {pair[0]} and ends at {pair[1]}: expected [begin, end], UTC")
    return pair


Span = Annotated[tuple[str, str], AfterValidator(_span)]
Days = Annotated[float, Field(gt=0)]
SlopeSource = Literal["automatic", "own path", "grid", "given", "none"]


class MotionStation(Strict):
    """``[[motion.station]]``: what is particular to one station."""

    name: str
    path: Literal["bending", "straight", "fixed"] | None = None
    azimuth_deg: float | None = Field(None, ge=0, le=360)
    slope: float | None = Field(None, gt=-1, lt=1)
    slope_sigma: float = Field(0.0, ge=0)
    slope_source: SlopeSource | None = None
    vertical_strain_m_a: float | None = None
    vertical_strain_sigma_m_a: float = Field(0.0, ge=0)
    settling_m_a: float | None = None
    settling_sigma_m_a: float = Field(0.0, ge=0)
    barometer_share: float | None = Field(None, ge=0, le=1)
    barometer_share_sigma: float = Field(0.0, ge=0, le=1)
    pressure: str | None = None
    by_hand: tuple[Span, ...] = ()
    protect: tuple[Span, ...] = ()

    @model_validator(mode="after")
    def _direction(self):
        if self.path == "fixed" and self.azimuth_deg is None:
            raise ValueError("has a fixed path: say where to (azimuth_deg, clockwise from north)")
        return self

    @model_validator(mode="after")
    def _given_slope(self):
        if self.slope_source == "given" and self.slope is None:
            raise ValueError("has slope_source = 'given': give the slope, negative downhill")
        return self


class SatelliteSpeed(Strict):
    """``[[motion.satellite]]``: speeds of one span of time, of a map or by station."""

    begin: str
    end: str
    map: str | None = None
    speed_m_a: dict[str, float] = Field(default_factory=dict)
    sigma_m_a: float = Field(gt=0)

    @model_validator(mode="after")
    def _either(self):
        _span((self.begin, self.end))
        if (self.map is None) == (not self.speed_m_a):
            raise ValueError(
                "needs either map, a file in maps/ with speed or velocity_x and velocity_y, or "
                "speed_m_a = { HV01 = 250.0 }"
            )
        return self


NoiseSigma = Annotated[float, Field(ge=0, le=1)]


class MotionPart(Strict):
    """``[motion]``: the same for all stations."""

    interval_h: float = Field(1.0, gt=0, le=24)
    path: Literal["bending", "straight"] = "bending"
    longest_gap_d: Days = 1.0
    outlier_threshold: float = Field(5.0, gt=0)
    largest_sigma_m: float = Field(0.5, gt=0)
    find_steps: bool = True
    remove_tide: bool = True
    shortest_tide_record_d: Days = 14.0
    coloured_noises: int = Field(1, ge=0, le=2)
    long_noise_m: tuple[NoiseSigma, NoiseSigma, NoiseSigma] = (0.0016, 0.0016, 0.0043)
    likelihood_rows: int = Field(12_000, ge=50, le=200_000)
    window_d: tuple[Annotated[float, Field(ge=1 / 24, le=30)], ...] = (1.0, 7.0)
    slope_source: SlopeSource = "automatic"
    slope_length_m: float = Field(500.0, ge=0, le=20_000)
    pressure: str | None = None
    seed: int = 4
    protect: tuple[Span, ...] = ()
    satellite: tuple[SatelliteSpeed, ...] = ()
    station: tuple[MotionStation, ...] = ()

    @model_validator(mode="after")
    def _not_given_to_all(self):
        if self.slope_source == "given":
            raise ValueError(
                "has slope_source = 'given' for all stations; write it, with the slope, into "
                "[[motion.station]]"
            )
        return self

    def of(self, name):
        """Return the part of one station; an empty one where there is none."""
        return next((s for s in self.station if s.name == name), MotionStation(name=name))
