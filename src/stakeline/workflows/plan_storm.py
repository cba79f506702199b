"""The storm on a described station: forces, guys, anchors, legs, the mast's bending and sway.

With a frame, panels and turbine are on its legs, and mast and antenna on the mast with its guys;
without one the mast carries them too. A box on the surface stands for itself, or weighs down a
frame whose legs only stand.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..station import anchors, frame, storm, wind_load
from ..station.cautions import FRAMES
from .plan_lines import all_cautions, at_least, at_most
from .plan_mast import TUBE_SAFETY, MastOutcome, mast_lines, mast_of
from .plan_winds import SiteWinds, wind_line

JOINT_M = 0.3  # m; of a frame's lowest joint above the surface, common practice, no source
MAST, FRAME, BOX = "mast", "frame", "box"  # what holds a part


@dataclass(frozen=True)
class StormOutcome:
    """What the design storm does.

    Attributes
    ----------
    weather : Weather
        Air, gust and its height.
    mean_m_s : float
        Ten-minute mean at the height at which the storm is given.
    winds : SiteWinds or None
        What comes once in many years; None where it was not asked for.
    from_deg : float
        Azimuth of the wind that is worst for all parts together.
    load : WindLoad
        Of all parts, from there.
    mast : MastOutcome
        Guys, anchors, bending and sway.
    standing : dict of Standing
        Of what stands by its weight: ``frame``, ``box``.
    leg : Leg or None
        Of a frame, or of a mast without guys, that is drilled in.
    uplift_N, uplift_holding : float, Holding or None
        Pull on the worst leg of a drilled frame, and what holds it.
    lines : tuple of Line
    """

    weather: object
    mean_m_s: float
    winds: SiteWinds | None
    from_deg: float
    load: object
    mast: MastOutcome
    standing: dict
    leg: object
    uplift_N: float
    uplift_holding: object
    lines: tuple = ()

    @property
    def gust_m_s(self):
        """Gust at the height at which the storm is given. [m/s]"""
        return self.weather.gust_m_s

    @property
    def guyed(self):
        """Tensions and turn of a guyed mast; None without guys."""
        return self.mast.guyed

    @property
    def pressure_Pa(self):
        """Dynamic pressure of the gust. [Pa]"""
        return float(storm.dynamic_pressure(self.gust_m_s, self.weather.density_kg_m3))

    @property
    def cautions(self):
        """Sentences of everything in it, each once."""
        parts = (self.load, self.mast, self.leg, self.uplift_holding, *self.standing.values())
        return all_cautions(*(one.cautions for one in parts if one is not None))


@dataclass(frozen=True)
class Weather:
    """The design storm: air, gust, height at which it is given, cold, rime."""

    density_kg_m3: float
    gust_m_s: float
    measured_at_m: float
    coldest_degC: float
    rime_m: float

    def on(self, parts, speed_m_s=None, rime_m=None):
        """Return (side, :class:`WindLoad`) of the worst wind on parts; the gust where not given."""
        return wind_load.worst_load(
            parts,
            self.gust_m_s if speed_m_s is None else speed_m_s,
            self.density_kg_m3,
            measured_at_m=self.measured_at_m,
            temperature_degC=self.coldest_degC,
            rime_m=self.rime_m if rime_m is None else rime_m,
        )


def storm_of(description, winds=None):
    """Return the :class:`StormOutcome` of a described station.

    Parameters
    ----------
    description : StationDescription
    winds : SiteWinds, optional
        Without them nothing is said of how often such a storm comes.
    """
    weather = weather_of(description)
    side, load = weather.on(description.parts)
    mast_parts = _parts(description, MAST)
    standing = _standing(description, weather)
    leg, pull, holding = _drilled(description, weather, weather.on(mast_parts)[1])
    found = StormOutcome(
        weather, description.settings.storm.wind_m_s, winds, side, load,
        mast_of(description, weather, mast_parts), standing, leg, pull, holding,
    )  # fmt: skip
    return replace(found, lines=tuple(_lines(description, found)))


def weather_of(description):
    """Return the :class:`Weather` of the design storm."""
    told, site = description.settings.storm, description.design.site
    pressure = description.settings.weather.pressure_hPa
    if pressure is None:
        pressure = storm.pressure_at(site.elevation_m, told.coldest_degC)
    factor = float(storm.gust_factor(told.measured_at_m)) if told.gust else 1.0
    return Weather(
        float(storm.air_density(pressure, told.coldest_degC)),
        told.wind_m_s * factor,
        told.measured_at_m,
        told.coldest_degC,
        told.rime_m,
    )


def _parts(description, group):
    """Return the parts that mast, frame or box must hold."""
    frame_part = description.settings.frame
    on = {"mast": MAST, "antenna": MAST, "box": BOX}
    other = MAST if frame_part is None else FRAME
    if frame_part is not None and frame_part.embedded_m == 0.0:
        on["box"] = FRAME
    return [one for one in description.parts if on.get(one.name, other) == group]


def _standing(description, weather):
    """Return how a frame or box stands that its weight alone holds."""
    told, found = description.settings, {}
    if told.frame is not None and told.frame.embedded_m == 0.0:
        load = weather.on(_parts(description, FRAME))[1]
        mass = float(load.mass_kg.sum()) + told.frame.mass_kg
        found["frame"] = frame.standing(description.legs_m, load.force_N, load.moment_Nm, mass)
    boxes = _parts(description, BOX)
    if boxes:
        load = weather.on(boxes)[1]
        east, north, _ = description.design.box.outer_m
        corners = 0.5 * np.array([[east, north], [-east, north], [-east, -north], [east, -north]])
        found["box"] = frame.standing(
            corners, load.force_N, load.moment_Nm, float(load.mass_kg.sum())
        )
    return found


def _drilled(description, weather, mast_load):
    """Return (leg, pull on the worst leg, what holds it) of what is drilled in."""
    told, site = description.settings, description.design.site
    bearing = float(anchors.snow_strength(site.density_kg_m3)) / anchors.GUST_SAFETY
    melt = told.snow.melt_m_a
    if told.frame is None:
        if description.guys or told.mast.embedded_m == 0.0:
            return None, 0.0, None
        push = max(float(np.hypot(*mast_load.force_N[:2])), 1e-6)
        lever = mast_load.overturning_Nm / push
        return frame.leg(description.tube, push, lever, bearing, melt), 0.0, None
    if told.frame.embedded_m == 0.0 or not _parts(description, FRAME):
        return None, 0.0, None
    load = weather.on(_parts(description, FRAME))[1]
    mass = float(load.mass_kg.sum()) + told.frame.mass_kg
    up = frame.leg_forces(description.legs_m, load.force_N, load.moment_Nm, mass)
    push = max(float(np.hypot(*load.force_N[:2])) / told.frame.legs, 1e-6)
    leg = frame.leg(description.leg, push, JOINT_M, bearing, melt)
    holding = None
    if site.surface != "rock":
        left = max(told.frame.embedded_m - melt, 0.01)
        holding = anchors.drilled_leg(told.frame.diameter_m, left, site.density_kg_m3)
    return leg, max(0.0, -float(up.min())), holding


def _lines(description, found):
    """Yield the lines of the verdict."""
    if found.winds is not None:
        yield wind_line(found.winds)
    yield from mast_lines(description, found.mast, found.winds)
    for name, one in found.standing.items():
        words = f"ballast {one.ballast_kg:.0f} kg" if not one.enough else ""
        yield at_least("storm", f"{name}: holding by tipping", one.safety, frame.SAFETY, "",
                       cautions=one.cautions, words=words)  # fmt: skip
        yield at_most("storm", f"{name}: level force by weight", one.friction, frame.FRICTION, "",
                      cautions=one.cautions, words="pin it" if one.slides else "")  # fmt: skip
    if found.leg is not None:
        part = description.settings.frame or description.settings.mast
        yield at_least("storm", "leg: length in the ground", part.embedded_m,
                       found.leg.embedment_m, "m", cautions=found.leg.cautions)  # fmt: skip
        yield at_least("storm", "leg: proof stress by stress", found.leg.safety, TUBE_SAFETY, "",
                       cautions=all_cautions(found.leg.cautions, (FRAMES,)))  # fmt: skip
    if found.uplift_holding is not None:
        yield at_least("storm", "leg: held against uplift", found.uplift_holding.gust_N,
                       found.uplift_N, "N", cautions=found.uplift_holding.cautions)  # fmt: skip
