"""What a box stands in, and what it loses there: air, snow that rises, firn, ice or rock."""

import numpy as np

from ..constants import NS_PER_S
from .box import film_W_m2_K, firn_degC, loss_in_air_W_K, loss_in_snow_W_K, snow_W_m_K
from .weather_record import HOUR_NS


def box_around(design, weather):
    """Return (surroundings of the box (m, n) [degC], its loss [W/K]).

    On the surface the air and the mean wind; in snow the year's wave at its depth, the same in all
    years, through snow of the site's density.
    """
    if design.box_depth_m is None:
        film = film_W_m2_K(weather.wind_m_s.mean())
        return weather.temperature_degC, float(loss_in_air_W_K(design.box, film))
    season = weather.temperature_degC.mean(axis=0)
    angle = 2.0 * np.pi * np.arange(season.size) / season.size
    wave = np.array([np.cos(angle), np.sin(angle)]) @ season * 2.0 / season.size
    warmest = np.arctan2(wave[1], wave[0]) / (2.0 * np.pi) * season.size
    since_s = (np.arange(season.size) - warmest) * HOUR_NS / NS_PER_S
    around = firn_degC(since_s, design.box_depth_m, season.mean(), float(np.hypot(*wave)))
    density = min(design.site.density_kg_m3, 600.0)
    loss = loss_in_snow_W_K(design.box, float(snow_W_m_K(density)), design.box_depth_m)
    return np.broadcast_to(around, weather.cloud.shape), float(loss)
