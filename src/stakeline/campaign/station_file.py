"""``plans/NAME.toml``: a station as it is to be built, from generic parts, each key checked."""

from pydantic import Field, field_validator, model_validator

from .located import Strict, read_located
from .settings import Code
from .station_parts import (
    AimPart,
    AircraftPart,
    BatteryPart,
    BoxPart,
    CargoPart,
    ControllerPart,
    HeaterPart,
    LoadPart,
    PanelPart,
    RecordingPart,
    SitePart,
    TurbinePart,
    WeatherPart,
)
from .station_structure import (
    AnchorsPart,
    AntennaPart,
    FramePart,
    GuysPart,
    MastPart,
    SnowPart,
    StormPart,
)


class StationFile(Strict):
    """All of a station file.

    Site, battery and at least one load must stand there; a station without panels and turbine lives
    on its bank alone.
    """

    name: Code
    note: str = ""
    site: SitePart
    weather: WeatherPart = WeatherPart()
    panel: tuple[PanelPart, ...] = ()
    turbine: TurbinePart | None = None
    battery: BatteryPart
    controller: ControllerPart = ControllerPart()
    load: tuple[LoadPart, ...] = Field(min_length=1)
    heater: HeaterPart | None = None
    box: BoxPart = BoxPart()
    mast: MastPart = MastPart()
    guys: GuysPart | None = None
    anchors: AnchorsPart | None = None
    frame: FramePart | None = None
    antenna: AntennaPart = AntennaPart()
    snow: SnowPart = SnowPart()
    storm: StormPart = StormPart()
    recording: RecordingPart = RecordingPart()
    cargo: tuple[CargoPart, ...] = ()
    aircraft: AircraftPart = AircraftPart()
    aim: AimPart = AimPart()

    @field_validator("panel", "load", "cargo")
    @classmethod
    def _named_once(cls, value):
        names = [part.name for part in value]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"{', '.join(twice)} stands there more than once; give another name")
        return value

    @model_validator(mode="after")
    def _anchored(self):
        if self.guys is not None and self.anchors is None:
            raise ValueError("guys need [anchors]: say what holds them")
        return self


def read_station_file(path):
    """Return the checked :class:`StationFile` of a TOML file; SettingsError with line numbers."""
    return read_located(path, StationFile)
