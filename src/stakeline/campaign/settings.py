"""``campaign.toml``: what a campaign is, checked to the last key."""

import re
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from .decide_settings import DecidePart
from .lakes_settings import LakesPart
from .located import Strict, read_located
from .motion_settings import MotionPart
from .network_settings import NetworkPart
from .release_settings import ReleasePart

SYSTEM_LETTERS = {"GPS": "G", "GAL": "E", "GLO": "R", "BDS": "C"}
Code = Annotated[str, Field(pattern=r"^[A-Z0-9]{4}$", description="four capitals or digits")]


def system_letters(text):
    """Return the system letters, such as ``GE``, of a list such as ``GPS,GAL``.

    Raises ValueError naming the systems there are.
    """
    names = [name.upper() for name in re.split(r"[,\s]+", text.strip()) if name]
    unknown = [name for name in names if name not in SYSTEM_LETTERS]
    if unknown or not names:
        given = unknown[0] if unknown else text
        raise ValueError(f"'{given}' is no system; systems are {', '.join(SYSTEM_LETTERS)}")
    return "".join(SYSTEM_LETTERS[name] for name in dict.fromkeys(names))


Correction = Literal[
    "solid tide", "pole tide", "ocean loading", "satellite antenna", "receiver antenna", "wind-up",
    "Shapiro",
]  # fmt: skip


class CampaignPart(Strict):
    """``[campaign]``: its name."""

    name: str
    note: str = ""


class PositionPart(Strict):
    """``[position]``: how positions are estimated."""

    mode: Literal["kinematic", "static"] = "kinematic"
    systems: str = "GPS,GAL,GLO,BDS"
    interval_s: float = Field(30.0, gt=0, le=3600)
    mask_deg: float = Field(5.0, ge=0, le=60)
    margin_h: float = Field(6.0, ge=3, le=12)
    bases: tuple[Code, ...] = ()
    relative_heights: bool = False
    integers: bool = False
    estimate_walk: bool = False
    learn_weights: bool = False
    sidereal_days: int = Field(0, ge=0, le=12)
    frame: str | None = None
    broadcast_sigma_m: float | None = Field(None, gt=0, le=10)
    switched_off: tuple[Correction, ...] = ()

    @field_validator("bases")
    @classmethod
    def _no_base_twice(cls, value):
        return tuple(dict.fromkeys(value))

    @field_validator("systems")
    @classmethod
    def _known_systems(cls, value):
        system_letters(value)
        return value


class StationPart(Strict):
    """``[[station]]``: a station, the folders of its files, and tables of finished positions."""

    name: Code
    raw: tuple[str, ...] = ()
    positions: tuple[str, ...] = ()
    mode: Literal["kinematic", "static"] | None = None
    sidereal_days: int | None = Field(None, ge=0, le=12)


class DateRepair(Strict):
    """``[[repairs.date]]``: a wrong date the user has agreed to put right."""

    file: str
    sha256: str = Field(pattern=r"^[0-9a-f]{64}$")
    shift_weeks: int = Field(ge=-3000, le=3000)


class Repairs(Strict):
    """``[repairs]``: what intake proposed and the user accepted."""

    date: tuple[DateRepair, ...] = ()


class CampaignSettings(Strict):
    """All of ``campaign.toml``."""

    campaign: CampaignPart
    station: tuple[StationPart, ...] = ()
    position: PositionPart = PositionPart()
    motion: MotionPart = MotionPart()
    lakes: LakesPart = LakesPart()
    decide: DecidePart = DecidePart()
    network: NetworkPart = NetworkPart()
    release: ReleasePart = ReleasePart()
    repairs: Repairs = Repairs()

    @model_validator(mode="after")
    def _bases_are_stations(self):
        names = [part.name for part in self.station]
        unknown = [name for name in self.position.bases if name not in names]
        if unknown:
            raise ValueError(
                f"position.bases names {', '.join(unknown)}, which is no station here; stations "
                f"are {', '.join(names) or 'none'}"
            )
        return self

    @field_validator("station")
    @classmethod
    def _each_once(cls, value):
        names = [part.name for part in value]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"station {', '.join(twice)} stands there more than once")
        return value


def read_settings(path):
    """Return the checked settings of a ``campaign.toml``; SettingsError with line numbers."""
    return read_located(path, CampaignSettings)
