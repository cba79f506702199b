"""What every map has: a sheet with scale bar and north arrow, lakes, contours, round numbers."""

from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch

from .style import DEEP, INK, PALE, WATER, new_figure

_NICE = np.array([1.0, 2.0, 5.0])
_WIDTH_IN, _TALLEST_IN = 9.0, 6.0
_CLOSE_SHARE = 0.04  # of the longer side: closer stations write on either side; our choice


@dataclass(frozen=True)
class Ground:
    """What lies under a map; all of it may be missing.

    ``lakes``: tuples of name, x (m,), y (m,) of outlines. [km] ``x_km`` (k,), ``y_km`` (l,) and
    ``height_m`` (l, k): surface, drawn as contours.
    """

    lakes: tuple = ()
    x_km: np.ndarray | None = None
    y_km: np.ndarray | None = None
    height_m: np.ndarray | None = None


def map_sheet(title, chart, corners, map_scale=1.0, north_rad=0.0):
    """Return (figure, axis) of an empty map between its corners, with scale bar and north arrow.

    Parameters
    ----------
    title : str
    chart : str
        What the axes are called after, such as ``EPSG:3413``.
    corners : pair of arrays (2,)
        Lower left and upper right. [km]
    map_scale : float
        Map kilometres per true kilometre.
    north_rad : float
        From the map's upward direction to true north, clockwise.
    """
    low, high = corners
    width, height = high - low
    map_in = min(_WIDTH_IN - 0.8, _TALLEST_IN * width / height)
    figure = new_figure(map_in + 0.8, map_in * height / width + 1.0, title, one_shape=True)
    axis = figure.subplots()
    axis.set_aspect("equal")
    axis.set_xlim(low[0], high[0])
    axis.set_ylim(low[1], high[1])
    axis.set_xlabel(f"easting, {chart} (km)")
    axis.set_ylabel(f"northing, {chart} (km)")
    axis.grid(False)
    for side in ("top", "right"):
        axis.spines[side].set_visible(True)
    _scale_bar(axis, map_scale)
    _north(axis, north_rad)
    return figure, axis


def draw_ground(axis, ground):
    """Draw contours of the surface, and lakes with their names where no arrow goes."""
    if ground.height_m is not None:
        _contours(axis, ground)
    for name, x, y in ground.lakes:
        axis.fill(x, y, facecolor=WATER, edgecolor=DEEP, linewidth=0.8, zorder=1)
        axis.annotate(
            name, (np.min(x), np.max(y)), (2.0, 0.0), textcoords="offset points", ha="right",
            va="bottom", fontsize=7.5, style="italic", color=DEEP, zorder=6,
        )  # fmt: skip


def _contours(axis, ground):
    """Draw the surface inside the map, at most some ten lines."""
    across, along = _within(ground.x_km, axis.get_xlim()), _within(ground.y_km, axis.get_ylim())
    height = ground.height_m[np.ix_(along, across)]
    if min(height.shape) < 2 or not np.isfinite(height).any():
        return
    low, high = np.nanmin(height), np.nanmax(height)
    step = nice_below(max((high - low) / 6.0, 1.0))
    drawn = axis.contour(
        ground.x_km[across], ground.y_km[along], height,
        step * np.arange(low // step, high // step + 1.0),
        colors="#c4c4c4", linewidths=0.6, linestyles="solid", zorder=0,
    )  # fmt: skip
    axis.clabel(drawn, fmt="%.0f m", fontsize=6.5, colors=PALE, inline_spacing=2)


def surface_lines(x, y, height_m, most=8.0):
    """Return [(height, points (n, 2))] of contours at round heights.

    Parameters
    ----------
    x : array, shape (k,)
    y : array, shape (l,)
    height_m : array, shape (l, k)
        NaN where there is none. [m]
    most : float
        About how many heights.
    """
    if min(height_m.shape) < 2 or not np.isfinite(height_m).any():
        return []
    low, high = np.nanmin(height_m), np.nanmax(height_m)
    step = nice_below(max((high - low) / most, 1.0))
    levels = step * np.arange(low // step + 1.0, high // step + 1.0)
    if not len(levels):
        return []
    drawn = Figure().subplots().contour(x, y, np.ma.masked_invalid(height_m), levels)
    return [(float(level), np.asarray(line, float))
            for level, lines in zip(drawn.levels, drawn.allsegs, strict=True)
            for line in lines if len(line) > 1]  # fmt: skip


def _within(values, ends):
    """Say which grid lines lie inside the map, and one beyond on either side."""
    inside = (values >= ends[0]) & (values <= ends[1])
    return inside | np.roll(inside, 1) | np.roll(inside, -1)


def nice_below(value):
    """Return the largest of 1, 2, 5 times a power of ten that is not above a value."""
    ten = 10.0 ** np.floor(np.log10(value))
    return float(ten * _NICE[_NICE * ten <= value * (1.0 + 1e-9)].max())


def draw_arrow(axis, start, step, color=DEEP):
    """Draw an arrow from a place on the map."""
    arrow = FancyArrowPatch(
        start, np.add(start, step), arrowstyle="-|>,head_length=4,head_width=2",
        linewidth=1.6, color=color, shrinkA=0, shrinkB=0, zorder=4,
    )  # fmt: skip
    axis.add_patch(arrow)


def at(axis, right, up):
    """Return the map coordinates of a place given as share of the sides."""
    (left, east), (south, top) = axis.get_xlim(), axis.get_ylim()
    return left + right * (east - left), south + up * (top - south)


def name_sides(x, y, longer_side, wanted):
    """Return by place 1 where its name stands above it, -1 below.

    ``wanted`` (n,) where nothing is near; of places close to each other the more northern one
    writes above, the other below.
    """
    x, y, sides = np.asarray(x), np.asarray(y), np.array(wanted, float)
    apart = np.hypot(x[:, None] - x, y[:, None] - y) / longer_side
    np.fill_diagonal(apart, np.inf)
    for k, row in enumerate(apart):
        close, near = row < _CLOSE_SHARE, row < 2.0 * _CLOSE_SHARE
        if close.any():
            sides[k] = 1.0 if y[k] > y[close].mean() else -1.0
        elif near.any() and y[k] > y[near].max():
            sides[k] = 1.0
    return sides


def _scale_bar(axis, map_scale):
    """Draw a bar of true kilometres, in two halves."""
    true_km = nice_below(0.2 * np.ptp(axis.get_xlim()) / map_scale)
    half = 0.5 * true_km * map_scale
    x, y = at(axis, 0.02, 0.05)
    for k, color in enumerate((INK, "white")):
        axis.plot(
            [x + k * half, x + (k + 1) * half], [y, y], color=INK, linewidth=4.5,
            solid_capstyle="butt", zorder=6,
        )  # fmt: skip
        axis.plot(
            [x + (k + 0.02) * half, x + (k + 0.98) * half], [y, y], color=color, linewidth=3.2,
            solid_capstyle="butt", zorder=7,
        )  # fmt: skip
    axis.annotate(
        f"{true_km:g} km", (x + 2.0 * half, y), (4, 0), textcoords="offset points", va="center"
    )


def _north(axis, north_rad):
    """Draw the arrow to true north in the upper right corner."""
    start = np.array(at(axis, 0.965, 0.80))
    length = min(0.06 * np.ptp(axis.get_xlim()), 0.12 * np.ptp(axis.get_ylim()))
    step = length * np.array([np.sin(north_rad), np.cos(north_rad)])
    draw_arrow(axis, start, step, color=INK)
    axis.annotate("N", start + 1.25 * step, ha="center", va="center", zorder=6)
