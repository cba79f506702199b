"""Will it live through the year: many years of weather, first failure with its cause, margins."""

from dataclasses import dataclass, field

import numpy as np

from ..errors import SettingsError
from .burial import surfaces
from .cautions import ESTIMATE
from .offered import SURFACE_STEP_H, offered_power, sun_of_year
from .sunlight import SunCourse
from .surroundings import box_around
from .weather import WeatherYears
from .weather_record import HOUR_NS
from .year import StationEnergy, simulate_years
from .year_outcome import CAUSES, YearsOutcome

ENERGY, FREEZING, OVER_VOLTAGE, BURIAL = "energy", "freezing", "over-voltage", "burial"
IN_FROST = "charged in frost"
KINDS = (ENERGY, FREEZING, OVER_VOLTAGE, BURIAL, IN_FROST)
FROZEN_H = 24.0  # h; below the acid's freezing point until a bank counts as lost, own choice
MONTHS = 12
BAND = (0.05, 0.25, 0.5, 0.75, 0.95)  # -; of the years, in the bands of charge and box
DATES = (0.05, 0.5, 0.95)  # -; of the years, in dates of failing and waking
ANY = "any"
NORMAL_95 = 1.959964  # -; two-sided 95 % of a normal law
DAY_H = 24


@dataclass(frozen=True)
class Circumstances:
    """What many designs at one site have in common.

    Attributes
    ----------
    weather : WeatherYears
    sun : SunCourse
        Of the year's hours.
    surface_m : array, shape (m, s)
        Height of the snow over that of the year's first day, every 120 h.
    antenna_m : float
        Height that snow must not reach; infinite where burial is not looked at.
    luck : array, shape (m,) or None
        Of the turbine, even between 0 and 1; None: it never breaks of itself.
    """

    weather: WeatherYears
    sun: SunCourse
    surface_m: np.ndarray
    antenna_m: float = np.inf
    luck: np.ndarray | None = None


@dataclass(frozen=True)
class Survival:
    """How a design fares in m years.

    Attributes
    ----------
    start_ns : int
        GPS time of the year's first hour. [ns]
    outcome : YearsOutcome
    first_h : int array, shape (m,)
        Hour of the first failure of any kind, -1 for none.
    kind : int array, shape (m,)
        Into ``KINDS``; -1 for none.
    mean_W : dict of float
        Mean power from each panel group and the turbine, by name.
    """

    start_ns: int
    outcome: YearsOutcome
    first_h: np.ndarray
    kind: np.ndarray
    mean_W: dict
    cautions: tuple = field(default=(ESTIMATE,))

    @property
    def chance(self):
        """Share of the years without any failure."""
        return float((self.first_h < 0).mean())

    @property
    def interval(self):
        """Wilson's interval of ``chance``, 95 %: (low, high)."""
        return wilson(int((self.first_h < 0).sum()), self.first_h.size)

    @property
    def month_of_day(self):
        """Calendar month (1 to 12) of each day of the year (d,)."""
        days = self.outcome.days.shape[2]
        return months_of(self.start_ns, np.arange(days) * DAY_H)

    @property
    def months(self):
        """Calendar months in the year's order, (12,)."""
        first = int(months_of(self.start_ns, np.array([0]))[0])
        return (np.arange(MONTHS) + first - 1) % MONTHS + 1

    @property
    def lived(self):
        """Chance to live through each month and all before it, in the year's order (12,)."""
        failed = np.where(self.first_h < 0, 10**9, self.first_h)
        place = (months_of(self.start_ns, np.maximum(self.first_h, 0)) - self.months[0]) % MONTHS
        place = np.where(failed < 10**9, place, MONTHS)
        return np.array([(place > month).mean() for month in range(MONTHS)])

    @property
    def causes(self):
        """Share of all years by kind of the first failure, {kind: share}, none left out."""
        return {
            kind: float((self.kind == i).mean())
            for i, kind in enumerate(KINDS)
            if (self.kind == i).any()
        }

    @property
    def why(self):
        """The most frequent first failure in words; empty without any."""
        if self.chance == 1.0:
            return ""
        kind = KINDS[int(np.bincount(self.kind[self.kind >= 0]).argmax())]
        if kind != ENERGY:
            return kind
        energy = self.outcome.first_cause[self.kind == KINDS.index(ENERGY)]
        return CAUSES[int(np.bincount(energy).argmax())]

    @property
    def why_of_years(self):
        """The first failure of each year in words, empty where none, a tuple of m."""
        kinds, causes = self.kind.tolist(), self.outcome.first_cause.tolist()
        words = ["" if k < 0 else KINDS[k] for k in kinds]
        pairs = zip(words, causes, strict=True)
        return tuple(CAUSES[cause] if word == ENERGY else word for word, cause in pairs)

    @property
    def first_dates_ns(self):
        """GPS times by which 5, 50, 95 % of the failing years have failed (3,), empty without."""
        return self._dates_ns(self.first_h[self.first_h >= 0])

    @property
    def first_failures(self):
        """:class:`FirstFailure` of any cause, then of each, the most frequent first: a tuple."""
        why = np.array(self.why_of_years, object)
        causes = sorted(set(why) - {""}, key=lambda one: (-(why == one).sum(), one))
        each = [
            FirstFailure(one, float((why == one).mean()), self._dates_ns(self.first_h[why == one]))
            for one in causes
        ]
        return (FirstFailure(ANY, float((why != "").mean()), self.first_dates_ns), *each)

    def _dates_ns(self, hours):
        """Return the GPS times of 5, 50, 95 % of hours of the year (3,), empty without any."""
        if not hours.size:
            return np.zeros(0, np.int64)
        found = np.quantile(hours, DATES, method="inverted_cdf")
        return self.start_ns + found.astype(np.int64) * HOUR_NS

    @property
    def limiting_month(self):
        """Calendar month in which it fails most, or, if never, is nearest to it by its charge."""
        if self.chance < 1.0:
            months = months_of(self.start_ns, self.first_h[self.first_h >= 0])
            return int(np.bincount(months, minlength=13).argmax())
        lowest = np.quantile(self.outcome.days[:, 0], BAND[0], axis=0)
        return int(self.month_of_day[int(lowest.argmin())])

    @property
    def charge_band(self):
        """Lowest charge of each day in ``BAND`` of the years (5, d)."""
        return np.quantile(self.outcome.days[:, 0], BAND, axis=0)

    @property
    def box_band(self):
        """Coldest box of each day in ``BAND`` of the years (5, d). [degC]"""
        return np.quantile(self.outcome.days[:, 2], BAND, axis=0)

    @property
    def lowest_charge(self):
        """Lowest charge of a year that 95 % of the years stay above."""
        return float(np.quantile(self.outcome.lowest_charge, BAND[0]))

    @property
    def lost_h(self):
        """Mean hours without loads in a year."""
        return float(self.outcome.off_h.mean())

    @property
    def heater_share(self):
        """Share of the heater in what loads and heater used."""
        heater = self.outcome.heater_J.sum()
        return float(heater / max(heater + self.outcome.load_J.sum(), 1.0))

    @property
    def restart(self):
        """Of the years that went dark: :class:`Restart`."""
        done = self.outcome
        dark = done.first_off >= 0
        back = dark & (done.days[:, 1, -1] > 0.0)
        hours = done.back[back]
        wakes = (done.longest_off + done.longest_off_h.astype(int))[back]
        return Restart(
            dark=int(dark.sum()),
            share=float(back.sum() / max(dark.sum(), 1)),
            median_h=int(np.median(hours)) if hours.size else -1,
            starts=float(done.starts[dark].mean()) if dark.any() else 0.0,
            wakes_ns=self._dates_ns(wakes),
        )


@dataclass(frozen=True)
class FirstFailure:
    """How a year first fails.

    Attributes
    ----------
    why : str
        In words; ``any`` for all together.
    share : float
        Of all years.
    dates_ns : int array, shape (3,) or (0,)
        GPS times by which 5, 50, 95 % of these years have failed; empty without any.
    """

    why: str
    share: float
    dates_ns: np.ndarray


@dataclass(frozen=True)
class Restart:
    """How dark years end.

    Attributes
    ----------
    dark : int
        How many years went dark.
    share : float
        Of them, ends awake: nobody came.
    median_h : int
        Hour of the last start of those, -1 without any.
    starts : float
        A dark year's mean.
    wakes_ns : int array, shape (3,) or (0,)
        GPS times by which 5, 50, 95 % of those that end awake have left their longest outage.
    """

    dark: int
    share: float
    median_h: int
    starts: float
    wakes_ns: np.ndarray


def wilson(lived, years):
    """Return the interval that holds a share with 95 %, (low, high).

    Wilson (1927), J. Am. Stat. Assoc. 22, 209: honest at shares of 0 and 1.
    """
    z2, share = NORMAL_95**2, lived / years
    middle = (share + z2 / (2.0 * years)) / (1.0 + z2 / years)
    half = np.sqrt(share * (1.0 - share) / years + z2 / (4.0 * years**2)) * NORMAL_95
    half /= 1.0 + z2 / years
    return max(float(middle - half), 0.0), min(float(middle + half), 1.0)


def months_of(start_ns, hours):
    """Return the calendar month, 1 to 12, of hours since ``start_ns``, as an array."""
    when = np.asarray(start_ns + np.asarray(hours, np.int64) * HOUR_NS)
    return when.view("datetime64[ns]").astype("datetime64[M]").astype(np.int64) % MONTHS + 1


def circumstances(site, weather, *, rise=None, antenna_m=np.inf, generator=None):
    """Return the :class:`Circumstances` of a site.

    Parameters
    ----------
    site : Site
    weather : WeatherYears
    rise : Rise, optional
        Of the snow; none falls where not given.
    antenna_m : float
    generator : numpy.random.Generator, optional
        For the snow's surfaces and the turbine's luck; without it the turbine never breaks of
        itself.
    """
    count, hours = weather.cloud.shape
    steps = -(-hours // SURFACE_STEP_H)
    heights = np.zeros((count, steps))
    if rise is not None and (rise.total_m_a > 0.0 or rise.year_sigma_m_a > 0.0):
        if generator is None:
            raise SettingsError("snow that rises by chance: expected a generator for its surfaces")
        _, drawn = surfaces(rise, 1.0, generator, count, SURFACE_STEP_H / (365.25 * DAY_H))
        heights = np.maximum(drawn[:, :steps], 0.0)
    luck = None if generator is None else generator.random(count)
    return Circumstances(weather, sun_of_year(site, weather.time_ns), heights, antenna_m, luck)


def station_energy(design, loss_W_K, turbines=1):
    """Return the :class:`~.year.StationEnergy` of a design: loads, what they save, peaks.

    ``turbines``: each with a regulator of its own.
    """
    savings = tuple(
        (load.saves_below, load.mean_W - load.low_W, load.wakes_alone is False, load.by_hand)
        for load in design.loads
        if load.saves
    )
    loudest = max(design.loads, key=lambda load: load.peak_W)
    return StationEnergy(
        bank=design.bank,
        box=design.box,
        loss_W_K=loss_W_K,
        load_W=design.mean_W,
        peak_W=loudest.peak_W,
        peak_least_V=loudest.least_V or 0.0,
        savings=savings,
        dump_W=np.inf if design.dump_W is None else turbines * design.dump_W,
        hand_W=sum(load.mean_W for load in design.loads if load.by_hand),
        silent=any(load.lost_after_cut for load in design.loads),
    )


def parts_power(design, around, albedo=None):
    """Return the :class:`~.offered.Offered` of a design's single parts in its circumstances."""
    return offered_power(
        design,
        around.weather,
        surface_m=around.surface_m,
        albedo=albedo,
        sun=around.sun,
        luck=around.luck,
    )


def survival(design, around, *, offered=None, turbines=1, charge=1.0, albedo=None):
    """Return the :class:`Survival` of a design.

    Parameters
    ----------
    design : Design
    around : Circumstances
    offered : Offered, optional
        Of the design's single parts, where it was worked out before.
    turbines : int
        How many of the design's turbine.
    charge : float
        State of the bank on the year's first day.
    albedo : float, optional

    Notes
    -----
    A failure is what comes first: the loads cut off (energy), 24 h of a bank below its acid's
    freezing point, a turbine's power that nothing takes, snow at the antenna, a fifth of a lithium
    bank's capacity gone by charging in frost.
    """
    if offered is None:
        offered = parts_power(design, around, albedo)
    counts = [group.count for group in design.panels]
    total = offered.total_W(counts, turbines)
    wind = turbines * offered.turbine_W if design.turbine is not None and turbines else None
    surroundings, losses = box_around(design, around.weather, around.surface_m)
    station = station_energy(design, float(losses.mean()), turbines)
    done = simulate_years(station, surroundings, total, wind_W=wind, loss_W_K=losses,
                          charge=charge, keep_days=True)  # fmt: skip
    first, kind = _first_failure(done, around)
    mean = {
        group.name: float(count * power.mean())
        for group, count, power in zip(design.panels, counts, offered.panel_W, strict=True)
    }
    if wind is not None:
        mean["turbine"] = float(wind.mean())
    return Survival(around.weather.start_ns, done, first, kind, mean)


def _first_failure(done, around):
    """Return (hour, kind) of each year's first failure, -1 where none."""
    never = 10**9
    frozen = np.where(done.frozen_h >= FROZEN_H, done.first_frozen, -1)
    over = around.surface_m >= around.antenna_m
    buried = np.where(over.any(axis=1), over.argmax(axis=1) * SURFACE_STEP_H, -1)
    each = np.stack([done.first_off, frozen, done.first_over, buried, done.first_spoilt])
    each = np.where(each < 0, never, each)
    first, kind = each.min(axis=0), each.argmin(axis=0)
    kind = np.where(first == each[-1], KINDS.index(IN_FROST), kind)  # it is why loads are lost then
    return np.where(first < never, first, -1), np.where(first < never, kind, -1)
