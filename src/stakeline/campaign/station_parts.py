"""Tables of a station file: site, weather, panels, turbine, battery, loads, box, recording, cargo.

Defaults without a source beside them are common practice, no source.
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from .column_map import TimeColumn
from .located import Strict

Share = Annotated[float, Field(ge=0, le=1)]
Length = Annotated[float, Field(gt=0, le=50)]
Mass = Annotated[float, Field(gt=0, le=2000)]
Azimuth = Annotated[float, Field(ge=0, le=360)]
Degrees = Annotated[float, Field(ge=-100, le=60, description="degrees Celsius")]


class SitePart(Strict):
    """``[site]``: where it stands, on what, and what hides the sky.

    Latitude and longitude are numbers, or texts in any notation that ``stakeline.station``
    reads; ``place`` is both in one text, in their stead. ``horizon_deg``: pairs of azimuth and
    height of the skyline; ``albedo`` and ``density_kg_m3`` by the surface where not given.
    """

    latitude_deg: float | str | None = None
    longitude_deg: float | str | None = None
    place: str = ""
    elevation_m: float = Field(ge=-500, le=5000)
    surface: Literal["snow", "ice", "rock"] = "snow"
    slope_deg: float = Field(0.0, ge=0, le=60)
    slope_toward_deg: Azimuth = 0.0
    horizon_deg: tuple[tuple[Azimuth, Annotated[float, Field(ge=-10, lt=90)]], ...] = ()
    albedo: Share | None = None
    density_kg_m3: float | None = Field(None, ge=100, le=917)

    @field_validator("latitude_deg", "longitude_deg")
    @classmethod
    def _on_earth(cls, value, info):
        least, most = (-90, 90) if info.field_name == "latitude_deg" else (-180, 360)
        if isinstance(value, float) and value < least:
            raise ValueError(f"should be greater than or equal to {least}")
        if isinstance(value, float) and value > most:
            raise ValueError(f"should be less than or equal to {most}")
        return value

    @model_validator(mode="after")
    def _somewhere(self):
        pair = (self.latitude_deg, self.longitude_deg)
        if bool(self.place) == any(one is not None for one in pair):
            raise ValueError("give latitude_deg and longitude_deg, or place: one of the two")
        if not self.place and None in pair:
            raise ValueError("latitude_deg or longitude_deg is missing")
        return self

    @field_validator("horizon_deg")
    @classmethod
    def _round(cls, value):
        azimuths = [pair[0] for pair in value]
        if azimuths != sorted(set(azimuths)) or 360.0 in azimuths:
            raise ValueError("give pairs [azimuth, height] whose azimuths rise from 0 to below 360")
        return value


class WeatherColumns(Strict):
    """``[weather.columns]``: names of the columns of a foreign file; empty where it has none."""

    temperature_degC: str = "air_degC"
    wind_m_s: str = "wind_m_s"
    pressure_hPa: str = ""
    cloud: str = ""
    humidity_percent: str = ""


class WeatherPart(Strict):
    """``[weather]``: an hourly file beside this one, or numbers of the climate.

    ``time``: its column of time, as in a column map; ``missing``: numbers that stand for none.
    Without ``file`` the climate counts: ``mean_degC`` over the year, ``swing_K`` half of warmest
    less coldest month, ``spread_K`` of hours about the season; ``wind_m_s`` mean at
    ``measured_at_m`` and ``wind_shape`` of its Weibull law; ``wind_winter_share``: how much windier
    (0.2: a fifth) midwinter is than the mean. ``cloud``: mean cover, for both.
    """

    file: str = ""
    time: TimeColumn = TimeColumn(column="time_utc", scale="UTC")
    columns: WeatherColumns = WeatherColumns()
    missing: tuple[float, ...] = ()
    measured_at_m: float = Field(3.0, gt=0.1, le=50)
    mean_degC: Degrees = -25.0
    swing_K: float = Field(15.0, ge=0, le=50)
    spread_K: float = Field(6.0, ge=0, le=20)
    wind_m_s: float = Field(6.0, ge=0, le=30)
    wind_shape: float = Field(1.8, ge=1, le=4)
    wind_winter_share: float = Field(0.15, ge=-0.9, le=0.9)
    cloud: Share = 0.5
    pressure_hPa: float | None = Field(None, ge=400, le=1100)
    rime_share: Share = 0.05


class PanelPart(Strict):
    """``[[panel]]``: equal panels that look the same way.

    ``tilt_deg`` from level, 90 upright; ``azimuth_deg`` the front faces, clockwise from true north.
    ``series``: how many of them in one string. ``bottom_m``: lower edge above the surface on the
    day of building; ``out_m``: before the mast, below 0 behind it.
    ``shade_loss``: beam lost by shaded share of the area; cells in series lose more than it. Size,
    current and mass follow the power where not given: 130 W/m2, 5.3 A for 85 W, 0.1 kg/W.
    """

    name: str = "panel"
    rated_W: float = Field(gt=0, le=1000)
    count: int = Field(1, ge=1, le=50)
    series: int = Field(1, ge=1, le=10)
    tilt_deg: float = Field(ge=0)
    azimuth_deg: Azimuth
    cells: int = Field(36, ge=1, le=288)
    open_V: float = Field(22.1, gt=0, le=200)
    short_A: float | None = Field(None, gt=0, le=50)
    power_per_K: float = Field(-0.0045, ge=-0.02, le=0)
    open_per_K: float = Field(-0.0034, ge=-0.02, le=0)
    short_per_K: float = Field(0.0005, ge=-0.01, le=0.01)
    cable_ohm: float = Field(0.1, ge=0, le=10)
    diode_V: float = Field(0.5, ge=0, le=3)
    clean_share: Share = 0.9
    bottom_m: float = Field(1.0, ge=-5, le=50)
    out_m: float = Field(0.3, ge=-50, le=50)
    shade_loss: float = Field(2.0, ge=0, le=10)
    width_m: Length | None = None
    tall_m: Length | None = None
    mass_kg: Mass | None = None

    @field_validator("tilt_deg")
    @classmethod
    def _up(cls, value):
        if value > 90.0:
            raise ValueError("faces down; expected 0 (level) to 90 (upright)")
        return value

    @model_validator(mode="after")
    def _whole_strings(self):
        if self.count % self.series:
            raise ValueError(f"{self.count} panels make no whole strings of {self.series}")
        return self


class TurbinePart(Strict):
    """``[turbine]``: a generic rotor, or its maker's curve at 1.225 kg/m3.

    ``lives_year``: chance that bearing, blades and regulator last a year; small rotors break often
    (common practice, no source). ``dump_W``: what its regulator can burn.
    """

    diameter_m: float = Field(1.1, gt=0, le=5)
    efficiency: float = Field(0.25, gt=0, le=0.59)
    rated_W: float = Field(200.0, gt=0, le=5000)
    start_m_s: float = Field(4.0, gt=0, le=20)
    stop_m_s: float = Field(20.0, gt=0, le=60)
    survival_m_s: float = Field(50.0, gt=0, le=100)
    hub_m: float = Field(3.0, gt=0, le=30)
    rime_stop: float = Field(0.4, gt=0, le=1)
    curve_m_s: tuple[float, ...] = ()
    curve_W: tuple[float, ...] = ()
    dump_W: float | None = Field(None, ge=0, le=5000)
    lives_year: Share = 0.8
    mass_kg: Mass = 12.0


class BatteryPart(Strict):
    """``[battery]``: equal blocks; ``sealed``: for the carrier; mass and volume are of one."""

    chemistry: Literal["lead-acid", "lithium iron phosphate"] = "lead-acid"
    block_Ah: float = Field(100.0, gt=0, le=3000)
    block_V: float = Field(12.0, gt=0, le=48)
    series: int = Field(1, ge=1, le=20)
    parallel: int = Field(ge=1, le=200)
    age_a: float = Field(0.0, ge=0, le=20)
    loss_per_a: float = Field(0.05, ge=0, le=0.5)
    cold_law: Literal["slow", "sizing"] = "slow"
    peukert: float = Field(1.1, ge=1, le=1.5)
    block_ohm: float = Field(0.01, gt=0, le=1)
    charge_share: float = Field(0.85, gt=0, le=1)
    discharge_month: Share = 0.03
    sealed: bool = True
    mass_kg: Mass | None = None
    volume_m3: float | None = Field(None, gt=0, le=2)


class ControllerPart(Strict):
    """``[controller]``: the switch of the loads and what charges, for a nominal 12 V.

    ``share``: power passed on; ``tracking``: seeks the panels' best power; ``own_W``: what it takes
    itself; ``compensated``: charge voltage follows the battery's temperature; ``frost_ban``: keeps
    lithium cells from being charged below 0 degC; ``trip_V``: where a breaker trips, and stays off.
    """

    disconnect_V: float = Field(11.5, gt=0, le=20)
    reconnect_V: float = Field(12.6, gt=0, le=20)
    share: float = Field(0.97, gt=0, le=1)
    tracking: bool = False
    own_W: float = Field(0.05, ge=0, le=20)
    compensated: bool = True
    frost_ban: bool = True
    trip_V: float | None = Field(None, gt=0, le=20)
    mass_kg: Mass = 1.0

    @model_validator(mode="after")
    def _hysteresis(self):
        if not self.disconnect_V < self.reconnect_V:
            raise ValueError(
                f"reconnect_V {self.reconnect_V:g} is not above disconnect_V "
                f"{self.disconnect_V:g}: loads would flicker; raise it"
            )
        return self


class LoadPart(Strict):
    """``[[load]]``: one consumer.

    ``power_W`` while on, ``duty`` share of the time; ``peak_W`` on top for ``peak_s``, as a modem
    dials; ``saved_W``: mean below the state of charge ``saves_below``, off with 0. ``least_V``: it
    does not start below. ``blocks_d``: how many times a day it is switched on, for duty below 1.
    ``starts_alone``, ``logs_alone``, ``wakes_alone``: by itself after power came back, log on boot,
    wake from sleep even when told nothing; leave out what nobody has tried. Of telemetry:
    ``message``: size of its short bursts, small where not given; ``report_bytes``: of one report
    that is not cut in two.
    """

    name: str
    kind: Literal["receiver", "telemetry", "logger", "other"] = "other"
    power_W: float = Field(gt=0, le=500)
    duty: Share = 1.0
    blocks_d: float = Field(1.0, gt=0, le=1440)
    peak_W: float = Field(0.0, ge=0, le=500)
    peak_s: float = Field(0.5, gt=0, le=3600)
    saves_below: Share = 0.0
    saved_W: float | None = Field(None, ge=0, le=500)
    least_V: float | None = Field(None, gt=0, le=20)
    starts_alone: bool | None = None
    logs_alone: bool | None = None
    wakes_alone: bool | None = None
    message: Literal["small", "full"] | None = None
    report_bytes: float | None = Field(None, gt=0, le=10_000)
    mass_kg: Mass = 2.0

    @model_validator(mode="after")
    def _only_telemetry_sends(self):
        sends = [name for name in ("message", "report_bytes") if getattr(self, name) is not None]
        if sends and self.kind != "telemetry":
            raise ValueError(
                f"{' and '.join(sends)} only of a load of kind telemetry; this one is "
                f"{self.kind}: set its kind, or leave the key out"
            )
        return self


class HeaterPart(Strict):
    """``[heater]``: in the box, with its thermostat's two limits; off below ``least_V`` at rest."""

    power_W: float = Field(gt=0, le=500)
    on_degC: Degrees = -30.0
    off_degC: Degrees = -25.0
    least_V: float = Field(12.3, gt=0, le=20)
    second_cutout: bool | None = None

    @model_validator(mode="after")
    def _apart(self):
        if not self.on_degC < self.off_degC:
            raise ValueError("off_degC must be warmer than on_degC")
        return self


class BoxPart(Strict):
    """``[box]``: around battery and electronics.

    ``place``: on the surface, or ``snow`` with its middle ``depth_m`` below. ``heat_J_K``: of what
    is in it; the batteries' mass times 900 J/(kg K) and 20 kJ/K where not given. ``air_m3_h``: let
    through from outside, to carry gas away.
    """

    inner_m: tuple[Length, Length, Length] = (0.6, 0.5, 0.4)
    wall_m: float = Field(0.10, gt=0, le=1)
    wall_W_m_K: float = Field(0.035, gt=0, le=1)
    heat_J_K: float | None = Field(None, gt=0, le=1e8)
    place: Literal["surface", "snow"] = "surface"
    depth_m: float = Field(1.0, gt=0, le=20)
    ventilated: bool | None = None
    air_m3_h: float = Field(0.0, ge=0, le=200)
    mass_kg: Mass = 25.0


class RecordingPart(Strict):
    """``[recording]``: what is kept and sent each day."""

    interval_s: float = Field(30.0, gt=0, le=3600)
    signals: int = Field(2, ge=1, le=8)
    systems: tuple[str, ...] = ("GPS", "GLONASS", "Galileo", "BeiDou")
    form: Literal["receiver binary", "RINEX", "compact RINEX"] = "receiver binary"
    card_GB: float = Field(32.0, gt=0, le=4000)
    sent_bytes_d: float = Field(0.0, ge=0, le=1e9)


class CargoPart(Strict):
    """``[[cargo]]``: what flies besides the parts named above; ``mass_kg`` of one piece, packed."""

    name: str
    mass_kg: Mass
    volume_m3: float = Field(0.05, ge=0, le=20)
    count: int = Field(1, ge=1, le=1000)
    dangerous: str = ""
    comes_back: bool = True


class AircraftPart(Strict):
    """``[aircraft]``: what one flight leaves for cargo."""

    payload_kg: float = Field(500.0, gt=0, le=50e3)
    volume_m3: float = Field(4.0, gt=0, le=200)


class AimPart(Strict):
    """``[aim]``: what is wanted, and how it is looked at.

    ``built``: day of building; ``visit``: day of the next one. ``begins_month``: month in which a
    simulated year begins with a full bank, midsummer where not given.
    """

    survival: float = Field(0.95, gt=0, lt=1)
    years: int = Field(100, ge=1, le=10_000)
    seed: int = Field(1, ge=0)
    begins_month: int | None = Field(None, ge=1, le=12)
    built: date | None = None
    visit: date | None = None

    @model_validator(mode="after")
    def _ordered(self):
        if self.built and self.visit and not self.built < self.visit:
            raise ValueError(f"visit {self.visit} is not after built {self.built}")
        return self
