"""One look for all figures: colours apart in grey too, text as text, same input same bytes.

The colours are ours: their lightness falls in steps, so that they stay apart without colour and for
colour-blind readers; where lines cross, they differ in width or dashes as well.
"""

import contextlib
import contextvars
import functools
import io
import re
import warnings

import matplotlib as mpl
import matplotlib.dates as mdates
import numpy as np
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.text import Text

from ..constants import NS_PER_DAY

INK, PALE = "#333333", "#8a8a8a"
DEEP, BAND = "#00466e", "#c9d6df"  # what was found, and its 95 % band
WARM, WARM_BAND = "#e69f00", "#f7e3b5"  # what it is held against
RUST = "#a8401f"  # what was done to a station: steps, visits
WATER = "#dbe9f1"
MOST_BINS = 700  # of a line across a page; more than it has points
STYLE = {
    "font.size": 8.5,
    "font.family": "sans-serif",
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#e3e3e3",
    "grid.linewidth": 0.5,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "svg.fonttype": "none",
    "svg.hashsalt": "stakeline",
}
BEYOND_MM = 1.0  # mm, by which something may stand out of a figure in a paper; choice
MM_PER_IN = 25.4  # definition
LETTERS_PT = ((0.0, 6.0), (120.0, 7.0))  # from a width [mm] on, largest; common practice, no source
_PAPER_MM = contextvars.ContextVar("width of a figure in a paper", default=0.0)
_TAG = re.compile(r"<[^>]*>")  # coordinates stand in tags; numbers a person reads do not
_LONG = re.compile(r"(-?\d+\.\d\d)\d+(?=[ \"\n,)])")


@contextlib.contextmanager
def in_paper(width_mm):
    """Draw figures as a paper prints them: so wide, without title and note, letters of 6 to 7 pt.

    Title and note are then the figure's label, a line each; they belong into its caption.
    """
    before = _PAPER_MM.set(float(width_mm))
    try:
        yield
    finally:
        _PAPER_MM.reset(before)


def paper_letters_pt(width_mm):
    """Return the size of the largest letters of a figure of a width in a paper. [pt]"""
    return max(size for least, size in LETTERS_PT if width_mm >= least)


def _look():
    width_mm = _PAPER_MM.get()
    return STYLE | {"font.size": paper_letters_pt(width_mm)} if width_mm else STYLE


def styled(draw):
    """Make a function that draws do so in our style."""

    @functools.wraps(draw)
    def inside(*arguments, **options):
        with mpl.rc_context(_look()):
            return draw(*arguments, **options)

    return inside


def new_figure(width_in, height_in, title, *, one_shape=False):
    """Return an empty figure with its title at the upper left.

    In a paper a figure is as wide as asked for, and less high by the root of what it lost in width:
    letters stay as large. One of ``one_shape``, such as a map, loses as much of both.
    """
    paper_in = _PAPER_MM.get() / MM_PER_IN
    if paper_in:
        ratio = paper_in / width_in
        height_in *= ratio if one_shape else np.sqrt(ratio)
    figure = Figure(figsize=(paper_in or width_in, height_in), layout="constrained")
    figure.set_label(title)
    if not paper_in:
        figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold")
    return figure


def footnote(figure, text):
    """Write a note below the panels, small, over the whole width."""
    if not text:
        return
    figure.set_label(f"{figure.get_label()}\n{text}")
    if not _PAPER_MM.get():
        figure.supxlabel(text, x=0.01, ha="left", fontsize=7.5, color=INK)


def no_larger(figure, most_pt):
    """Make letters that a drawing has set larger no larger than ``most_pt``."""
    for text in figure.findobj(Text):
        text.set_fontsize(min(text.get_fontsize(), most_pt))


def cramped(figure):
    """Say why a figure does not fit into its width; '' where it does."""
    with mpl.rc_context(_look()), warnings.catch_warnings():
        warnings.filterwarnings("error", "constrained_layout not applied")
        FigureCanvasSVG(figure)
        try:
            _laid_out(figure)
        except UserWarning:
            return "no room is left for its panels"
        around, (wide, high) = figure.get_tightbbox(), figure.get_size_inches()
    beyond = max(-around.x0, -around.y0, around.x1 - wide, around.y1 - high) * MM_PER_IN
    return f"reaches {beyond:.0f} mm beyond its edge" if beyond > BEYOND_MM else ""


def _laid_out(figure):
    """Lay a figure out once and for all; saving would do so once more."""
    if figure.get_layout_engine() is not None:
        figure.get_layout_engine().execute(figure)
        figure.set_layout_engine("none")


def svg_bytes(figure):
    """Return a figure as SVG: the same figure gives the same bytes, coordinates to 0.01 pt."""
    sink = io.StringIO()
    with mpl.rc_context(_look()):
        canvas = FigureCanvasSVG(figure)
        _laid_out(figure)
        canvas.print_svg(sink, metadata={"Date": None, "Creator": None})  # saving draws twice
    return _TAG.sub(lambda tag: _LONG.sub(r"\1", tag[0]), sink.getvalue()).encode("utf-8")


def opened(time_ns, longest_gap_d, lead, *columns, bins=MOST_BINS):
    """Return times and columns for drawing: gaps broken by NaN, long rows thinned by eye.

    Of more than two rows for each of so many equal bins only those stay in which ``lead``
    is lowest and highest, and one NaN where there is any: the line looks the same.

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
        Rising. [ns]
    longest_gap_d : float
        Neighbours further apart than this are not joined. [d]
    lead, *columns : arrays, shape (n,)

    Returns
    -------
    list
        Times as datetime64, then lead and columns.
    """
    time_ns, lead = np.asarray(time_ns, np.int64), np.asarray(lead, float)
    after = np.flatnonzero(np.diff(time_ns) > longest_gap_d * NS_PER_DAY)
    middle = time_ns[after] + np.diff(time_ns)[after] // 2
    wider = [np.insert(time_ns, after + 1, middle)]
    for column in (lead, *columns):
        wider.append(np.insert(np.asarray(column, float), after + 1, np.nan))
    keep = _extremes(wider[0], wider[1], bins)
    return [wider[0][keep].astype("datetime64[ns]"), *(column[keep] for column in wider[1:])]


def _extremes(time_ns, lead, bins):
    """Return the rows to draw: lowest, highest and first NaN of each bin."""
    if len(lead) <= 2 * bins:
        return np.arange(len(lead))
    place = (time_ns - time_ns[0]) / (time_ns[-1] - time_ns[0]) * bins
    place = np.minimum(place.astype(int), bins - 1)
    gone = np.isnan(lead)
    first = np.unique(place[gone], return_index=True)[1]
    rows = [np.flatnonzero(gone)[first], [0, len(lead) - 1]]
    order = np.flatnonzero(~gone)
    order = order[np.lexsort((lead[order], place[order]))]
    edge = np.flatnonzero(np.diff(place[order])) + 1
    if order.size:
        rows += [order[np.concatenate([[0], edge])], order[np.concatenate([edge - 1, [-1]])]]
    return np.unique(np.concatenate(rows).astype(int))


def dots(axis, x, y, size=1.6, **looks):
    """Draw dots as one path: a short file for many of them."""
    place = np.asarray(x)
    if place.dtype.kind == "M":
        axis.xaxis.update_units(place)
        place = mdates.date2num(place)
    there = np.isfinite(y)
    points = np.repeat(np.stack([place[there], np.asarray(y)[there]], axis=1), 2, axis=0)
    codes = np.tile([Path.MOVETO, Path.LINETO], len(points) // 2)
    if len(points):
        path = Path(points, codes)
        path.should_simplify = False  # every one of them is meant
        axis.add_patch(PathPatch(path, fill=False, linewidth=size, capstyle="round", **looks))
        axis.autoscale_view()


def line(axis, x, y, **looks):
    """Draw a line that NaN breaks; a value alone between two of them becomes a dot."""
    (drawn,) = axis.plot(x, y, **looks)
    gone = np.isnan(np.concatenate([[np.nan], y, [np.nan]]))
    alone = ~gone[1:-1] & gone[:-2] & gone[2:]
    if alone.any():
        dots = {"color": drawn.get_color(), "markersize": 2.0, "zorder": drawn.get_zorder()}
        axis.plot(np.asarray(x)[alone], np.asarray(y)[alone], linestyle="none", marker="o", **dots)
    return drawn


def band(axis, x, y, half_width, color=BAND, **looks):
    """Shade y plus and minus half its 95 % interval."""
    axis.fill_between(x, y - half_width, y + half_width, color=color, linewidth=0.0, **looks)


def limits(*columns, margin=0.08):
    """Return axis limits that hold all finite values, with a margin; None where there are none."""
    values = np.concatenate([np.ravel(column) for column in columns])
    values = values[np.isfinite(values)]
    if not values.size:
        return None
    low, high = values.min(), values.max()
    width = (high - low) or abs(high) or 1.0
    return low - margin * width, high + margin * width


def hold(axis, *columns, margin=0.08):
    """Set the range of y to :func:`limits`."""
    found = limits(*columns, margin=margin)
    if found:
        axis.set_ylim(*found)


def time_axis(axis, label="GPS time"):
    """Label an axis of datetime64 with dates that do not crowd."""
    locator = mdates.AutoDateLocator(minticks=4, maxticks=9)
    axis.xaxis.set_major_locator(locator)
    axis.xaxis.set_major_formatter(mdates.ConciseDateFormatter(locator))
    axis.set_xlabel(label)
