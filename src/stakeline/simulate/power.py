"""A station's energy in the invented world: sun, wind, battery, load, and when it goes dark.

Compact on purpose: it makes truth and loggers' files, it plans nothing. Numbers are those of
generic parts, invented unless a source stands beside them.
"""

from dataclasses import dataclass, replace

import numpy as np

from ._power_kernels import WARM_DEGC, course
from .sunlight import on_plane
from .weather import GAS_DRY_J_KG_K, HOUR_S

AIR_KG_M3 = 1.225  # kg/m3; standard atmosphere at sea level, ISO 2533


@dataclass(frozen=True)
class Design:
    """What a station is built of.

    Attributes
    ----------
    bank_Ah : float
        Lead-acid bank of 12 V at 25 degC.
    panel_W, panel_facing_rad, panel_bottom_m, panel_tall_m
        Each of the vertical panels: rated power, azimuths, lower edge above the surface at time 0
        and height.
    albedo : float
    turbine_W : float
        Rated power at ``rated_m_s`` and standard density; 0 for none.
    start_m_s, rated_m_s, stop_m_s : float
        Wind from which it turns, gives its rated power, and is stopped.
    rime_stop : float
        Rime with which the turbine stands.
    receiver_W, logger_W, heater_W, modem_W : float
        Loads; the heater below ``heater_degC`` in the box while the battery is above
        ``heater_V``; the modem for ``modem_share`` of the hour ``modem_hour`` of each day.
    disconnect_V, reconnect_V : float
        Battery voltage at which loads are cut off, and given back.
    charge_share, charge_rate_h : float
        Energy kept of what is charged; full power is taken until the free capacity would fill in
        this time.
    self_discharge_month : float
        Share lost in a month at 25 degC; half for each 10 K of cold.
    resistance_ohm : float
        Of a bank of 100 Ah, warm; doubles in 40 K of cold.
    box_W_K, box_J_K : float
        Loss of the box, and its heat capacity, with the bank inside.
    """

    bank_Ah: float = 800.0
    panel_W: float = 60.0
    panel_facing_rad: tuple = (np.radians(135.0), np.radians(225.0))
    panel_bottom_m: float = 1.3
    panel_tall_m: float = 0.7
    albedo: float = 0.75
    turbine_W: float = 90.0
    start_m_s: float = 4.0
    rated_m_s: float = 12.0
    stop_m_s: float = 24.0
    rime_stop: float = 0.4
    receiver_W: float = 2.0
    logger_W: float = 0.25
    heater_W: float = 1.0
    heater_degC: float = -28.0
    heater_V: float = 12.3
    modem_W: float = 10.0
    modem_hour: int = 12
    modem_share: float = 0.4
    disconnect_V: float = 11.6
    reconnect_V: float = 12.2
    charge_share: float = 0.85
    charge_rate_h: float = 3.0
    self_discharge_month: float = 0.02
    resistance_ohm: float = 0.03
    box_W_K: float = 0.5
    box_J_K: float = 2.5e5

    @property
    def full_J(self):
        """Energy of the full warm bank. [J]"""
        return self.bank_Ah * 12.0 * 3600.0


@dataclass(frozen=True)
class Supply:
    """Course of a station's energy; step k of (n,) lasts an hour from ``time_s[k]``.

    Attributes
    ----------
    start_ns, time_s, design
    on : array of bool
        Whether loads are connected.
    panel_W, turbine_W : array
        What sun and wind offered.
    load_W, clipped_W, lost_W : array
        Used, not taken by the full bank, and lost in the battery.
    stored_J : array, shape (n + 1,)
        Energy in the bank at the steps' ends.
    battery_V, panel_A, turbine_A, load_A, box_degC : array
        As an ideal meter reads them; currents are those that flow, after clipping.
    outages_s : tuple of (begin, end)
        Spans without power. [s]
    """

    start_ns: int
    time_s: np.ndarray
    design: Design
    on: np.ndarray
    panel_W: np.ndarray
    turbine_W: np.ndarray
    load_W: np.ndarray
    clipped_W: np.ndarray
    lost_W: np.ndarray
    stored_J: np.ndarray
    battery_V: np.ndarray
    panel_A: np.ndarray
    turbine_A: np.ndarray
    load_A: np.ndarray
    box_degC: np.ndarray
    outages_s: tuple

    @property
    def charge_state(self):
        """Share of the warm bank's energy at the start of each step (n,)."""
        return self.stored_J[:-1] / self.design.full_J

    def powered(self, time_s):
        """Say at which times there is power; before and after the span as at its ends."""
        step = np.clip((np.asarray(time_s) // HOUR_S).astype(int), 0, self.on.size - 1)
        return self.on[step]


def draw_design(rng, design=None):
    """Return a design as one of the campaign's stations has it: no two are quite the same.

    Half have a turbine, some riming up sooner, and a bank of 200 to 500 Ah; the others rely on 1000
    to 1500 Ah. Loads differ by a tenth.
    """
    design = design or Design()
    windy = rng.uniform() < 0.5
    return replace(
        design,
        bank_Ah=50.0 * float(rng.integers(4, 11) if windy else rng.integers(20, 31)),
        turbine_W=design.turbine_W if windy else 0.0,
        rime_stop=rng.uniform(0.15, 0.6),
        receiver_W=design.receiver_W * rng.uniform(0.9, 1.1),
        panel_bottom_m=design.panel_bottom_m + rng.uniform(-0.3, 0.3),
    )


def panel_power(design, weather):
    """Return what the panels offer at the weather's nodes (n,). [W]

    Less for rime and for what snow buries; 0.4 % more for each degree below 25 (handbook).
    """
    light = sum(
        on_plane(
            weather.sun_elevation_rad,
            weather.sun_azimuth_rad,
            weather.irradiance_W_m2,
            weather.diffuse_W_m2,
            facing,
            design.albedo,
        )
        for facing in design.panel_facing_rad
    )
    depth = weather.snow_surface_m(weather.time_s) - design.panel_bottom_m
    free = 1.0 - np.clip(depth / design.panel_tall_m, 0.0, 1.0)
    warmth = 1.0 - 0.004 * (weather.temperature_degC - WARM_DEGC)
    return design.panel_W * light / 1000.0 * warmth * free * (1.0 - 0.7 * weather.rime)


def turbine_power(design, weather):
    """Return what the turbine offers at the weather's nodes (n,): cube of the wind, by density. [W]

    None below its start, above its stop, or with rime on the blades.
    """
    kelvin = weather.temperature_degC + 273.15
    density = weather.pressure_Pa / (GAS_DRY_J_KG_K * kelvin) / AIR_KG_M3
    wind = weather.wind_m_s
    power = design.turbine_W * np.minimum(density * (wind / design.rated_m_s) ** 3, 1.0)
    turns = (wind >= design.start_m_s) & (wind < design.stop_m_s)
    return power * (turns & (weather.rime < design.rime_stop))


def make_supply(rng, weather, design=None, charge_state=0.9, fault=None):
    """Return the :class:`Supply` of a station through its weather.

    Parameters
    ----------
    rng : numpy.random.Generator
        The station's own: draws its design where none is given.
    weather : Weather
    design : Design, optional
    charge_state : float
        Share of the full bank at time 0.
    fault : callable, optional
        Changes what the parts offer, ask for and hold, as :func:`.power_faults.planted` gives it.
    """
    design = design or draw_design(rng)
    panel = panel_power(design, weather)[:-1]
    turbine = turbine_power(design, weather)[:-1]
    time_s = weather.time_s[:-1]
    hour = (time_s / HOUR_S).astype(int) % 24
    base = design.receiver_W + design.logger_W
    load = base + design.modem_W * design.modem_share * (hour == design.modem_hour)
    air, held = weather.temperature_degC[:-1], np.ones(time_s.size)
    if fault is not None:
        panel, turbine, load, held = fault(design, weather, panel, turbine, load)
    columns, stored = _course(design, held, air, load, panel + turbine, charge_state)
    on, load_w, clipped, lost, volts, box = columns
    on = on.astype(bool)
    used = panel + turbine - clipped
    share = np.divide(used, panel + turbine, out=np.zeros_like(used), where=panel + turbine > 0)
    return Supply(
        start_ns=weather.start_ns,
        time_s=time_s,
        design=design,
        on=on,
        panel_W=panel,
        turbine_W=turbine,
        load_W=load_w,
        clipped_W=clipped,
        lost_W=lost,
        stored_J=stored,
        battery_V=volts,
        panel_A=panel * share / volts,
        turbine_A=turbine * share / volts,
        load_A=load_w / volts,
        box_degC=box,
        outages_s=spans(~on, time_s),
    )


def spans(flag, time_s, step_s=HOUR_S):
    """Return the (begin, end) of the runs of True in hourly steps. [s]"""
    edge = np.flatnonzero(np.diff(np.concatenate(([False], flag, [False])).astype(int)))
    return tuple(
        (float(time_s[a]), float(time_s[b - 1] + step_s))
        for a, b in zip(edge[::2], edge[1::2], strict=True)
    )


def _course(design, held, air, load, offered, charge_state):
    """Return the columns of a Supply that depend on the past: rows of the kernel, and the store."""
    settings = (
        design.resistance_ohm * 100.0 / design.bank_Ah,
        design.heater_W,
        design.heater_degC,
        design.heater_V,
        design.disconnect_V,
        design.reconnect_V,
        design.charge_share,
        design.charge_rate_h * HOUR_S,
        design.self_discharge_month,
        design.box_W_K,
    )
    settings = tuple(float(value) for value in settings)
    cooling = np.exp(-HOUR_S * design.box_W_K / design.box_J_K)
    stored = np.empty(air.size + 1)
    stored[0] = charge_state * design.full_J
    columns = np.empty((air.size, 6))
    course(settings, cooling, held * design.full_J, air, load, offered, stored, columns)
    return columns.T, stored
