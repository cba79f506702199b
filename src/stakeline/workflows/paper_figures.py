"""One figure of a campaign by its name, as wide as a column of a paper."""

import re
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from ..campaign.folders import DECIDE, FOLDERS, LAKES, MOTION, PLAN, PLANS, open_or_find
from ..campaign.store import write_bytes
from ..errors import SettingsError
from ..report.style import (
    MM_PER_IN,
    STYLE,
    cramped,
    in_paper,
    no_larger,
    paper_letters_pt,
    svg_bytes,
)
from ..report.typesetting import PICTURES, picture
from .decide import solve_questions
from .decide_figures import decide_figures
from .decide_record import questions
from .decide_verdict import decisions
from .lakes_figures import lake_figures
from .lakes_results import lake_results
from .motion_figures import TOGETHER, motion_figures
from .motion_results import station_results
from .plan import campaign_plan, sky_of
from .plan_figures import plan_figures, year_bands
from .position import Outcome
from .product_index import scan
from .report import OTHERWISE

WIDTHS_MM = {"one-column": 85.0, "two-columns": 178.0, "page": 247.0}
"""Widths of a paper on A4, the last one across the sheet; common practice, no source. [mm]"""
LEAST_PT = 5.0  # of letters that are still read; common practice, no source
PT_PER_IN = 72.0  # definition
_WIDE_PT = re.compile(rb'<svg[^>]*?width="([\d.]+)pt"', re.DOTALL)


@dataclass(frozen=True)
class Named:
    """A figure of a campaign: its name, ``verb/...``, and the SVG that the verb has drawn."""

    name: str
    path: str


def figure_names(campaign):
    """Return the :class:`Named` figures that the verbs of a campaign have drawn, in order."""
    found = []
    for folder in FOLDERS[1:8]:
        for path in sorted((campaign.root / folder).rglob("*.svg")):
            below = PurePosixPath(path.relative_to(campaign.root).as_posix()).with_suffix("")
            parts = [part for part in below.parts[1:] if part != "figures"]
            verb = folder.partition("-")[2]
            found.append(Named("/".join((verb, *parts)), campaign.relative(path)))
    return tuple(found)


def list_figures(campaign=None):
    """Return the Outcome whose text names the figures of a campaign, a line each."""
    names = [one.name for one in figure_names(open_or_find(campaign, OTHERWISE))]
    return Outcome("".join(f"{name}\n" for name in names) or "no figure yet: 'stakeline run'\n")


def draw_figure(campaign=None, *, name, width="two-columns", to=None):
    """Draw one figure as a paper prints it, and write it.

    Parameters
    ----------
    campaign : path, optional
    name : str
        One of those of :func:`list_figures`.
    width : str
        One of :data:`WIDTHS_MM`.
    to : path, optional
        A file that ends in ``.svg``, ``.pdf`` or ``.png``; without it the name with ``.pdf``, in
        the folder we stand in.

    Returns
    -------
    Outcome
        Its text is the caption: title and note, which do not stand in the figure.

    Raises
    ------
    SettingsError
        For a name that is not there, or a figure that would be too small to be read.

    Notes
    -----
    Figures of motion, lakes' levels, plan and decide are drawn anew from the campaign, letters of
    6 to 7 pt at any width. Others are the verb's own drawing, made smaller.
    """
    opened = open_or_find(campaign, OTHERWISE)
    out = Path(to or f"{name.replace('/', '_')}.pdf")
    kind = out.suffix[1:].lower()
    if kind not in PICTURES:
        raise SettingsError(f"{out}: the name of a figure ends in .{', .'.join(PICTURES)}")
    there = {one.name: one for one in figure_names(opened)}
    if name not in there:
        raise SettingsError(
            f"there is no figure '{name}'; 'stakeline report CAMPAIGN --figures' lists those there "
            "are"
        )
    width_mm = WIDTHS_MM[width]
    svg, caption = drawn_anew(opened, there[name], width_mm) or _smaller(
        opened, there[name], width_mm
    )
    write_bytes(out, picture(svg, width_mm, kind))
    return Outcome(f"{caption}\n{out}: {width_mm:g} mm wide\n")


def drawn_anew(campaign, figure, width_mm):
    """Return (SVG, caption) of a figure drawn for a width; None for one that cannot be.

    Parameters
    ----------
    campaign : Campaign
    figure : Named
    width_mm : float
    """
    stem = PurePosixPath(figure.path).stem
    with in_paper(width_mm):
        for folder, draw in DRAWN.items():
            if figure.path.startswith(f"{folder}/"):
                found = draw(campaign, figure.path, stem).get(stem)
                return None if found is None else _fitting(found, figure.name, width_mm)
    return None


def _fitting(found, name, width_mm):
    """Return (SVG, caption) of a drawn figure; SettingsError where it does not fit its width."""
    no_larger(found, paper_letters_pt(width_mm))
    why = cramped(found)
    if why:
        raise SettingsError(f"{name}: {why} at {width_mm:g} mm; give a wider --width")
    return svg_bytes(found), found.get_label()


def _smaller(campaign, figure, width_mm):
    """Return (SVG, caption) of the verb's own drawing, its width changed."""
    svg = (campaign.root / figure.path).read_bytes()
    wide = _WIDE_PT.search(svg[:2000])
    ratio = width_mm / MM_PER_IN * PT_PER_IN / float(wide[1])
    letters = ratio * STYLE["font.size"]
    if letters < LEAST_PT:
        raise SettingsError(
            f"{figure.name}: letters would be {letters:.1f} pt high; give a wider --width"
        )
    head = svg[: wide.end()]
    head = re.sub(rb'(width|height)="([\d.]+)pt"', lambda m: _scaled(m, ratio), head)
    note = f"{figure.path} as it is, its letters now {letters:.1f} pt high"
    return head + svg[wide.end() :], note


def _scaled(found, ratio):
    return b'%s="%.3fpt"' % (found[1], ratio * float(found[2]))


def _motion(campaign, _, stem):
    station = next(
        (r.station for r in station_results(campaign) if stem.startswith(f"{r.station}_")), TOGETHER
    )
    return motion_figures(campaign, station)


def _lakes(campaign, _, stem):
    names = [r.name for r in lake_results(campaign) if stem.startswith(f"{r.name}_")]
    return lake_figures(campaign, max(names, key=len)) if names else {}


def _decide(campaign, _, stem):
    part, results = campaign.settings.decide, station_results(campaign)
    lakes, _problems = solve_questions(part, questions(campaign, results)[0])
    every, each = decisions(part, lakes)
    return decide_figures(part, lakes, every, each, campaign.settings.campaign.name)


def _plan(campaign, path, _):
    name = PurePosixPath(path).parent.name
    sky = sky_of(scan(campaign))
    plan = campaign_plan(campaign, campaign.folder(PLANS) / f"{name}.toml", sky)
    return plan_figures(plan, year_bands(plan))


DRAWN = {MOTION: _motion, LAKES: _lakes, DECIDE: _decide, PLAN: _plan}
"""How the figures of a folder are drawn anew: ``function(campaign, path, stem)``."""
