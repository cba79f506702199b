"""Health where nobody has written down a design: only what the telemetry itself can carry."""

from dataclasses import replace

import numpy as np

from ..station.battery import Bank
from ..station.box import Box
from ..station.design import OTHER, Design, Load, PlacedPanel, Site
from ..station.health_expected import expected
from ..station.health_parts import dead_panels, grown_load, standing_rotor
from ..station.health_signs import scale_of
from ..station.health_turbine import rotor_of
from ..station.panel import Panel
from ..station.rime import rime_index
from ..station.turbine import Turbine

SMALL_PANEL_W, SMALL_TURBINE_W = 40.0, 60.0
"""Parts as small as any that carry a station: nothing is expected which is not there. [W]"""
SEEN_A = 0.15  # A; a current that proves that the part is there, own choice
HEATER_DEGC = -15.0
"""Below it a heater may be on, of which nothing is known: its hours tell nothing of the load."""


def assumed_design(hours, place):
    """Return a careful :class:`~stakeline.station.design.Design` of what the readings show.

    Parameters
    ----------
    hours : Hours
    place : tuple
        Latitude, longitude [deg] and height [m]; without it (NaN) no panel is judged.
    """
    known = np.isfinite(place[:2]).all()
    facing = 180.0 if not known or place[0] >= 0.0 else 0.0
    panels = ()
    if known and np.nanmax(hours.panel_A, initial=0.0) > SEEN_A:
        one = Panel(rated_W=SMALL_PANEL_W, short_A=SMALL_PANEL_W * 5.3 / 85.0)
        panels = (PlacedPanel("panels", one, 1, 90.0, facing),)
    turbine = None
    if np.nanmax(hours.turbine_A, initial=0.0) > SEEN_A:
        turbine = Turbine(rated_W=SMALL_TURBINE_W)
    power = (hours.load_A * hours.battery_V)[: 24 * 30]
    usual = float(np.nanmedian(power)) if np.isfinite(power).any() else 3.0
    site = Site(*place) if known else Site(0.0, 0.0, 0.0)
    scale = scale_of(hours.battery_V)
    return Design(
        "as its telemetry shows",
        site,
        panels,
        Bank(series=round(scale)),
        Box(),
        (Load("all", OTHER, max(usual, 0.1)),),
        turbine,
    )


def judged_by_assumption(hours, design):
    """Return findings of panels, rotor and load that need little of the design."""
    could = expected(design, hours.read_ns, hours.air_degC, hours.wind_m_s)
    volts = design.bank.nominal_V
    found = dead_panels(hours, could, volts) if design.panels else []
    with np.errstate(invalid="ignore"):
        warm = ~(np.fmin(hours.box_degC, np.inf) < HEATER_DEGC)
    loads = {"load_A": np.where(warm, hours.load_A, np.nan)}
    found += grown_load(replace(hours, columns=hours.columns | loads), design)
    if design.turbine is not None:
        rime = rime_index(hours.air_degC, hours.wind_m_s, hours.humidity_percent, could.light_W_m2)
        found += standing_rotor(rotor_of(hours, design.turbine, could, rime, volts), hours)
    return found
