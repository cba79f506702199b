"""Height of the surface at stations by satellite passes and by positions: bias, and its budget."""

from dataclasses import dataclass

import numpy as np

from ..campaign.folders import POSITION
from ..campaign.store import read_table
from ..constants import NS_PER_DAY, NS_PER_S
from ..earth.ellipsoid import geodetic_from_xyz
from ..errors import SolutionError
from ..formats.plain_table import write_plain_table
from ..lakes.agreement import SLOW_M, WINDOW_D, heights_near
from ..lakes.surface_heights import height_bias, pass_heights
from ..signals.snow_height import PHASE_CENTRE_M
from .lakes_overflights import stations_about
from .motion_results import ns
from .position_tables import station_frames, station_positions

HEIGHTS, BIAS = "altimetry_heights.csv", "altimetry_bias.csv"
BUDGET = "altimetry_height_budget.csv"
SNOW_D = 10.0  # d, from a pass to the nearest snow height that still counts; choice
UNSEEN_SNOW_M = 0.5  # m, sigma of the snow about the marker where nothing tells it; choice
FRAME_M = 0.02  # m, sigma of heights of frames that are taken as one; choice: ITRFs of 20 years


@dataclass(frozen=True, eq=False)
class StationHeights:
    """Surface heights at one station.

    ``passes``: PassHeights; ``station_m``, ``sigma_m`` (p,): of the surface by positions, NaN where
    there is none; ``bias``: HeightBias or None, with ``why``; ``budget``: rows (term, side, size,
    sigma, words).
    """

    station: str
    passes: object
    station_m: np.ndarray
    sigma_m: np.ndarray
    bias: object
    why: str
    budget: tuple


def station_heights(campaign, outline, altimetry):
    """Return (tuple of :class:`StationHeights` of stations about a lake, notes)."""
    notes, found = list(altimetry.left), []
    if altimetry.absolute is None:
        return (), tuple(notes)
    within = campaign.settings.lakes.heights_within_m
    for name, place_at in stations_about(campaign, outline).items():
        try:
            passes = pass_heights(altimetry.absolute.points, place_at, within, outline.scale)
            found.append(_station(campaign, name, passes, altimetry, place_at, outline))
        except SolutionError as problem:
            notes.append(f"{name}, height of the surface: {problem}")
    return tuple(found), tuple(notes)


def _station(campaign, name, passes, altimetry, place_at, outline):
    marker, sigma = _marker(campaign, name, passes.time_ns)
    above, snow_sigma, snow = _snow(campaign, name, passes.time_ns)
    station, sigma = marker + above, np.hypot(sigma, snow_sigma)
    frames = (*altimetry.absolute.frames, *station_frames(campaign, name))
    budget = (
        *_of_passes(altimetry.absolute, passes, place_at, outline, campaign),
        ("frame", "both", 0.0, FRAME_M, f"taken as one, not corrected: {', '.join(frames)}"),
        ("height of the marker", "station", _mean(marker), SLOW_M,
         f"mean of positions of {WINDOW_D:g} d above the ellipsoid, tide-free; antenna height "
         "of the log taken off"),
        snow,
    )  # fmt: skip
    common = float(np.sqrt(sum(row[3] ** 2 for row in budget if row[0] in _COMMON)))
    try:
        covariance = passes.covariance_m2 + np.diag(np.nan_to_num(sigma, nan=1.0) ** 2)
        bias, why = height_bias(passes.height_m - station, covariance, common), ""
    except SolutionError as problem:
        bias, why = None, str(problem)
    return StationHeights(name, passes, station, sigma, bias, why, budget)


_COMMON = ("frame", "snow above the marker")


def _mean(values):
    return float(np.nanmean(values)) if np.isfinite(values).any() else np.nan


def _marker(campaign, name, time_ns):
    """Return (heights of the marker above the ellipsoid at times (p,), sigmas)."""
    wanted = ("time_gps", "x_m", "y_m", "z_m", "sigma_up_m")
    columns = station_positions(campaign, name, wanted)
    xyz = np.stack([columns[f"{axis}_m"] for axis in "xyz"], axis=1).astype(float)
    there = np.isfinite(xyz).all(axis=1)
    height = np.full(len(xyz), np.nan)
    height[there] = geodetic_from_xyz(xyz[there])[2]
    return heights_near(ns(columns["time_gps"]), height, columns["sigma_up_m"], time_ns)


def _snow(campaign, name, time_ns):
    """Return (surface above the marker (p,), sigma of single days (p,), row of the budget)."""
    term = "snow above the marker"
    path = campaign.folder(POSITION) / name / f"{name}_snow.parquet"
    none = np.zeros(len(time_ns))
    if path.is_file():
        table = read_table(path)[0]
        good = np.flatnonzero(np.isfinite(table["snow_above_marker_m"] + table["sigma_m"]))
        if good.size:
            day = ns(table["time_gps"])[good]
            nearest = np.abs(day[None] - time_ns[:, None]).argmin(axis=1)
            near = np.abs(day[nearest] - time_ns) <= SNOW_D * NS_PER_DAY
            row = good[nearest]
            above = np.where(near, table["snow_above_marker_m"][row], np.nan)
            words = (
                f"antenna height of the log less height over the snow by reflections, {SNOW_D:g}"
            )
            words += f" d about a pass; the phase centre lies up to {PHASE_CENTRE_M:g} m higher"
            sigma = np.where(near, table["sigma_m"][row], np.nan)
            return above, sigma, (term, "station", _mean(above), PHASE_CENTRE_M / 2.0, words)
    words = "no snow height by reflections: the marker stands for the surface"
    return none, none, (term, "station", 0.0, UNSEEN_SNOW_M, words)


def _of_passes(absolute, passes, place_at, outline, campaign):
    """Return the rows of what was done to heights of passes; means over the points near."""
    near = np.zeros(len(absolute.geoid_m), bool)
    for time_ns in passes.time_ns:
        away = np.hypot(*(absolute.points.point_m - place_at(int(time_ns))).T) / outline.scale
        same = np.abs(absolute.points.time_ns - time_ns) < 600 * NS_PER_S
        near |= same & (away <= campaign.settings.lakes.heights_within_m)
    slope = " and ".join(f"{100.0 * s:+.2f}" for s in passes.slope)
    return (
        ("geoid to ellipsoid", "passes", _mean(absolute.geoid_m[near]), 0.0,
         "height of the geoid in the file, added; 0: heights were above the ellipsoid"),
        ("permanent tide", "passes", _mean(absolute.tide_m[near]), 0.0,
         "to tide-free, IERS Conventions (2010), equation 7.14a; 0: were tide-free"),
        ("slope and bend", "passes", float(np.sqrt(np.mean(passes.moved_m**2))),
         float(np.sqrt(np.mean(passes.moved_sigma_m**2))),
         f"rms over passes; the surface rises by {slope} m in 100 m along x and y of the map"),
    )  # fmt: skip


def heights_files(found):
    """Return {name: bytes} of the tables of stations; none where there are no heights."""
    if not found:
        return {}
    rows = [
        (one.station, *row)
        for one in found
        for row in zip(
            (one.passes.time_ns + NS_PER_S // 2) // NS_PER_S * NS_PER_S, one.passes.points,
            one.passes.away_m, one.passes.height_m, np.sqrt(np.diag(one.passes.covariance_m2)),
            one.passes.moved_m, one.station_m, one.sigma_m, strict=True,
        )
    ]  # fmt: skip
    names = ("station", "time_gps", "points", "away_m", "passes_m", "passes_sigma_m")
    names += ("slope_correction_m", "station_m", "station_sigma_m")
    heights = dict(zip(names, map(np.array, zip(*rows, strict=True)), strict=True))
    heights["difference_m"] = heights["passes_m"] - heights["station_m"]
    budget = [(one.station, *row) for one in found for row in one.budget]
    names = ("station", "term", "side", "size_m", "sigma_m", "words")
    tables = {HEIGHTS: heights, BIAS: _bias_table(found)}
    tables[BUDGET] = dict(zip(names, map(np.array, zip(*budget, strict=True)), strict=True))
    decimals = {"away_m": 0}
    return {
        name: write_plain_table(columns, dict.fromkeys(columns, 4) | decimals)
        for name, columns in tables.items()
    }


def _bias_table(found):
    table = {"station": np.array([one.station for one in found])}
    table["passes"] = np.array([one.bias.passes if one.bias else 0 for one in found])
    for name in ("bias_m", "sigma_m", "scatter_m"):
        table[name] = np.array([getattr(o.bias, name) if o.bias else np.nan for o in found], float)
    for name, key in (("bias", "interval_m"), ("bias_with_common", "whole_m")):
        for k, word in enumerate(("low", "high")):
            table[f"{name}_{word}_m"] = np.array(
                [getattr(o.bias, key)[k] if o.bias else np.nan for o in found], float
            )
    table["why"] = np.array([one.why for one in found], object)
    return table


def heights_words(found):
    """Return sentences on each station: the bias, then each correction with its size."""
    for one in found:
        bias, head = one.bias, f"{one.station}, height of the surface above the ellipsoid"
        if bias is None:
            yield f"{head}: no bias: {one.why}"
        else:
            low, high = bias.whole_m
            yield (
                f"{head}: passes minus station {bias.bias_m:+.3f} m by {bias.passes} passes, 95 % "
                f"{bias.interval_m[0]:+.3f} to {bias.interval_m[1]:+.3f}, with what is common to "
                f"all passes {low:+.3f} to {high:+.3f}; they scatter by {bias.scatter_m:.3f} m "
                "beyond their sigmas"
            )
        for term, side, size, sigma, words in one.budget:
            yield f"  {term} ({side}): {size:+.3f} m, sigma {sigma:.3f}: {words}"
