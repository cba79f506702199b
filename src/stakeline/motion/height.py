"""The height of one station taken apart: slope, strain, settling, tide, air, steps; the rest."""

from dataclasses import replace

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SolutionError
from ..inference.memory import coloured_variance
from .barometer import share_seen, share_words
from .motion_record import Vertical
from .slope_choice import slope_sources
from .slopes import compare_slopes
from .vertical import (
    antenna_term,
    close_budget,
    settling_term,
    tide_term,
    vertical_strain_term,
)

OUT_BEFORE = ("antenna", "tide", "inverse barometer")  # of the positions that are smoothed


def height_of(grid_ns, rows_ns, along, up, steps, settings, surfaces, path_rad, air):
    """Return (Vertical, warnings) of a station.

    Parameters
    ----------
    grid_ns, rows_ns : array (m,), (n,)
        Times of results and of the positions used. [ns]
    along, up : AxisMotion
    steps : Steps
    settings : MotionSettings
        Slope, strain, settling: given, or left out.
    surfaces : sequence of SurfaceGrid
    path_rad : pair of arrays (m,), or None
        Latitude and longitude at the grid's times; None where they are not known. [rad]
    air : AirAnswer or None
        What was taken out of the positions up before they were smoothed.
    """
    travel = along.position_m - _first(along.position_m)
    hands, known = _known_terms(grid_ns, up, steps, settings)
    unsmoothed = _nearest_mean(grid_ns, rows_ns, up.row_position_m)
    weighed, answer, said = _of_air(grid_ns, unsmoothed, air)
    known = (*known, *weighed)
    measured = up.position_m + sum(term.value_m for term in hands) + answer
    shared = grid_ns, measured, up.position_sigma_m
    left = close_budget(*shared, (*hands, *known)).residual_m
    slopes = slope_sources(grid_ns, travel, left, settings, surfaces, path_rad)
    removed = (*known, *slopes.terms(travel))
    budget = close_budget(*shared, (*hands, *removed))
    taken = sum((term.value_m for term in removed), np.zeros(len(grid_ns)))
    raw = unsmoothed + answer - taken
    vertical = Vertical(
        budget, budget.residual_m, budget.total_sigma_m(), raw, slopes.own,
        _compared(*shared, travel, slopes.known, (*hands, *known)), slopes.chosen, slopes.name,
    )  # fmt: skip
    return vertical, (*said, *slopes.said)


def _known_terms(grid_ns, up, steps, settings):
    """Return (antenna and tide, strain and settling)."""
    own = steps.only("equipment")
    antenna = antenna_term(
        grid_ns, own.after_ns, own.size_m[:, 2], own.sigma_m[:, 2], "steps removed"
    )
    tide = tide_term(up.tide_m, up.tide_sigma_m, source="estimated with the motion")
    terms = []
    if np.isfinite(settings.vertical_strain_m_a):
        sigma = settings.vertical_strain_sigma_m_a
        terms.append(vertical_strain_term(grid_ns, settings.vertical_strain_m_a, sigma))
    if np.isfinite(settings.settling_m_a):
        sigma = settings.settling_sigma_m_a
        terms.append(settling_term(grid_ns, settings.settling_m_a, sigma))
    return (antenna, tide), tuple(terms)


def _of_air(grid_ns, unsmoothed, air):
    """Return (terms, answer (m,) without gaps, sentences) of the inverse barometer."""
    if air is None:
        return (), np.zeros(len(grid_ns)), ()
    term, answer = air.term(grid_ns), air.bridged_m(grid_ns)
    afloat = replace(air, share=1.0).term(grid_ns).value_m
    seen = share_seen(grid_ns, unsmoothed + answer, afloat)
    return (term,), answer, share_words(*seen, air.share, air.sigma)


def _compared(grid_ns, measured, sigma, travel, sources, terms):
    """Return the residual with each source of the slope; nothing where there is no residual."""
    if np.isfinite(measured).sum() < 10:
        return ()
    return compare_slopes(grid_ns, measured, sigma, travel, sources, terms)


def _first(values):
    """Return the first value that is there; NaN where there is none."""
    there = np.flatnonzero(np.isfinite(values))
    return values[there[0]] if there.size else np.nan


def _nearest_mean(grid_ns, rows_ns, values):
    """Return the mean (m,) of the values measured within half an interval of each time."""
    if len(grid_ns) < 2:
        return np.full(len(grid_ns), np.nan)
    half = (grid_ns[1] - grid_ns[0]) // 2
    bounds = np.searchsorted(rows_ns, np.append(grid_ns - half, grid_ns[-1] + half))
    total = np.concatenate([[0.0], np.cumsum(values - values[0])])
    count = np.diff(bounds)
    with np.errstate(invalid="ignore", divide="ignore"):
        return values[0] + np.where(count > 0, np.diff(total[bounds]) / count, np.nan)


def rise(motion, before_ns, after_ns):
    """Return (rise of the residual up between two windows of time, its sigma). [m]

    Parameters
    ----------
    motion : Motion
    before_ns, after_ns : (int, int)
        Begin and end of the windows; each needs a position. [ns]

    Raises
    ------
    SolutionError
        Where a window holds no position.

    Notes
    -----
    Difference of the means of measured positions, tide, steps and the budget's terms taken off:
    no smoothing. The sigma is that of white and coloured noise of the up axis together with what
    the terms' common parameters do between the windows.
    """
    time_ns, model = motion.rows_ns, motion.up.model
    inside = [(time_ns >= a) & (time_ns <= b) for a, b in (before_ns, after_ns)]
    if not all(mask.any() for mask in inside):
        raise SolutionError(f"{motion.station}: no position in one of the windows of a rise")
    weights = inside[1] / inside[1].sum() - inside[0] / inside[0].sum()
    used = weights != 0.0
    time_d = (time_ns[used] - time_ns[used][0]) / NS_PER_DAY
    budget = motion.vertical.budget
    removed = sum(
        (term.value_m for term in budget.terms if term.name not in OUT_BEFORE),
        np.zeros(len(motion.time_ns)),
    )
    common = np.array([
        weights[used] @ _between(motion.time_ns, column, time_ns[used])
        for column in budget.residual_factor_m.T
    ])  # fmt: skip
    position = motion.up.row_position_m[used] - _between(motion.time_ns, removed, time_ns[used])
    white = (weights[used] * motion.rows_sigma_m[used, 2] * model.white_scale) ** 2
    variance = white.sum() + (common**2).sum() + coloured_variance(
        time_d, weights[used], model.coloured_sigma_m, model.coloured_memory_d
    )  # fmt: skip
    return float(weights[used] @ position), float(np.sqrt(variance))


def _between(grid_ns, values, time_ns):
    """Return values of the grid at other times; gaps of the grid are bridged by straight lines."""
    there = np.isfinite(values)
    return np.interp(time_ns, grid_ns[there], values[there])
