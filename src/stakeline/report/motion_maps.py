"""Figures: the stations on the map with arrows of their motion, and crosses of the strain."""

from dataclasses import dataclass, field

import numpy as np
from matplotlib.patches import FancyArrowPatch

from .map_parts import Ground, at, draw_arrow, draw_ground, map_sheet, name_sides, nice_below
from .style import DEEP, INK, PALE, RUST, footnote, styled

_UNSEEN = {"color": PALE, "linewidth": 0.8}
_LEAST_KM = 2.0  # side of the map of one station
_LEAST_SHARE = 0.3  # of the longer side of a map: no map is a thread


@dataclass(frozen=True)
class FlowMap:
    """Stations on a map and their velocity.

    ``x_km``, ``y_km`` (n,) are map coordinates; ``flow_m_d`` (n, 2) is the true velocity turned to
    the axes of the map, NaN where there is none; ``half_width_m_d`` (n,) half the 95 % interval of
    the speed, NaN where not known; ``rock`` (n,) where a station stands beside the ice.
    ``map_scale``: map kilometres per true kilometre; ``north_rad``: from the map's upward direction
    to true north, clockwise.
    """

    title: str
    chart: str
    names: tuple
    x_km: np.ndarray
    y_km: np.ndarray
    flow_m_d: np.ndarray
    half_width_m_d: np.ndarray
    rock: np.ndarray
    map_scale: float = 1.0
    north_rad: float = 0.0
    ground: Ground = field(default_factory=Ground)
    note: str = ""


@dataclass(frozen=True)
class Crosses:
    """Principal strain rates at places on a map.

    ``x_km``, ``y_km`` (m,) are centres; ``rate_per_a`` (m, 2) the larger and the smaller principal
    rate, extension positive; ``half_width_per_a`` (m, 2) half their 95 % intervals; ``axis_rad``
    (m,) from the map's x towards y, of the larger one; ``poor`` (m,) where the shape of the
    stations is bad. ``corners``: indices of the stations of each.
    """

    x_km: np.ndarray
    y_km: np.ndarray
    rate_per_a: np.ndarray
    half_width_per_a: np.ndarray
    axis_rad: np.ndarray
    poor: np.ndarray
    corners: tuple = ()


@styled
def draw_flow_map(record):
    """Return the map of a :class:`FlowMap`: an arrow per station, its length the speed."""
    speed = np.hypot(*record.flow_m_d.T)
    largest = np.nanmax(np.where(record.rock, np.nan, speed), initial=0.0)
    km_per_m_d = 0.13 * _longer_side(record) / largest if largest > 0.0 else 0.0
    arrow = np.where(record.rock[:, None], np.nan, record.flow_m_d * km_per_m_d)
    figure, axis = _sheet(record, arrow)
    for k in range(len(record.names)):
        if np.hypot(*arrow[k]) > 0.0:
            draw_arrow(axis, (record.x_km[k], record.y_km[k]), arrow[k])
        _station(axis, record, k, _speed_text(speed[k], record.half_width_m_d[k]))
    if largest > 0.0:
        key = nice_below(largest)
        _key_arrow(axis, key * km_per_m_d, f"{key:g} m/d; numbers: m/d")
    footnote(figure, f"{record.note} Intervals: 95 %, where above 0.0005 m/d.".strip())
    return figure


@styled
def draw_strain_map(record, crosses):
    """Return the map of :class:`Crosses` between the stations of a :class:`FlowMap`."""
    figure, axis = _sheet(record)
    for corner in crosses.corners:
        ring = [*corner, corner[0]] if len(corner) == 3 else []
        axis.plot(record.x_km[ring], record.y_km[ring], color=PALE, linewidth=0.5, zorder=2)
    for k in range(len(record.names)):
        _station(axis, record, k, "")
    largest = np.nanmax(np.abs(crosses.rate_per_a), initial=0.0)
    if largest > 0.0:
        length = 0.09 * _longer_side(record) / largest
        for k in range(len(crosses.x_km)):
            _cross(axis, crosses, k, length)
        key = nice_below(largest)
        _key_cross(
            axis, key * length, f"{1e3 * key:g} \N{MULTIPLICATION SIGN} 10$^{{-3}}$ a$^{{-1}}$"
        )
    marks = "Grey: zero is within the 95 % interval. Dashed: badly shaped, an angle under 30 deg."
    footnote(figure, f"{marks} {record.note}".strip())
    return figure


def _sheet(record, arrow_km=None):
    """Return a figure with its map: limits, ground, scale bar, north arrow."""
    corners = _extent(record, arrow_km)
    figure, axis = map_sheet(
        record.title, record.chart, corners, record.map_scale, record.north_rad
    )
    draw_ground(axis, record.ground)
    return figure, axis


def _corners(record, arrow_km=None):
    """Return lower left and upper right corner (2,) of all that is drawn. [km]"""
    ends = [] if arrow_km is None else [arrow_km + np.stack([record.x_km, record.y_km], axis=1)]
    lakes = [np.stack(lake[1:], axis=1) for lake in record.ground.lakes]
    points = np.concatenate([np.stack([record.x_km, record.y_km], axis=1), *lakes, *ends])
    points = points[np.isfinite(points).all(axis=1)]
    return points.min(axis=0), points.max(axis=0)


def _longer_side(record):
    low, high = _corners(record)
    return (high - low).max() or _LEAST_KM


def _extent(record, arrow_km):
    """Return the corners (2,) of the map, with room for names, key and scale. [km]"""
    low, high = _corners(record, arrow_km)
    longer = (high - low).max() or _LEAST_KM
    room = np.maximum(_LEAST_SHARE * longer - (high - low), 0.0)
    margin = 0.5 * room + 0.08 * longer
    return low - margin, high + margin


def _sides(record):
    """Return by station 1 where its name stands above it, -1 below: where its arrow does not go."""
    wanted = np.where((record.flow_m_d[:, 1] > 0.0) & ~np.asarray(record.rock), -1.0, 1.0)
    return name_sides(record.x_km, record.y_km, _longer_side(record), wanted)


def _station(axis, record, k, text):
    """Draw a station and its name."""
    x, y, up = record.x_km[k], record.y_km[k], _sides(record)[k]
    axis.plot(
        x, y, marker="^" if record.rock[k] else "o", markersize=5, zorder=5,
        color="white", markeredgecolor=INK, markeredgewidth=1.0,
    )  # fmt: skip
    name = record.names[k]
    axis.annotate(
        f"{name}\n{text}" if text else name, (x, y), (0.0, 6.0 * up), textcoords="offset points",
        ha="center", va="bottom" if up > 0.0 else "top", fontsize=7.5, linespacing=1.1, zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.6, "pad": 0.2},
    )  # fmt: skip


def _speed_text(speed_m_d, half_width_m_d):
    """Return the speed, and half its interval where that is not below the last digit."""
    if not np.isfinite(speed_m_d):
        return ""
    if not half_width_m_d >= 0.0005:
        return f"{speed_m_d:.3f}"
    digits = int(np.clip(-np.floor(np.log10(half_width_m_d)), 1, 3))
    return f"{speed_m_d:.{digits}f} \N{PLUS-MINUS SIGN} {half_width_m_d:.{digits}f}"


def _key_arrow(axis, length, text):
    x, y = at(axis, 0.02, 0.93)
    draw_arrow(axis, (x, y), (length, 0.0))
    axis.annotate(text, (x + length, y), (5, 0), textcoords="offset points", va="center")


def _cross(axis, crosses, k, km_per_rate):
    """Draw the two bars of one cross."""
    centre = np.array([crosses.x_km[k], crosses.y_km[k]])
    dashes = (0, (2, 1.2)) if crosses.poor[k] else "solid"
    for j in range(2):
        rate, angle = crosses.rate_per_a[k, j], crosses.axis_rad[k] + 0.5 * np.pi * j
        reach = rate * km_per_rate * np.array([np.cos(angle), np.sin(angle)])
        seen = not abs(rate) <= crosses.half_width_per_a[k, j]
        if np.isfinite(rate) and rate != 0.0:
            _bar(axis, centre, reach, rate > 0.0, linestyle=dashes, **({} if seen else _UNSEEN))
    axis.plot(*centre, marker="o", markersize=1.8, color=INK, zorder=6)


def _bar(axis, centre, reach, extends, **looks):
    """Draw a double arrow, outward where the ice extends, inward where it is compressed."""
    own = {"color": DEEP, "linewidth": 1.4} if extends else {"color": RUST, "linewidth": 1.0}
    for end in (centre + reach, centre - reach):
        axis.add_patch(
            FancyArrowPatch(
                *((centre, end) if extends else (end, centre)), zorder=5, shrinkA=0,
                shrinkB=0 if extends else 1.5, arrowstyle="-|>,head_length=3,head_width=1.6",
                **{**own, **looks},
            )
        )  # fmt: skip


def _key_cross(axis, reach, text):
    for k, (sign, word) in enumerate(((1.0, "extension"), (-1.0, "compression"))):
        x, y = at(axis, 0.02, 0.95 - 0.07 * k)
        _bar(axis, np.array([x + reach, y]), np.array([reach, 0.0]), sign > 0.0)
        axis.annotate(
            f"{word} {text}", (x + 2.0 * reach, y), (5, 0), textcoords="offset points", va="center"
        )
