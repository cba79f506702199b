"""Invented stations with planted faults, and the design by which they are judged."""

from dataclasses import replace

import numpy as np

from stakeline.simulate.campaign import START_NS
from stakeline.simulate.chance import stream
from stakeline.simulate.glacier import HALVARD
from stakeline.simulate.logger import MISSING, logger_table
from stakeline.simulate.power import draw_design, make_supply
from stakeline.simulate.power_faults import planted
from stakeline.simulate.weather import make_region, make_weather
from stakeline.station.battery import Bank
from stakeline.station.box import Box
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.health_forecast import outlook_of_years
from stakeline.station.panel import Panel
from stakeline.station.rime import rime_index
from stakeline.station.telemetry import hours_of
from stakeline.station.turbine import Turbine
from stakeline.station.weather import WeatherYears
from stakeline.time import gps_from_utc

DAYS = 370
DAY_S = 86400.0
SITES = [HALVARD.sites(14)[k] for k in (0, 3, 6, 11)]


def invented(seed, fault=None, begin_d=0.0):
    """Return (supply, weather, site, hours) of one station through a year from May on.

    Half of the stations without turbine get a smaller bank than usual, so that some die.
    """
    site = SITES[seed % len(SITES)]
    region = make_region(stream(seed, "region"), START_NS, DAYS)
    weather = make_weather(region, stream(seed, "weather"), site.place, site.accumulation_m_a)
    chance = stream(seed, "supply")
    design = draw_design(chance)
    if not design.turbine_W:
        design = replace(
            design, bank_Ah=50.0 * round(design.bank_Ah * chance.uniform(0.6, 1.1) / 50.0)
        )
    change = None if fault is None else planted(fault, begin_d * DAY_S)
    supply = make_supply(chance, weather, design, fault=change)
    table = logger_table(stream(seed, "logger"), supply, weather)
    return supply, weather, site, hours_of_table(table)


def hours_of_table(table):
    """Return the hours of an invented logger's table."""
    text = np.char.rstrip(table["time_utc"].astype(str), "Z").astype("datetime64[ns]")
    columns = {k: np.where(v == MISSING, np.nan, v) for k, v in table.items() if k != "time_utc"}
    return hours_of(gps_from_utc(text.astype(np.int64)), columns)


def design_of(made, site):
    """Return the design a person would write down for an invented station.

    Parts by their name plates: panels as one diode of the usual 36 cells, not the simulator's
    straight line; the turbine by a curve of eight speeds; the bank by the laws of ``station``.
    """
    place = site.place
    panel = Panel(rated_W=made.panel_W, short_A=made.panel_W * 5.3 / 85.0)
    panels = tuple(
        PlacedPanel(f"panel {k + 1}", panel, 1, 90.0, float(np.degrees(facing)),
                    tall_m=made.panel_tall_m, bottom_m=made.panel_bottom_m)
        for k, facing in enumerate(made.panel_facing_rad)
    )  # fmt: skip
    speeds = np.array([made.start_m_s, 6.0, 8.0, 10.0, made.rated_m_s, 16.0, 20.0])
    curve = np.round(made.turbine_W * np.minimum((speeds / made.rated_m_s) ** 3, 1.0), 0)
    turbine = None
    if made.turbine_W:
        turbine = Turbine(rated_W=made.turbine_W, start_m_s=made.start_m_s,
                          stop_m_s=made.stop_m_s, curve_m_s=tuple(speeds),
                          curve_W=tuple(curve))  # fmt: skip
    box = Box(heater_W=made.heater_W, heater_on_degC=made.heater_degC,
              heater_off_degC=made.heater_degC + 0.5, heater_least_V=made.heater_V)  # fmt: skip
    loads = (
        Load("receiver", "receiver", 2.0),  # what its data sheet says; the invented ones differ
        Load("logger", "logger", made.logger_W),
        Load("modem", "telemetry", made.modem_W, duty=made.modem_share / 24.0),
    )
    return Design(
        site.name,
        Site(np.degrees(place.latitude_rad), np.degrees(place.longitude_rad), place.height_m),
        panels,
        Bank(parallel=max(round(made.bank_Ah / 50.0), 1), block_Ah=50.0,
             disconnect_V=made.disconnect_V, reconnect_V=made.reconnect_V),
        box,
        loads,
        turbine,
    )  # fmt: skip


def outlook_of(site, design, count, seed=900_000):
    """Return ``count`` years of weather that might come to a site: the same climate, other chance.

    Light by the laws of ``station`` under the years' clouds, rime by its index.
    """
    rows = []
    for k in range(count):
        region = make_region(stream(seed + k, "region"), START_NS, DAYS)
        weather = make_weather(
            region, stream(seed + k, "weather"), site.place, site.accumulation_m_a
        )
        names = ("temperature_degC", "wind_m_s", "cloud", "humidity_percent", "irradiance_W_m2")
        rows.append([getattr(weather, name)[:-1] for name in names])
    air, wind, cloud, damp, light = np.array(rows).transpose(1, 0, 2)
    rime = rime_index(air, wind, damp, light)
    pressure = float(weather.pressure_Pa.mean()) / 100.0
    return outlook_of_years(design, WeatherYears(START_NS, air, wind, cloud, rime, pressure, 3.0))
