"""What wind comes once in many years where a station stands: from its weather, measured or drawn.

Speeds are those of ``[storm]``: at its height, gusts where its number is one.
"""

from dataclasses import dataclass

import numpy as np

from ..formats.plain_table import write_plain_table
from ..station import storm
from ..station.cautions import ESTIMATE, STORM
from .plan_lines import BAD, DOUBT, GOOD, Line, at_least
from .plan_snow import visit_years
from .plan_weather import read_weather
from .plan_words import number

LEAST_RECORD_A = 10.0  # a; of a record without doubt; common practice, no source
ONE_SIDED_95 = 1.645  # -; sigmas above which a normal number is in 5 of 100 cases
PERIODS_A = (2, 5, 10, 20, 50, 100)  # a; of the table


@dataclass(frozen=True)
class SiteWinds:
    """The wind of a site, as ``[storm]`` has it.

    Attributes
    ----------
    speed_m_s : array
        Of all hours: means at the height of the weather's wind.
    extremes : Extremes or None
        Of yearly maxima of these; None where there are too few to tell.
    factor : float
        From them to the design wind: its height, and its gust where it is one.
    measured_a : float
        Years of the record; 0 where the weather is drawn.
    return_a, stay_a : float
        Return period asked for, and years until the visit.
    design_m_s : float
        Typed in ``[storm]``.
    source : str
    """

    speed_m_s: np.ndarray
    extremes: object
    factor: float
    measured_a: float
    return_a: float
    stay_a: float
    design_m_s: float
    source: str

    @property
    def level_m_s(self):
        """Design wind that comes once in :attr:`return_a`; NaN where nobody can tell. [m/s]"""
        return self.once_in(self.return_a)[0]

    @property
    def chance(self):
        """Probability that the design wind is exceeded during the stay; NaN as above."""
        if self.extremes is None:
            return np.nan
        return float(self.extremes.chance_of(self.design_m_s / self.factor, self.stay_a))

    def once_in(self, years):
        """Return (speed, its sigma) of a return period. [m/s]"""
        if self.extremes is None:
            return np.nan, np.nan
        found = self.extremes.once_in(years), self.extremes.sigma_once_in(years)
        return tuple(float(self.factor * one) for one in found)

    def between(self, low_m_s, high_m_s):
        """Return the share of hours whose wind lies between two speeds at its own height."""
        return float(np.mean((self.speed_m_s >= low_m_s) & (self.speed_m_s <= high_m_s)))


def winds_of(description, drawn):
    """Return the :class:`SiteWinds` of a described station.

    Parameters
    ----------
    description : StationDescription
    drawn : WeatherYears
        Simulated ones, for a station whose file names no record, or one of less than a year.
    """
    told, part = description.settings.storm, description.settings.weather
    factor = float(storm.speed_at_height(1.0, drawn.measured_at_m, told.measured_at_m))
    if not told.gust:
        factor *= float(storm.gust_factor(told.measured_at_m))
    speed, measured, extremes, source = drawn.wind_m_s.ravel(), 0.0, None, ""
    if part.file:
        record = read_weather(description.path.parent / part.file, part).wind_m_s
        measured = float(np.isfinite(record).sum() / storm.YEAR_H)
        if measured >= 1.0:
            speed = record[np.isfinite(record)]
            extremes, source = _measured(record, measured)
    if extremes is None:
        extremes, source = _drawn(drawn.wind_m_s)
    return SiteWinds(speed, extremes, factor, measured, told.return_years, visit_years(description),
                     told.wind_m_s, source)  # fmt: skip


def _measured(record, years):
    """Return (law, words) of a record: by yearly maxima where it is long, else by its storms."""
    maxima = storm.yearly_maxima(record)
    count = int(np.isfinite(maxima).sum())
    if count >= LEAST_RECORD_A:
        return storm.fit_extremes(maxima), f"yearly maxima of {count} years measured"
    found = storm.fit_storms(storm.storm_peaks(record), years)
    return found, f"{found.storms} storms of {years:.1f} years measured"


def _drawn(wind_m_s):
    """Return (law, words) of simulated years; no law of fewer than five."""
    count = len(wind_m_s)
    words = f"no record of a year: {count} years drawn"
    if count < storm.LEAST_YEARS:
        return None, f"{words}, too few"
    return storm.fit_extremes(wind_m_s.max(axis=1)), words


def wind_line(winds):
    """Return the line of the design wind against what comes once in the return period.

    In doubt up to a one-sided 95 % above it, and where fewer than ten years are measured.
    """
    name = f"design wind against once in {winds.return_a:g} years"
    level, sigma = winds.once_in(winds.return_a)
    words = wind_words(winds)
    if np.isnan(level):
        return at_least("storm", name, np.nan, np.nan, "m/s", cautions=(STORM, ESTIMATE),
                        words=words)  # fmt: skip
    sure = winds.design_m_s >= level + ONE_SIDED_95 * sigma
    good = GOOD if sure and winds.measured_a >= LEAST_RECORD_A else DOUBT
    state = good if winds.design_m_s >= level else BAD
    return Line("storm", name, winds.design_m_s, level, "m/s", state, (STORM, ESTIMATE), words)


def wind_words(winds):
    """Return where the return level is from, how sure it is, and the chance of more."""
    if winds.extremes is None:
        return winds.source
    sigma = winds.once_in(winds.return_a)[1]
    return (
        f"{winds.source}; sigma {number(sigma, 'm/s')}; more than designed for within "
        f"{winds.stay_a:.1f} a: {100.0 * winds.chance:.2g} %"
    )


def wind_table(winds, density_kg_m3):
    """Return the bytes of the table of return levels, their dynamic pressure and cautions."""
    periods = sorted({*PERIODS_A, winds.return_a})
    level, sigma = np.array([winds.once_in(one) for one in periods]).T
    return write_plain_table(
        {
            "once_in_a": [float(one) for one in periods],
            "wind_m_s": level,
            "sigma_m_s": sigma,
            "pressure_Pa": storm.dynamic_pressure(level, density_kg_m3),
            "measured_a": np.full(len(periods), winds.measured_a),
            "source": [winds.source] * len(periods),
            "caution": [f"{STORM} {ESTIMATE}"] * len(periods),
        },
        {"once_in_a": 0, "wind_m_s": 1, "sigma_m_s": 1, "pressure_Pa": 0, "measured_a": 1},
    )
