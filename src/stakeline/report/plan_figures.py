"""Figures of a plan: the year of charge, cold and wind; storm loads; the sky; mass by chance.

Everything reads in grey: bands by lightness, lines by width and dashes, marks by form.
"""

from dataclasses import dataclass, field

import matplotlib.dates as mdates
import numpy as np

from .style import BAND, DEEP, INK, PALE, RUST, WARM, WARM_BAND, footnote, new_figure, styled

NIGHT = "#e4e7ea"
PAGE_IN = 7.1  # width of a figure on a sheet
MARKS = {"G": "o", "R": "s", "E": "^", "C": "D"}
SYSTEM_INK = {"G": DEEP, "R": RUST, "E": WARM, "C": PALE}


@dataclass(frozen=True)
class YearBands:
    """A year of a station, daily, in bands of the simulated years.

    Attributes
    ----------
    title : str
    day_ns : int array, shape (d,)
    charge, box_degC, air_degC, wind_m_s : array, shape (5, d)
        Quantiles of the years, lowest first: 5, 25, 50, 75, 95 %; wind is each day's highest hour.
    dark : bool array, shape (d,)
        Days without any Sun.
    cut : float
        Charge at which the loads are cut off in the coldest month.
    storm_m_s, coldest_degC : float
        That it is designed for.
    lived : array, shape (12,)
        Chance to have lived through each month, in the year's order.
    months_ns : int array, shape (13,)
        Ends of those months, the first one's beginning first.
    note : str
    """

    title: str
    day_ns: np.ndarray
    charge: np.ndarray
    box_degC: np.ndarray
    air_degC: np.ndarray
    wind_m_s: np.ndarray
    dark: np.ndarray
    cut: float
    storm_m_s: float
    coldest_degC: float
    lived: np.ndarray
    months_ns: np.ndarray
    note: str = ""


@styled
def draw_year(record):
    """Return the figure of :class:`YearBands`: charge, temperatures, wind."""
    figure = new_figure(9.0, 6.6, record.title)
    charge, cold, wind = figure.subplots(3, 1, sharex=True, height_ratios=(1.4, 1.0, 0.9))
    _charge(charge, record)
    days = _days(record)
    _bands(cold, days, record.air_degC, WARM_BAND, WARM, "air")
    _bands(cold, days, record.box_degC, BAND, DEEP, "box")
    cold.axhline(record.coldest_degC, color=INK, linewidth=0.9, linestyle=(0, (1, 2)))
    cold.annotate("designed for", (0.0, record.coldest_degC), (2, 2), fontsize=7.5,
                  textcoords="offset points", xycoords=cold.get_yaxis_transform())  # fmt: skip
    cold.set_ylabel("temperature (°C)")
    _bands(wind, days, record.wind_m_s, BAND, DEEP, "highest hour of a day")
    wind.axhline(record.storm_m_s, color=INK, linewidth=0.9, linestyle=(0, (1, 2)))
    wind.annotate("designed for", (0.0, record.storm_m_s), (2, -9), fontsize=7.5,
                  textcoords="offset points", xycoords=wind.get_yaxis_transform())  # fmt: skip
    wind.set_ylabel("wind (m/s)")
    wind.set_ylim(0.0, None)
    for axis in (cold, wind):
        axis.legend(loc="upper right", frameon=False, fontsize=7.5, ncols=2)
    _months(wind, record)
    footnote(figure, record.note)
    return figure


@styled
def draw_charge(record):
    """Return the year of charge alone, as a sheet shows it."""
    figure = new_figure(PAGE_IN, 1.85, "")
    axis = figure.subplots()
    _charge(axis, record)
    _months(axis, record)
    return figure


def _days(record):
    return record.day_ns.astype("datetime64[ns]")


def _charge(axis, record):
    days = _days(record)
    _night(axis, record)
    _bands(axis, days, 100.0 * record.charge, BAND, DEEP, "charge of the bank")
    axis.axhline(100.0 * record.cut, color=RUST, linewidth=1.0, linestyle=(0, (4, 2)))
    axis.annotate("cut off", (1.0, 100.0 * record.cut), (-2, 2), textcoords="offset points",
                  xycoords=axis.get_yaxis_transform(), ha="right", fontsize=7.5)  # fmt: skip
    ends = record.months_ns.astype("datetime64[ns]")
    axis.stairs(100.0 * record.lived, mdates.date2num(ends), color=INK, linewidth=1.3,
                baseline=None, label="years that have lived so far")  # fmt: skip
    axis.set_ylim(0.0, 105.0)
    axis.set_ylabel("charge, years (%)")
    axis.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, frameon=False, fontsize=7.5)


def _night(axis, record):
    """Shade the days without Sun."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], record.dark.astype(int), [0]])))
    days = np.append(record.day_ns, record.day_ns[-1] + 86_400_000_000_000).astype("datetime64[ns]")
    for k, (begin, end) in enumerate(zip(edges[::2], edges[1::2], strict=True)):
        axis.axvspan(days[begin], days[end], color=NIGHT, linewidth=0.0, zorder=0.5,
                     label=None if k else "no Sun")  # fmt: skip


def _bands(axis, days, quantiles, pale, dark, label):
    """Draw 5 to 95 % pale, the quartiles darker, the median as a line."""
    low, lower, middle, upper, high = quantiles
    axis.fill_between(days, low, high, color=pale, alpha=0.55, linewidth=0.0, zorder=1.5)
    axis.fill_between(days, lower, upper, color=dark, alpha=0.28, linewidth=0.0, zorder=1.7)
    axis.plot(days, middle, color=dark, linewidth=1.3, zorder=2.0, label=label)


def _months(axis, record):
    axis.set_xlim(record.day_ns[0].astype("datetime64[ns]"),
                  record.months_ns[-1].astype("datetime64[ns]"))  # fmt: skip
    axis.xaxis.set_major_locator(mdates.MonthLocator())
    axis.xaxis.set_major_formatter(mdates.DateFormatter("%b"))
    axis.tick_params(axis="x", labelsize=7.5)


@dataclass(frozen=True)
class StormLoads:
    """Forces of the storm by part, with what they do to the mast's foot. [N], [N m]"""

    title: str
    names: tuple
    level_N: np.ndarray
    overturning_Nm: np.ndarray
    note: str = ""


@styled
def draw_storm(record):
    """Return the figure of :class:`StormLoads`: bars, the largest first."""
    order = np.argsort(record.level_N)
    figure = new_figure(9.0, 1.2 + 0.32 * len(order), record.title)
    force, moment = figure.subplots(1, 2, sharey=True)
    place = np.arange(len(order))
    for axis, values, text in (
        (force, record.level_N, "level force (N)"),
        (moment, record.overturning_Nm, "overturning about the mast's foot (N m)"),
    ):
        bars = axis.barh(place, values[order], color=DEEP, height=0.62)
        axis.bar_label(bars, fmt="%.0f", fontsize=7.5, padding=2)
        axis.set_xlabel(text)
        axis.margins(x=0.14)
        axis.set_axisbelow(True)
        axis.grid(axis="y", visible=False)
    force.set_yticks(place, [record.names[k] for k in order])
    footnote(figure, record.note)
    return figure


@dataclass(frozen=True)
class SkyTracks:
    """Satellites over a site.

    Attributes
    ----------
    title : str
    time_h : array, shape (n,)
    letters : str array, shape (m,)
        System of each satellite.
    azimuth_rad, elevation_rad : array, shape (n, m)
        NaN where not above the level.
    seen : bool array, shape (n, m)
    dop : array, shape (n,)
        Of position.
    skyline_rad : array, shape (2, k)
        Azimuth and height of what hides the sky, mask included.
    names : dict of str
        Words for letters.
    note : str
    """

    title: str
    time_h: np.ndarray
    letters: np.ndarray
    azimuth_rad: np.ndarray
    elevation_rad: np.ndarray
    seen: np.ndarray
    dop: np.ndarray
    skyline_rad: np.ndarray
    names: dict = field(default_factory=dict)
    note: str = ""


@styled
def draw_sky(record):
    """Return the figure of :class:`SkyTracks`: the sky from below north up, count and dilution."""
    figure = new_figure(9.0, 4.2, record.title)
    grid = figure.add_gridspec(2, 2, width_ratios=(1.0, 1.35))
    sky = figure.add_subplot(grid[:, 0], projection="polar")
    _sky(sky, record)
    count = figure.add_subplot(grid[0, 1])
    for letter in dict.fromkeys(record.letters):
        of = record.seen[:, record.letters == letter].sum(axis=1)
        count.plot(record.time_h, of, color=SYSTEM_INK.get(letter, INK), linewidth=1.1,
                   marker=MARKS.get(letter, "x"), markevery=max(len(of) // 8, 1), markersize=3.5,
                   label=record.names.get(letter, letter))  # fmt: skip
    count.plot(record.time_h, record.seen.sum(axis=1), color=INK, linewidth=1.8, label="all")
    count.set_ylim(0, None)
    count.set_ylabel("satellites seen")
    count.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=5, frameon=False, fontsize=7.5)
    dop = figure.add_subplot(grid[1, 1], sharex=count)
    dop.plot(record.time_h, record.dop, color=DEEP, linewidth=1.3)
    dop.set_ylim(0, None)
    dop.set_xlim(record.time_h[0], record.time_h[-1])
    dop.set_ylabel("dilution of position")
    dop.set_xlabel("hours")
    footnote(figure, record.note)
    return figure


def _sky(axis, record):
    axis.set_theta_zero_location("N")
    axis.set_theta_direction(-1)
    axis.set_ylim(0.0, 90.0)
    axis.set_yticks([30, 60, 90], ["60°", "30°", ""])
    axis.set_xticks(np.radians([0, 90, 180, 270]), ["N", "E", "S", "W"])
    azimuth, height = record.skyline_rad
    axis.fill_between(azimuth, 90.0 - np.degrees(height), 90.0, color=NIGHT, zorder=1.2)
    axis.plot(azimuth, 90.0 - np.degrees(height), color=INK, linewidth=0.8)
    around = np.unwrap(np.nan_to_num(record.azimuth_rad), axis=0)
    shown = np.where(record.elevation_rad > 0.0, 90.0 - np.degrees(record.elevation_rad), np.nan)
    for j, letter in enumerate(record.letters):
        ink = SYSTEM_INK.get(letter, INK)
        axis.plot(around[:, j], shown[:, j], color=ink, linewidth=0.5, alpha=0.8, zorder=1.5)


@dataclass(frozen=True)
class MassChance:
    """Designs by mass and chance to live; the front of those that none beats; ours.

    ``mass_kg``, ``chance`` (k,); ``front`` bool (k,); ``ours``: (mass, chance); ``wanted``: chance.
    """

    title: str
    mass_kg: np.ndarray
    chance: np.ndarray
    front: np.ndarray
    ours: tuple
    wanted: float
    note: str = ""


@styled
def draw_mass(record):
    """Return the figure of :class:`MassChance`."""
    figure = new_figure(6.5, 3.8, record.title)
    axis = figure.subplots()
    axis.plot(record.mass_kg, 100.0 * record.chance, "o", markersize=2.2, color=PALE,
              label="designs tried")  # fmt: skip
    order = np.argsort(record.mass_kg[record.front])
    axis.step(record.mass_kg[record.front][order], 100.0 * record.chance[record.front][order],
              where="post", color=DEEP, linewidth=1.6, marker="o", markersize=4.0,
              label="lightest for their chance")  # fmt: skip
    axis.plot(record.ours[0], 100.0 * record.ours[1], "D", color=RUST, markersize=7.0,
              label="as described")  # fmt: skip
    axis.axhline(100.0 * record.wanted, color=INK, linewidth=0.9, linestyle=(0, (1, 2)))
    axis.annotate("wanted", (1.0, 100.0 * record.wanted), (-2, 2), textcoords="offset points",
                  xycoords=axis.get_yaxis_transform(), ha="right", fontsize=7.5)  # fmt: skip
    axis.set_xlabel("mass of the bill of materials (kg)")
    axis.set_ylabel("years that live (%)")
    axis.legend(loc="lower right", frameon=False, fontsize=8)
    footnote(figure, record.note)
    return figure
