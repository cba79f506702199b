"""From a station file to the station's records: what plan, commission and the pages start from."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..campaign.located import line_numbers, line_of
from ..campaign.station_file import StationFile, read_station_file
from ..errors import SettingsError
from ..station import anchors
from ..station.battery import LITHIUM, Bank
from ..station.box import Box
from ..station.burial import Rise
from ..station.cargo import Aircraft, Item
from ..station.design import Design, Load, PlacedPanel, Site
from ..station.guys import Guy
from ..station.mast import MATERIALS, Tube
from ..station.network import USUAL, reports_a_day
from ..station.panel import Panel
from ..station.sky import LEVEL_HORIZON, Horizon
from ..station.turbine import Turbine
from ..station.wind_load import Part
from .typed_place import TypedPlace, in_degrees

ALBEDO = {"snow": 0.80, "ice": 0.55, "rock": 0.15}  # -; Cuffey & Paterson (2010), from memory
DENSITY_KG_M3 = {"snow": 350.0, "ice": 900.0, "rock": 917.0}  # kg/m3; wind-packed snow, glacier
# ice; rock is not asked for a density
PANEL_W_M2 = 130.0  # W/m2; by rated power, common practice, no source
PANEL_TALL = 1.4  # -; height by width of a panel, common practice, no source
PANEL_W_A = 85.0 / 5.3  # W/A; of 36 cells
PANEL_KG_W = 0.1  # kg/W; framed with glass, common practice, no source
BATTERY_KG_WH = {"lead-acid": 0.027, "lithium iron phosphate": 0.010}  # kg/(W h); makers' sheets
BATTERY_KG_M3 = 2200.0  # kg/m3; of a lead-acid block, common practice, no source
BATTERY_J_KG_K = 900.0  # J/(kg K); lead-acid, common practice, no source
ELECTRONICS_J_K = 2e4  # J/K; of what else is in a box, common practice, no source
PACKED = 1.5  # -; volume packed by that of the part, common practice, no source


@dataclass(frozen=True)
class StationDescription:
    """A station file and what was made of it.

    Attributes
    ----------
    path : Path
    settings : StationFile
        The file, checked, defaults filled in.
    design : Design
        Site, panels, turbine, bank, box, loads.
    tube : Tube
        The mast.
    guys : tuple of Guy
    holdings : dict of Holding
        Of each guy's anchor by its name.
    legs_m : array, shape (n, 2)
        East and north of the frame's legs; empty without a frame. [m]
    leg : Tube or None
        One leg of the frame.
    parts : tuple of Part
        What stands in the wind.
    snow, melt : Rise
        How the surface rises, and how it melts.
    items : tuple of Item
        Bill of materials.
    aircraft : Aircraft
    typed : TypedPlace or None
        The place as it was typed, where that is a text.
    """

    path: Path
    settings: StationFile
    design: Design
    tube: Tube
    guys: tuple
    holdings: dict
    legs_m: np.ndarray
    leg: Tube | None
    parts: tuple
    snow: Rise
    melt: Rise
    items: tuple
    aircraft: Aircraft
    typed: TypedPlace | None = None

    @property
    def name(self):
        """The station's name."""
        return self.design.name

    @property
    def drilled(self):
        """Whether a hole is drilled for the mast or the legs of a frame."""
        parts = (self.settings.mast, self.settings.frame)
        return any(part is not None and part.embedded_m > 0.0 for part in parts)

    @property
    def begins_month(self):
        """Month in which a simulated year begins: midsummer where the file says nothing."""
        return self.settings.aim.begins_month or self.design.site.midsummer_month


def describe_station(path):
    """Return the :class:`StationDescription` of a station file.

    Raises
    ------
    SettingsError
        With file and line: an unknown key, a wrong unit, a number that describes no station.
    """
    path = Path(path)
    settings = read_station_file(path)
    lines = line_numbers(path.read_text(encoding="utf-8"))

    def made(location, make, *given):
        try:
            return make(*given)
        except SettingsError as problem:
            raise SettingsError(f"{path}:{line_of(lines, location)}: {problem}") from None

    settings, typed = made(("site",), in_degrees, settings)
    return _described(path, settings, made, typed)


def describe_settings(settings, path=Path()):
    """Return the :class:`StationDescription` of a :class:`StationFile` that is in memory.

    ``path``: of the file it stands for, beside which its weather lies. Errors name no line.
    """
    settings, typed = in_degrees(settings)
    return _described(Path(path), settings, lambda _, make, *given: make(*given), typed)


def _described(path, settings, made, typed):
    """Return the description; ``made(place in the file, function, ...)`` names the line."""
    design = _design(settings, made)
    guys = made(("guys",), _guys, settings)
    legs, leg = made(("frame",), _legs, settings.frame)
    return StationDescription(
        path=path,
        settings=settings,
        design=design,
        tube=made(("mast",), _tube, settings.mast, settings.mast.free_m),
        guys=guys,
        holdings={guy.name: made(("anchors",), holding_of, settings, design.site) for guy in guys},
        legs_m=legs,
        leg=leg,
        parts=_parts(settings, design),
        snow=_rise(settings.snow),
        melt=Rise(settings.snow.melt_m_a, settings.snow.melt_sigma_m_a, storm_share=0.0),
        items=made(("cargo",), _items, settings, design),
        aircraft=Aircraft(settings.aircraft.payload_kg, settings.aircraft.volume_m3),
        typed=typed,
    )


def _design(settings, made):
    """Return the :class:`Design`."""
    turbine = settings.turbine
    numbers = (
        {} if turbine is None else turbine.model_dump(exclude={"dump_W", "mass_kg", "lives_year"})
    )
    return Design(
        name=settings.name,
        site=made(("site",), _site, settings.site),
        panels=tuple(
            made(("panel", i), _panel, part, settings.controller)
            for i, part in enumerate(settings.panel)
        ),
        turbine=None if turbine is None else made(("turbine",), lambda: Turbine(**numbers)),
        bank=made(("battery",), _bank, settings),
        box=made(("box",), _box, settings),
        loads=tuple(made(("load", i), _load, part) for i, part in enumerate(settings.load)),
        controller_W=settings.controller.own_W,
        box_depth_m=settings.box.depth_m if settings.box.place == "snow" else None,
        dump_W=None if turbine is None else turbine.dump_W,
        turbine_lives=1.0 if turbine is None else turbine.lives_year,
        mast_m=(settings.mast.diameter_m, settings.mast.free_m),
    )


def _site(part):
    horizon = LEVEL_HORIZON
    if part.horizon_deg:
        azimuth, height = np.radians(np.array(part.horizon_deg)).T
        horizon = Horizon(azimuth, height)
    given = part.model_dump(exclude={"horizon_deg", "albedo", "density_kg_m3", "place"})
    albedo = ALBEDO[part.surface] if part.albedo is None else part.albedo
    density = part.density_kg_m3 or DENSITY_KG_M3[part.surface]
    return Site(**given, albedo=albedo, density_kg_m3=density, horizon=horizon)


def _panel(part, controller):
    numbers = (
        "rated_W",
        "cells",
        "open_V",
        "power_per_K",
        "open_per_K",
        "short_per_K",
        "cable_ohm",
        "diode_V",
    )
    one = Panel(
        **{name: getattr(part, name) for name in numbers},
        short_A=part.short_A or part.rated_W / PANEL_W_A * 36.0 / part.cells * part.open_V / 22.1,
        tracking=controller.tracking,
        controller_share=controller.share,
    )
    area = part.rated_W / PANEL_W_M2
    width = part.width_m or float(np.sqrt(area / PANEL_TALL))
    return PlacedPanel(
        name=part.name,
        panel=one,
        count=part.count,
        series=part.series,
        tilt_deg=part.tilt_deg,
        azimuth_deg=part.azimuth_deg,
        clean_share=part.clean_share,
        width_m=width,
        tall_m=part.tall_m or area / width,
        bottom_m=part.bottom_m,
        out_m=part.out_m,
        mass_kg=part.mass_kg or PANEL_KG_W * part.rated_W,
        shade_loss=part.shade_loss,
    )


def _bank(settings):
    given = settings.battery.model_dump(exclude={"sealed", "mass_kg", "volume_m3"})
    switch = settings.controller
    names = ("disconnect_V", "reconnect_V", "compensated", "frost_ban", "trip_V")
    return Bank(**given, **{name: getattr(switch, name) for name in names})


def block_kg(battery):
    """Return the mass of one block of ``[battery]``: given, or by its energy. [kg]"""
    by_energy = BATTERY_KG_WH[battery.chemistry] * battery.block_Ah * battery.block_V
    return battery.mass_kg or by_energy


def _box(settings):
    part, heater, battery = settings.box, settings.heater, settings.battery
    blocks = battery.series * battery.parallel
    heat = part.heat_J_K or blocks * block_kg(battery) * BATTERY_J_KG_K + ELECTRONICS_J_K
    given = {}
    if heater is not None:
        given = {
            "heater_W": heater.power_W,
            "heater_on_degC": heater.on_degC,
            "heater_off_degC": heater.off_degC,
            "heater_least_V": heater.least_V,
        }
    given["air_m3_h"] = part.air_m3_h
    return Box(part.inner_m, part.wall_m, part.wall_W_m_K, heat, **given)


def _load(part):
    if part.report_bytes is not None:
        reports_a_day(0, part.report_bytes, part.message or USUAL)  # refuses what no message holds
    names = ("name", "kind", "power_W", "duty", "peak_W", "peak_s", "saves_below", "saved_W",
             "blocks_d", "least_V", "starts_alone", "logs_alone", "wakes_alone")  # fmt: skip
    return Load(**{name: getattr(part, name) for name in names})


def _tube(part, free_m):
    return Tube(free_m, part.diameter_m, part.wall_m, part.material)


def _around(count, out_m, first_deg=0.0):
    """Return east and north of places evenly around the mast (n, 2). [m]"""
    azimuth = np.radians(first_deg) + 2.0 * np.pi * np.arange(count) / count
    return out_m * np.column_stack([np.sin(azimuth), np.cos(azimuth)])


def _guys(settings):
    part, free_m = settings.guys, settings.mast.free_m
    if part is None:
        return ()
    if part.top_m > free_m:
        raise SettingsError(
            f"guys hold the mast at {part.top_m:g} m, but it ends at {free_m:g} m: lower top_m, or "
            "raise free_m of [mast]"
        )
    return tuple(
        Guy(
            f"guy {i + 1}",
            (0.0, 0.0, part.top_m),
            (float(east), float(north), 0.0),
            part.stretch_N,
            part.breaking_N,
            part.pretension_share * part.breaking_N,
        )
        for i, (east, north) in enumerate(_around(part.count, part.out_m, part.first_deg))
    )


def holding_of(settings, site):
    """Return the :class:`Holding` of each guy's anchor, as a station file has it, in the ground."""
    part, guys = settings.anchors, settings.guys
    elevation = float(np.degrees(np.arctan2(guys.top_m, guys.out_m)))
    density = site.density_kg_m3
    if part.kind == "buried plate":
        return anchors.buried_plate(part.area_m2, part.depth_m, density, elevation, part.width_m)
    if part.kind == "picket":
        return anchors.picket(part.width_m, part.length_m, density)
    if part.kind == "ice screw":
        return anchors.ice_screw(part.length_m, density)
    if part.kind == "drilled leg":
        return anchors.drilled_leg(part.diameter_m, part.length_m, density)
    return anchors.rock_bolt(elevation)


def _legs(part):
    if part is None:
        return np.zeros((0, 2)), None
    return _around(part.legs, part.out_m), _tube(part, 1.0)


def _parts(settings, design):
    """Return what stands in the wind, as :class:`Part`."""
    mast, antenna, box = settings.mast, settings.antenna, design.box
    tube = _tube(mast, mast.free_m)
    found = [
        Part("mast", "cylinder", mast.diameter_m, mast.free_m, (0.0, 0.0, mast.free_m / 2.0),
             tube.mass_kg_m * mast.free_m),
        Part("antenna", "antenna", antenna.width_m, antenna.tall_m,
             (0.0, 0.0, mast.free_m + antenna.tall_m / 2.0), antenna.mass_kg),
    ]  # fmt: skip
    found += [part for group in design.panels for part in _panel_parts(group)]
    if design.turbine is not None:
        rotor, across = design.turbine, design.turbine.diameter_m
        found.append(Part("turbine", "rotor running", across, across, (0.0, 0.0, rotor.hub_m),
                          settings.turbine.mass_kg))  # fmt: skip
    if design.box_depth_m is None:
        east, north, up = box.outer_m
        blocks = settings.battery.series * settings.battery.parallel
        mass = settings.box.mass_kg + blocks * block_kg(settings.battery)
        found.append(Part("box", "box", max(east, north), up, (0.0, 0.0, up / 2.0), mass))
    return tuple(found)


def _panel_parts(group):
    """Return the panels of a group side by side, at their distance from the mast."""
    return [
        Part(group.name if group.count == 1 else f"{group.name} {number}", "plate", group.width_m,
             group.tall_m, tuple(middle), group.mass_kg, group.tilt_deg, group.azimuth_deg)
        for number, middle in enumerate(group.middles_m.tolist(), 1)
    ]  # fmt: skip


def _rise(part):
    return Rise(part.rate_m_a, part.rate_sigma_m_a, part.year_sigma_m_a, part.drift_m_a)


def _items(settings, design):
    """Return the bill of materials: every part of the file, then its ``[[cargo]]``."""
    battery, mast, frame = settings.battery, settings.mast, settings.frame
    mass = block_kg(battery)
    dangerous = "lithium-ion" if battery.chemistry == LITHIUM else "lead-acid, wet"
    if battery.chemistry != LITHIUM and battery.sealed:
        dangerous = "lead-acid, sealed"
    long = mast.free_m + mast.embedded_m
    found = [
        Item("battery", mass, battery.volume_m3 or PACKED * mass / BATTERY_KG_M3,
             battery.series * battery.parallel, dangerous),
        Item("box", settings.box.mass_kg, float(np.prod(design.box.outer_m))),
        Item("mast", _tube(mast, long).mass_kg_m * long, long * mast.diameter_m**2),
        Item("antenna", settings.antenna.mass_kg, 0.05),
        Item("controller", settings.controller.mass_kg, 0.01),
    ]  # fmt: skip
    found += [
        Item(one.name, one.mass_kg, PACKED * one.width_m * one.tall_m * 0.05, one.count)
        for one in design.panels
    ]
    found += [Item(one.name, one.mass_kg, 0.01) for one in settings.load]
    if settings.turbine is not None:
        found.append(Item("turbine", settings.turbine.mass_kg, 0.1))
    if frame is not None:
        found.append(Item("frame", frame.mass_kg, frame.legs * 2.0 * frame.diameter_m**2))
    if settings.guys is not None:
        found.append(Item("guy with anchor", _guy_kg(settings), 0.01, settings.guys.count))
    return (*found, *(Item(**one.model_dump()) for one in settings.cargo))


def _guy_kg(settings):
    """Return the mass of one guy with its anchor: a steel wire of its stretch, and 2 kg. [kg]"""
    young, _, density = MATERIALS["steel"]
    length = float(np.hypot(settings.guys.top_m, settings.guys.out_m))
    return settings.guys.stretch_N / young * density * length + 2.0
