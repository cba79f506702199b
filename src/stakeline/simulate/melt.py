"""Melt water from above and how it speeds the ice up: degrees above freezing of the invented air.

The melt is that of the low glacier's air (:func:`~.weather.air_temperature`), so that a table of
air temperatures explains it, as far as its sensor stands in the same weather.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from ..constants import NS_PER_S
from .ground import Place
from .sunlight import sun_position
from .weather import HOUR_S, REFERENCE_M, air_temperature

DAY_S = 86400.0  # s/d; definition
MARGIN_S = 8.0 * DAY_S  # s, kept before and after the campaign; choice
STRONG_K = 4.8  # K, degrees above freezing that make a strong melt; invented
STORE_H = 24.0  # h, memory of the water's way through snow and moulins to the bed; invented
FOEHN_LEAD_D = (1.5, 3.5)  # d, from the begin of a foehn to the drainage; invented
FOEHN_LEAST_D, FOEHN_MOST_D = (0.5, 4.0, 2.0), (1.0, 8.0, 4.0)  # d: rise, plateau, fall; invented


@dataclass(frozen=True, eq=False)
class Melt:
    """Speed-up by melt water from above, the same weather for all stations.

    Attributes
    ----------
    time_s : array, shape (n,)
        Hourly nodes, from before the campaign to after it. [s]
    strength : array, shape (n,)
        1 for a strong melt.
    """

    time_s: np.ndarray
    strength: np.ndarray


@dataclass(frozen=True)
class Foehn:
    """Warm air from over the ice sheet: its share rises smoothly to 1, holds, and falls."""

    begin_s: float
    rise_s: float
    lasts_s: float
    fall_s: float

    def __call__(self, time_s):
        """Return the share of warm air at times (n,)."""
        since = np.asarray(time_s, float) - self.begin_s
        x = np.clip(since / self.rise_s, 0.0, 1.0)
        after = np.maximum(since - self.lasts_s, 0.0) / self.fall_s
        return x * x * (3.0 - 2.0 * x) * (1.0 + after) * np.exp(-after)


def make_foehns(rng, scenario, water):
    """Return a :class:`Foehn` for each drainage where ``scenario.melt_at_drainage``, else none.

    It begins one and a half to three and a half days before the drainage; melt follows within a
    day, as soon as the air is above freezing.
    """
    if not scenario.melt_at_drainage:
        return ()
    found = []
    for event in water.events:
        begin_s = event.onset_s - rng.uniform(*FOEHN_LEAD_D) * DAY_S
        rise_s, plateau_s, fall_s = rng.uniform(FOEHN_LEAST_D, FOEHN_MOST_D) * DAY_S
        found.append(Foehn(begin_s, rise_s, rise_s + plateau_s, fall_s))
    return tuple(found)


def make_melt(region, glacier):
    """Return the :class:`Melt` of a region's weather; all stations share it.

    Degrees above freezing at 100 m height by the grounding line, hour by hour, pass a store that
    forgets within a day. Before the region's first day the air is that of its first day.
    """
    latitude, longitude = glacier.place(glacier.grounding_flow_m, 0.0)
    place = Place(float(latitude), float(longitude), REFERENCE_M)
    time_ns = region.start_ns + (region.time_s * NS_PER_S).astype(np.int64)
    elevation, _ = sun_position(time_ns, place.latitude_rad, place.longitude_rad)
    warm = np.maximum(air_temperature(region, place, region.cloud, elevation), 0.0)
    before = int(MARGIN_S / HOUR_S)
    warm = np.concatenate([warm[np.arange(-before, 0) % 24], warm])
    kept = np.exp(-1.0 / STORE_H)
    time_s = HOUR_S * (np.arange(warm.size) - before)
    return Melt(time_s, lfilter([1.0 - kept], [1.0, -kept], warm) / STRONG_K)
