"""What a box stands in, and what it loses there: air, snow that rises, firn, ice or rock."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_S
from .box import (
    YEAR_S,
    area_m2,
    film_W_m2_K,
    firn_degC,
    firn_W_m_K,
    loss_in_air_W_K,
    loss_in_snow_W_K,
)
from .gas import air_loss_W_K
from .storm import ZERO_DEGC_K
from .weather_record import HOUR_NS
from .year import LOSS_STEP_H

ICE_J_KG_K, ICE_J_KG_K2 = 152.5, 7.122  # J/(kg K), J/(kg K2); ice's heat capacity by temperature,
# Cuffey & Paterson (2010), equation 9.1, from memory
ICE_W_M_K, ICE_PER_K = 9.828, -5.7e-3  # W/(m K), 1/K; ice's conductivity, the same, equation 9.2
ROCK_W_M_K, ROCK_KG_M3, ROCK_J_KG_K = 2.5, 2700.0, 800.0  # gneiss, dry; handbooks, from memory
DRIFT_KG_M3 = 350.0  # kg/m3; of snow that buries a box on ice or rock: wind-packed, own choice


@dataclass(frozen=True)
class Ground:
    """What heat flows through: conductivity [W/(m K)] and diffusivity [m2/a]."""

    conductivity_W_m_K: float
    diffusivity_m2_a: float


def ground_of(surface, density_kg_m3, mean_degC):
    """Return the :class:`Ground` below a surface.

    Parameters
    ----------
    surface : str
        ``snow``, ``ice`` or ``rock``.
    density_kg_m3 : float
        Of snow or ice; rock has its own.
    mean_degC : float
        Of the year, at most that of melting.

    Notes
    -----
    Diffusivity is conductivity by density and heat capacity. Snow and firn: Calonne et al. (2011)
    by density; ice: Cuffey & Paterson (2010); rock: dry gneiss. Wind blowing through light snow and
    water that freezes in it are left out.
    """
    kelvin = min(mean_degC, 0.0) + ZERO_DEGC_K
    heat = ICE_J_KG_K + ICE_J_KG_K2 * kelvin
    if surface == "rock":
        conductivity, volume = ROCK_W_M_K, ROCK_KG_M3 * ROCK_J_KG_K
    elif surface == "ice":
        conductivity, volume = ICE_W_M_K * np.exp(ICE_PER_K * kelvin), density_kg_m3 * heat
    else:
        conductivity, volume = firn_W_m_K(density_kg_m3), density_kg_m3 * heat
    return Ground(float(conductivity), float(conductivity / volume * YEAR_S))


def box_around(design, weather, surface_m=None):
    """Return (surroundings of the box (m, n) [degC], its losses (m or 1, s) [W/K]).

    Parameters
    ----------
    design : Design
    weather : WeatherYears
    surface_m : array, shape (m, s), optional
        Height of the snow over that of the year's first day, every ``LOSS_STEP_H`` hours; none
        rises where not given.

    Notes
    -----
    On the surface the air and the mean wind, until snow rises over the box: the part of its height
    below counts as in snow. In the ground the year's wave at its depth, which grows with the snow;
    the wave is that of a steady surface at each moment. Air that is let through takes heat to the
    air outside. What flows to several is told as one, by their losses.
    """
    count, hours = weather.cloud.shape
    steps = -(-hours // LOSS_STEP_H)
    rising = surface_m is not None and bool(np.any(surface_m > 0.0))
    risen = surface_m[:, :steps] if rising else np.zeros((1, steps))
    if design.box_depth_m is None:
        around, losses = _on_surface(design, weather, risen)
    else:
        site, depth = design.site, design.box_depth_m + risen
        ground = ground_of(site.surface, site.density_kg_m3, weather.temperature_degC.mean())
        around = wave_degC(weather, depth, ground)
        losses = loss_in_snow_W_K(design.box, ground.conductivity_W_m_K, depth)
    if design.box.air_m3_h > 0.0:
        fresh = air_loss_W_K(design.box.air_m3_h)
        around = mixed(around, losses, weather.temperature_degC, np.full((1, steps), fresh))
        losses = losses + fresh
    return np.broadcast_to(around, (count, hours)), losses


def _on_surface(design, weather, risen):
    """Return (surroundings, losses) of a box on the surface that snow may bury."""
    box, site = design.box, design.site
    in_air = float(loss_in_air_W_K(box, film_W_m2_K(weather.wind_m_s.mean())))
    if not (risen > 0.0).any():
        return weather.temperature_degC, np.full(risen.shape, in_air)
    top = box.outer_m[2]
    below = np.clip(risen / top, 0.0, 1.0)
    density = site.density_kg_m3 if site.surface == "snow" else DRIFT_KG_M3
    ground = ground_of("snow", density, weather.temperature_degC.mean())
    radius = 1.0001 * np.sqrt(area_m2(box.outer_m) / (4.0 * np.pi))
    depth = np.maximum(risen - 0.5 * top, radius)
    in_snow = below * loss_in_snow_W_K(box, ground.conductivity_W_m_K, depth)
    free = (1.0 - below) * in_air
    snow = wave_degC(weather, np.maximum(risen - 0.5 * top, 0.0), ground)
    return mixed(weather.temperature_degC, free, snow, in_snow), free + in_snow


def mixed(first_degC, first_W_K, second_degC, second_W_K):
    """Return the temperature to which two losses (m or 1, s) together drive a box (m, n). [degC]"""
    share = second_W_K / (first_W_K + second_W_K)
    hours = second_degC.shape[1]
    share = np.repeat(share, LOSS_STEP_H, axis=1)[:, :hours]
    return (1.0 - share) * first_degC + share * second_degC


def wave_degC(weather, depth_m, ground):
    """Return the year's wave at depths (m or 1, s), by the hour (m or 1, n). [degC]"""
    season = weather.temperature_degC.mean(axis=0)
    angle = 2.0 * np.pi * np.arange(season.size) / season.size
    wave = np.array([np.cos(angle), np.sin(angle)]) @ season * 2.0 / season.size
    warmest = np.arctan2(wave[1], wave[0]) / (2.0 * np.pi) * season.size
    since_s = (np.arange(season.size) - warmest) * HOUR_NS / NS_PER_S
    depth = np.repeat(depth_m, LOSS_STEP_H, axis=1)[:, : season.size]
    swing = float(np.hypot(*wave))
    return firn_degC(since_s, depth, season.mean(), swing, ground.diffusivity_m2_a)
