"""A station as designed: site, panels as they stand, loads, and what holds energy and heat."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import SettingsError
from .battery import Bank
from .box import Box
from .checks import not_negative, positive
from .panel import Panel
from .sky import LEVEL_HORIZON, SNOW_ALBEDO, Horizon
from .turbine import Turbine

RECEIVER, TELEMETRY, LOGGER, OTHER = "receiver", "telemetry", "logger", "other"
MIDSUMMER_MONTH = {False: 7, True: 1}  # by whether the site is in the south


@dataclass(frozen=True)
class Site:
    """Where a station stands.

    Attributes
    ----------
    latitude_deg, longitude_deg, elevation_m : float
    surface : str
        ``snow``, ``ice`` or ``rock``.
    albedo, density_kg_m3 : float
        Of the surface.
    horizon : Horizon
        With the slope, once the site is made.
    slope_deg, slope_toward_deg : float
        Of the surface, and the azimuth down the slope.
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    surface: str = "snow"
    albedo: float = SNOW_ALBEDO
    density_kg_m3: float = 350.0
    horizon: Horizon = LEVEL_HORIZON
    slope_deg: float = 0.0
    slope_toward_deg: float = 0.0

    def __post_init__(self):
        if not abs(self.latitude_deg) <= 90.0:
            raise SettingsError(f"latitude {self.latitude_deg:g} deg: expected -90 to 90")
        slope, toward = np.radians([self.slope_deg, self.slope_toward_deg]).tolist()
        horizon = replace(self.horizon, slope_rad=slope, toward_rad=toward)
        object.__setattr__(self, "horizon", horizon if slope else self.horizon)

    @property
    def south(self):
        """Whether midsummer is in December."""
        return self.latitude_deg < 0.0

    @property
    def midsummer_month(self):
        """Month after the longest day, 1 or 7."""
        return MIDSUMMER_MONTH[self.south]


@dataclass(frozen=True)
class PlacedPanel:
    """Equal panels that look the same way.

    Attributes
    ----------
    name : str
    panel : Panel
        One of them.
    count, series : int
        How many, and how many in a string.
    tilt_deg, azimuth_deg : float
        From level (0) to upright (90); where the front faces, from north over east.
    clean_share : float
        Light that rime, dust and snow on the glass leave on an average day.
    width_m, tall_m, bottom_m, out_m, mass_kg : float
        Of one: its edges, lower edge above the surface, distance from the mast, mass.
    shade_loss : float
        Share of the beam lost by shaded share of the area.
    """

    name: str
    panel: Panel
    count: int
    tilt_deg: float
    azimuth_deg: float
    series: int = 1
    clean_share: float = 0.9
    width_m: float = 0.55
    tall_m: float = 1.2
    bottom_m: float = 1.0
    out_m: float = 0.3
    mass_kg: float = 8.5
    shade_loss: float = 2.0

    def __post_init__(self):
        positive(width_m=self.width_m, tall_m=self.tall_m, mass_kg=self.mass_kg)
        if not 0.0 <= self.tilt_deg <= 90.0:
            raise SettingsError(
                f"panel {self.name}: tilt {self.tilt_deg:g} deg faces down; expected 0 to 90"
            )

    @property
    def rise_m(self):
        """Height of its upper edge over its lower one, at least a hand's breadth. [m]"""
        return max(self.tall_m * float(np.sin(np.radians(self.tilt_deg))), 0.1)

    @property
    def middles_m(self):
        """Middles of the panels, side by side: east, north, up (count, 3). [m]"""
        facing = np.radians(self.azimuth_deg)
        out = np.array([np.sin(facing), np.cos(facing)]) * self.out_m
        across = np.array([np.cos(facing), -np.sin(facing)]) * self.width_m
        aside = np.arange(self.count) - 0.5 * (self.count - 1)
        height = max(self.bottom_m + 0.5 * self.rise_m, 0.01)
        return np.column_stack([out + aside[:, None] * across, np.full(self.count, height)])


@dataclass(frozen=True)
class Load:
    """One consumer.

    ``power_W`` while on, for the share ``duty`` of the time; ``peak_W`` on top for ``peak_s``;
    ``saved_W``: mean below the state of charge ``saves_below`` (0: never saves); ``blocks_d``: how
    many times a day it is switched on. ``starts_alone``, ``logs_alone``, ``wakes_alone``: by itself
    after power came back, record on boot, wake from sleep; None where nobody has tried.
    """

    name: str
    kind: str
    power_W: float
    duty: float = 1.0
    peak_W: float = 0.0
    peak_s: float = 0.5
    saves_below: float = 0.0
    saved_W: float | None = None
    blocks_d: float = 1.0
    least_V: float | None = None
    starts_alone: bool | None = None
    logs_alone: bool | None = None
    wakes_alone: bool | None = None

    def __post_init__(self):
        not_negative(**{f"load {self.name}, power_W": self.power_W})
        if not 0.0 <= self.duty <= 1.0:
            raise SettingsError(f"load {self.name}: duty {self.duty:g}: expected 0 to 1")

    @property
    def mean_W(self):
        """Power times duty. [W]"""
        return self.power_W * self.duty

    @property
    def low_W(self):
        """Mean while it saves, no more than the usual mean. [W]"""
        return self.mean_W if self.saved_W is None else min(self.saved_W, self.mean_W)

    @property
    def saves(self):
        """Whether it takes less from some state of charge on."""
        return self.saves_below > 0.0 and self.low_W < self.mean_W

    @property
    def sleeps(self):
        """Whether it is off at times, by its duty or to save."""
        return self.duty < 1.0 or self.saves

    @property
    def records(self):
        """Whether it is what the station stands there for."""
        return self.kind in (RECEIVER, LOGGER)

    @property
    def by_hand(self):
        """Whether it stays off after a cut-off until a person comes."""
        return self.starts_alone is False or (self.sleeps and self.wakes_alone is False)

    @property
    def lost_after_cut(self):
        """Whether hours after a cut-off are lost: it stays off, or is on without recording."""
        return self.by_hand or (self.records and self.logs_alone is False)


@dataclass(frozen=True)
class Design:
    """All that decides whether a station lives.

    Attributes
    ----------
    name : str
    site : Site
    panels : tuple of PlacedPanel
    turbine : Turbine or None
    bank : Bank
    box : Box
    loads : tuple of Load
    controller_W : float
        What the controller takes itself.
    box_depth_m : float or None
        Of the box's middle in snow; None on the surface.
    dump_W : float or None
        What the turbine's regulator can burn; None where it is not known, taken as enough.
    turbine_lives : float
        Chance that the turbine does not break of itself within a year.
    mast_m : tuple of two floats
        Diameter and height of the mast, which throws a shadow.
    """

    name: str
    site: Site
    panels: tuple
    bank: Bank
    box: Box
    loads: tuple
    turbine: Turbine | None = None
    controller_W: float = 0.05
    box_depth_m: float | None = None
    dump_W: float | None = None
    turbine_lives: float = 1.0
    mast_m: tuple = (0.0, 0.0)
    cautions: tuple = field(default=())

    @property
    def mean_W(self):
        """Mean of all loads and the controller, nothing saved, without heater. [W]"""
        return self.controller_W + sum(load.mean_W for load in self.loads)

    @property
    def peak_W(self):
        """The largest short peak of a single load. [W]"""
        return max((load.peak_W for load in self.loads), default=0.0)

    @property
    def panel_W(self):
        """Rated power of all panels. [W]"""
        return sum(group.count * group.panel.rated_W for group in self.panels)
