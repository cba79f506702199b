"""Rime on what stands there, guessed from air, wind and light: how likely a rotor stands in it."""

import numpy as np

from ..compiling import njit
from ..errors import SettingsError

DAMP_PERCENT = 85.0  # %, over water; rime grows from supercooled droplets near it, common practice
COLD_DEGC, WARM_DEGC = -25.0, -0.5  # degC; between them droplets stay liquid, common practice
GROWTH_H, FULL_WIND_M_S = 40.0, 8.0  # h to 63 %, at winds from here on; own choice
BARE_WIND_M_S = 17.0  # m/s; from here on wind shakes off more than it brings, own choice
STORM_H, THAW_H = 30.0, 8.0  # h, in which storm and thaw take it off; own choice
DARK_H = 400.0  # h; sublimation in the dark, own choice
LIGHT_H_W_M2 = 4000.0  # h W/m2; the Sun at 100 W/m2 takes it off in 40 h, own choice


def rime_index(air_degC, wind_m_s, humidity_percent, light_W_m2):
    """Return rime from 0 (bare) to 1 (thick) at each hour (..., n).

    Parameters
    ----------
    air_degC, wind_m_s, humidity_percent, light_W_m2 : array, shape (..., n)
        Hourly; NaN: neither growth nor loss is known, the index stays. Light on level ground.

    Raises
    ------
    SettingsError
        For shapes that differ.

    Notes
    -----
    d r/dt = (1 - r) / growth - r / loss with exact hourly steps. A guess by rules of thumb: it
    orders hours by how likely rime is, and its scale is fitted to when the station's own rotor
    stood (:mod:`.health_turbine`).
    """
    parts = [np.atleast_2d(np.asarray(p, float)) for p in (air_degC, wind_m_s, humidity_percent)]
    light = np.atleast_2d(np.asarray(light_W_m2, float))
    if len({part.shape for part in (*parts, light)}) != 1:
        raise SettingsError("air, wind, humidity and light: expected arrays of one shape")
    out = np.empty(parts[0].shape)
    for row in range(out.shape[0]):
        _fill(parts[0][row], parts[1][row], parts[2][row], light[row], out[row])
    return out.reshape(np.shape(air_degC))


@njit
def rime_grows(air_degC, wind_m_s, humidity_percent):
    """Return whether rime can grow, as bool or array: damp, between two colds, no storm."""
    cold = (air_degC > COLD_DEGC) & (air_degC < WARM_DEGC)
    return cold & (humidity_percent > DAMP_PERCENT) & (wind_m_s < BARE_WIND_M_S)


@njit
def _fill(air, wind, humidity, light, out):
    """Step through the hours."""
    now = 0.0
    for k in range(out.size):
        if not np.isnan(air[k] + wind[k] + humidity[k] + light[k]):
            growth = 0.0
            if rime_grows(air[k], wind[k], humidity[k]):
                growth = min(wind[k] / FULL_WIND_M_S, 1.0) / GROWTH_H
            loss = 1.0 / DARK_H + light[k] / LIGHT_H_W_M2
            loss += 1.0 / THAW_H if air[k] > 0.5 else 0.0
            loss += 1.0 / STORM_H if wind[k] > BARE_WIND_M_S + 3.0 else 0.0
            total = growth + loss
            now = growth / total + (now - growth / total) * np.exp(-total)
        out[k] = now
