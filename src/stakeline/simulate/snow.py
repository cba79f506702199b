"""Height of the snow surface at a station: snowfall, drift, settling and melt."""

import numpy as np
from scipy.signal import lfilter

MELT_SNOW_M_K_D = 0.004  # m of water/(K d); Hock (2003), J. Hydrol. 282: 3-5 mm, from memory
MELT_ICE_M_K_D = 0.007  # m of water/(K d); the same: 6-8 mm
FRESH, SETTLED, ICE = 0.30, 0.40, 0.90  # -, densities by water; handbook values
SETTLING_H = 12.0 * 24.0  # h; time in which fresh snow settles, invented
DRIFT_FROM_M_S = 9.0  # m/s; snow begins to drift, common practice, no source
DRIFT_M = 0.12  # m; size of drifted forms, invented
FIRST_PACK_M = 0.16  # m of water; winter snow that lies at the start, invented


def snow_cover(rng, temperature_degC, wind_m_s, snowfall_m_h):
    """Return (surface above its first height [m], melt [m of water/h]) at hourly nodes (n,).

    Melt by degrees above freezing, faster on bare ice (Hock 2003, equation 1). Settled snow and
    ice change the surface by their density; fresh snow settles within days; drift builds and
    planes forms of some centimetres where wind and snow are.

    Parameters
    ----------
    rng : numpy.random.Generator
    temperature_degC, wind_m_s : array, shape (n,)
    snowfall_m_h : array, shape (n,)
        Metres of fresh snow by hour.
    """
    fall = FRESH * snowfall_m_h
    warm = np.maximum(temperature_degC, 0.0) / 24.0
    pack, shortage = _pack(fall - MELT_SNOW_M_K_D * warm)
    bare = np.diff(shortage, prepend=0.0)
    ice_melt = bare * MELT_ICE_M_K_D / MELT_SNOW_M_K_D
    melt = MELT_SNOW_M_K_D * warm - bare + ice_melt
    kept = np.exp(-1.0 / SETTLING_H)
    loose = lfilter([1.0], [1.0, -kept], fall) * (1.0 / FRESH - 1.0 / SETTLED)
    lying = pack / (pack + 0.02)
    surface = pack / SETTLED - np.cumsum(ice_melt) / ICE
    surface = surface + lying * (loose + _drift(rng, wind_m_s))
    return surface - surface[0], melt


def _pack(net_m):
    """Return (snow that lies, what melt asked for beyond it since the start). [m of water]

    A store that cannot fall below nothing: the running minimum of its unbounded course.
    """
    course = FIRST_PACK_M + np.cumsum(net_m)
    shortage = -np.minimum(np.minimum.accumulate(course), 0.0)
    return course + shortage, shortage


def _drift(rng, wind_m_s):
    """Return the height of drifted forms (n,): a walk in blown hours that is drawn to 0. [m]"""
    blown = np.maximum(wind_m_s / DRIFT_FROM_M_S - 1.0, 0.0) ** 1.5
    work = np.minimum(0.02 * blown, 0.2)
    fresh = lfilter([0.3], [1.0, -0.7], rng.spawn(1)[0].standard_normal(work.size))
    height, now = np.empty(work.size), 0.0
    for k, (share, new) in enumerate(zip(work.tolist(), fresh.tolist(), strict=True)):
        now = (1.0 - share) * now + share * DRIFT_M * new
        height[k] = now
    return height
