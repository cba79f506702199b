"""When snow buries a part, when melt frees a leg, and when somebody must be there before it.

The height of the surface over that of the day of building is

    rate t + years + storms,

the rate itself in doubt, each year with a chance departure of its own, and a share of the snow
falling in a few storms of exponential depth. Times come from many such surfaces, drawn with the
generator given; without any doubt a part is buried at height over rate.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import ndtri

from ..constants import DAYS_PER_YEAR
from ..errors import SettingsError
from .cautions import DRILLING, ESTIMATE, FRAMES, GROUND
from .checks import not_negative, positive

STORM_SHARE = 0.5  # -, half of the snow comes with 10 to 25 % of the events; Antarctic stations
STORMS_A = 8.0  # 1/a, of such events; common practice, no source
SURFACES = 4000  # -, drawn; chances are then good to 0.8 % (one sigma of a half)
LEVEL = 0.05  # -, chance of being late that a visit is planned for; our choice
STEP_A = 5.0 / DAYS_PER_YEAR  # a, of the surfaces
WHOLE_YEAR = (0.0, 1.0)


@dataclass(frozen=True)
class Rise:
    """How the surface rises; how it is lost where the numbers are those of melt.

    ``rate_m_a``: mean, of snow as it lies or ice as it melts (:func:`snow_rate`), with its doubt
    ``rate_sigma_m_a``; ``year_sigma_m_a``: of one year about the mean; ``drift_m_a``: more of it
    around the part than far away. [m/a] ``storm_share`` of the snow falls in ``storms_a`` storms a
    year. ``season``: begin and end of the time when all else happens, in years from the day of
    building, such as (0.45, 0.7) for a summer that begins 0.45 a later, or (0.9, 1.15) for one
    in whose midst it was built.
    """

    rate_m_a: float
    rate_sigma_m_a: float = 0.0
    year_sigma_m_a: float = 0.0
    drift_m_a: float = 0.0
    storm_share: float = STORM_SHARE
    storms_a: float = STORMS_A
    season: tuple = WHOLE_YEAR

    def __post_init__(self):
        not_negative(
            rate_m_a=self.rate_m_a,
            rate_sigma_m_a=self.rate_sigma_m_a,
            year_sigma_m_a=self.year_sigma_m_a,
            drift_m_a=self.drift_m_a,
        )
        positive(storms_a=self.storms_a)
        begin, end = self.season
        within = 0.0 <= begin < 1.0 and begin < end <= begin + 1.0
        if not 0.0 <= self.storm_share <= 1.0 or not within:
            raise SettingsError(
                f"storm share {self.storm_share} and season {self.season}: expected a share of 0 "
                "to 1, a begin of 0 to 1 year, and an end after it by a year at most"
            )

    @property
    def total_m_a(self):
        """Mean rate with the drift. [m/a]"""
        return self.rate_m_a + self.drift_m_a


@dataclass(frozen=True)
class Passage:
    """When the surface has gone a distance.

    ``median_a``, ``early_a``, ``late_a``: half, 5 % and 95 % of the surfaces are there, years after
    building, infinite where that share is not within the years looked at. ``visit_a``: before it
    the chance of being late is below ``level``.
    """

    name: str
    distance_m: float
    early_a: float
    median_a: float
    late_a: float
    visit_a: float
    level: float
    times_a: np.ndarray = field(repr=False)
    cautions: tuple = (GROUND, ESTIMATE)

    def chance_by(self, years):
        """Return the chance that it has happened so many years after building."""
        return float(np.mean(self.times_a <= years))


def snow_rate(water_m_a, density_kg_m3):
    """Return the rise of the surface by snow of a density, from its water equivalent. [m/a]

    Snow that settles below a mast anchored in it takes the mast along: this is the rise against
    a mast that stands deep.
    """
    positive(density_kg_m3=density_kg_m3)
    return np.asarray(water_m_a) * 1000.0 / density_kg_m3


def surfaces(rise, years, generator, count=SURFACES, step_a=STEP_A):
    """Return times (n,) [a] and heights (count, n) of the surface over the first day's. [m]"""
    positive(years=years, count=count)
    times = np.arange(0.0, years + step_a, step_a)
    shape = (count, times.size - 1)
    rate = generator.normal(rise.total_m_a, rise.rate_sigma_m_a, (count, 1))
    in_storms = rise.storm_share * np.maximum(rate, 0.0)
    year = np.floor(times[:-1] + 0.5 * step_a).astype(int)
    departures = generator.normal(0.0, rise.year_sigma_m_a, (count, year.max() + 1))
    steady = (rate - in_storms + departures[:, year]) * _spent(times, rise.season)
    number = generator.poisson(rise.storms_a * step_a, shape)
    storms = generator.standard_gamma(number) * in_storms / rise.storms_a
    grown = np.cumsum(steady + storms, axis=1)
    return times, np.concatenate([np.zeros((count, 1)), grown], axis=1)


def _spent(times, season):
    """Return the share of a year's amount that falls into each step."""
    begin, end = season
    since = times - begin
    whole = np.floor(since)
    done = whole + np.clip((since - whole) / (end - begin), 0.0, 1.0)
    return np.diff(done)


def first_time(times_a, heights_m, distance_m):
    """Return when each surface first reaches a height (count,), infinite where never. [a]"""
    there = heights_m >= distance_m
    index = np.argmax(there, axis=1)
    rows = np.arange(len(heights_m))
    before = np.maximum(index - 1, 0)
    low, high = heights_m[rows, before], heights_m[rows, index]
    climb = np.where(high > low, high - low, 1.0)
    share = np.where(index > 0, (distance_m - low) / climb, 0.0)
    when = times_a[before] + share * (times_a[index] - times_a[before])
    return np.where(there.any(axis=1), when, np.inf)


def passage(name, distance_m, rise, years, generator, *, level=LEVEL, count=SURFACES):
    """Return the :class:`Passage` of the surface over a distance, within so many years.

    Examples
    --------
    >>> quiet = Rise(1.2, storm_share=0.0)
    >>> found = passage("antenna", 3.0, quiet, 5.0, np.random.default_rng(1), count=10)
    >>> round(found.median_a, 3)
    2.5
    """
    positive(distance_m=distance_m)
    return _passage(name, distance_m, *surfaces(rise, years, generator, count), level)


def _passage(name, distance_m, times_a, heights_m, level):
    """Return the :class:`Passage` of surfaces (count, n) that were drawn over a distance."""
    if not 0.0 < level < 1.0:
        raise SettingsError(f"a chance of {level}: expected more than 0 and less than 1")
    when = np.sort(first_time(times_a, heights_m, distance_m))
    early, median, late, visit = np.quantile(
        when, [0.05, 0.5, 0.95, level], method="inverted_cdf"
    ).tolist()
    return Passage(name, distance_m, early, median, late, visit, level, when)


def burial(heights_m, rise, years, generator, *, drift_m_a=None, level=LEVEL):
    """Return the :class:`Passage` of each part, by name, first buried first.

    Parts with the same drift see the same winters: a lower one is never buried later.

    Parameters
    ----------
    heights_m : dict of float
        Height of what must stay free of snow, by part (the lower edge of a panel) [m].
    rise : Rise
        Of the surface; its drift counts for parts not named in ``drift_m_a``.
    drift_m_a : dict of float, optional
        Drift around a part by name, such as a box [m/a].
    """
    drift = drift_m_a or {}
    unknown = sorted(set(drift) - set(heights_m))
    if unknown:
        raise SettingsError(
            f"drift around {', '.join(unknown)}: no such part; there are {', '.join(heights_m)}"
        )
    positive(**heights_m)
    found, drawn = [], {}
    for name, height in heights_m.items():
        here = drift.get(name, rise.drift_m_a)
        if here not in drawn:
            drawn[here] = surfaces(replace(rise, drift_m_a=here), years, generator)
        found.append(_passage(name, height, *drawn[here], level))
    return sorted(found, key=lambda one: one.median_a)


def melt_out(name, embedded_m, needed_m, melt, years, generator, *, level=LEVEL):
    """Return the :class:`Passage` of a leg or anchor to where too little of it is left in the ice.

    ``needed_m``: what must stay in (``frame.embedment``), 0 for when it falls out. ``melt``: a
    :class:`Rise` of lost ice; storms do not melt, so give it ``storm_share=0``.
    """
    not_negative(needed_m=needed_m)
    if not embedded_m > needed_m:
        raise SettingsError(
            f"{name}: {embedded_m} m in the ice and {needed_m} m needed; drill deeper today"
        )
    found = passage(name, embedded_m - needed_m, melt, years, generator, level=level)
    return replace(found, cautions=(DRILLING, FRAMES, GROUND, ESTIMATE))


def too_short(name, embedded_m, needed_m, level=LEVEL):
    """Return the :class:`Passage` of what is not held on the first day: its time has come.

    ``distance_m`` is what is in less what is needed, 0 or negative.
    """
    if embedded_m > needed_m:
        raise SettingsError(f"{name}: {embedded_m} m in and {needed_m} m needed: it is held")
    none = (0.0, 0.0, 0.0, 0.0, level, np.zeros(1))
    return Passage(name, embedded_m - needed_m, *none, (DRILLING, FRAMES, GROUND, ESTIMATE))


def height_needed(rise, until_a, margin_m=0.0, level=LEVEL):
    """Return the height that keeps a part free until a visit but for a chance. [m]

    Without drawing: the surface at that time as normal, with variance (doubt t)^2 + year^2 t +
    2 t (share rate)^2 / storms, that of a sum of exponential storms; exact at whole years.
    """
    positive(until_a=until_a)
    mean, sigma = _moments(rise, until_a)
    return float(max(0.0, mean - sigma * ndtri(level)) + margin_m)


def _moments(rise, years):
    storms = 2.0 * (rise.storm_share * rise.total_m_a) ** 2 / rise.storms_a
    variance = (rise.rate_sigma_m_a * years) ** 2 + (rise.year_sigma_m_a**2 + storms) * years
    return rise.total_m_a * years, np.sqrt(variance)
