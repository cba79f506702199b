"""The motion of one station: from positions to velocity, tides, steps and residual up."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError, StakelineError
from ..time import iso
from .cleaning import Cleaned, find_outliers
from .flow import FlowPath, along_path, fixed_path, smooth_path, straight_path
from .likelihood import ParameterFit, fit_model, thinned
from .motion_settings import MotionSettings
from .response import response
from .smoother import MotionModel, filtered, smooth
from .station_series import StationSeries, series_of, tidied
from .steps import Steps, find_steps, moved_by_hand, rotated, step_design
from .tide_terms import TideTerms, rough_tide, tides_of
from .tides import Tides, predict, prediction_sigma
from .windows import window_velocities

__all__ = ["AXES", "AxisMotion", "Motion", "MotionSettings", "StationSeries", "series_of",
           "solve_motion"]  # fmt: skip

AXES = ("along", "across", "up")
MOST_RESULTS = 3_000_000  # grid rows of one station: 34 years of 6 min; our choice
STEP_ROWS = 20_000  # rows in which steps are searched, above that means are taken; our choice
LEAST_FOR_NOISE = 40  # rows from which noise is estimated; our choice
USUAL_Q = 1e-4  # (m/d)^2/d, where too few rows tell: 1 cm/d a day; our choice
USUAL_MEMORIES_D = (0.1, 3.0)  # d, first guess of the coloured noises; our choice


@dataclass(frozen=True)
class AxisMotion:
    """Motion of one axis at the grid's times (m,), honest under the noise of ``model``.

    ``position_m``, ``velocity_m_d`` with sigmas look both ways in time; ``causal_`` ones only
    back, so that none begins before its cause. Without tide and equipment steps; NaN in gaps.
    ``resolution_d``: full width at half height of the response to a sudden slip. ``lag_d``: when
    the causal velocity has followed a step by half. ``tide_m`` and its sigma are at the grid's
    times too; ``tides`` is the table, None where no tide was estimated. ``fit`` says how well the
    series knows its noise; None where the model was given or taken as usual. ``residual`` (n,) is
    measurement minus smoothed motion, tide and steps; NaN in gaps. [m]
    """

    position_m: np.ndarray
    position_sigma_m: np.ndarray
    velocity_m_d: np.ndarray
    velocity_sigma_m_d: np.ndarray
    causal_velocity_m_d: np.ndarray
    causal_sigma_m_d: np.ndarray
    tide_m: np.ndarray
    tide_sigma_m: np.ndarray
    tides: Tides | None
    model: MotionModel
    fit: ParameterFit | None
    resolution_d: float
    lag_d: float
    windows: dict
    residual_m: np.ndarray
    mean_velocity_m_d: float = np.nan
    mean_velocity_sigma_m_d: float = np.nan


@dataclass(frozen=True)
class Motion:
    """All that is known of the motion of one station.

    ``time_ns`` (m,) is a regular grid, ``in_gap`` (m,) marks where nothing was measured near.
    ``rows_ns`` (n,) and ``flow_m`` (n, 3) are the positions used, along, across and up, without
    equipment steps; ``rows_sigma_m`` (n, 3) theirs. ``azimuth_rad`` (m,) is the direction of the
    flow at the grid's times. ``position_m`` of each axis is distance from the reference.
    """

    station: str
    settings: MotionSettings
    time_ns: np.ndarray
    in_gap: np.ndarray
    along: AxisMotion
    across: AxisMotion
    up: AxisMotion
    azimuth_rad: np.ndarray
    path: FlowPath
    latitude_rad: float
    longitude_rad: float
    height_m: float
    rows_ns: np.ndarray
    flow_m: np.ndarray
    rows_sigma_m: np.ndarray
    steps: Steps
    cleaned: Cleaned
    interval_d: float
    notes: tuple = ()
    warnings: tuple = field(default=())

    @property
    def axes(self):
        """The three axes in order."""
        return self.along, self.across, self.up

    @property
    def speed_m_d(self):
        """Speed: the change of the distance along the flow (m,). [m/d]"""
        return self.along.velocity_m_d


def solve_motion(series, settings=None):
    """Return the :class:`Motion` of one station.

    Parameters
    ----------
    series : StationSeries
        From :func:`~stakeline.motion.station_series.series_of` and a function of
        :mod:`stakeline.motion.local`, or built from arrays.
    settings : MotionSettings, optional

    Raises
    ------
    SettingsError
        Shapes that do not fit, impossible settings.
    SolutionError
        Where fewer than ten usable positions are there, or they span no time.

    Notes
    -----
    Outliers are put aside, then a rough tide is taken out, steps found and removed, flow
    coordinates laid, noise and restlessness estimated for each axis by restricted likelihood, and
    position, velocity, tide and what is left of the steps estimated together. Linear in rows.
    """
    settings = settings or MotionSettings()
    tidy = tidied(series)
    rows = tidy.series
    grid = _grid(rows, settings)
    keep, cleaned = _cleaned(rows, settings)
    rows = _rows(rows, keep)
    steps, azimuth = _steps(rows, settings)
    enu = (
        rows.enu_m
        - _equipment(rows.time_ns, steps) @ rotated(steps.only("equipment"), azimuth).size_m
    )
    path, path_notes = _path(rows.time_ns, enu, settings)
    flow = along_path(path, enu, rows.covariance_m2)
    sigma = np.sqrt(np.einsum("nii->ni", flow.covariance_m2))
    axes, warnings = [], []
    for k, name in enumerate(AXES):
        one = _Axis(rows.time_ns, flow.flow_m[:, k], sigma[:, k], steps, settings, k)
        found, said = one.solved(grid)
        axes.append(found)
        warnings += [f"{name}: {sentence}" for sentence in said]
    motion = Motion(
        series.station, settings, grid, np.isnan(axes[0].position_m), *axes,
        np.interp(grid, rows.time_ns, np.unwrap(flow.azimuth_rad)) % (2.0 * np.pi), path,
        series.latitude_rad, series.longitude_rad, series.height_m, rows.time_ns, flow.flow_m,
        sigma, steps, cleaned, float(np.median(np.diff(rows.time_ns))) / NS_PER_DAY,
        tidy.notes, (*path_notes, *path.warnings, *dict.fromkeys(warnings)),
    )  # fmt: skip
    return motion


def _grid(rows, settings):
    """Return the regular times between first and last row, whole multiples of the interval."""
    step = round(settings.interval_h * NS_PER_DAY / 24)
    first, last = -(-rows.time_ns[0] // step), rows.time_ns[-1] // step
    if last - first >= MOST_RESULTS:
        raise SettingsError(
            f"{rows.station}: {iso(rows.time_ns[0])} to {iso(rows.time_ns[-1])} every "
            f"{settings.interval_h} h is more than {MOST_RESULTS} results; give a longer "
            "interval, or correct the dates of a clock that jumped"
        )
    if last < first:
        raise SolutionError(
            f"{rows.station}: the positions span less than the interval of "
            f"{settings.interval_h} h; give a shorter one"
        )
    return np.arange(first, last + 1, dtype=np.int64) * step


def _rows(rows, keep):
    """Return a series with some of its rows."""
    return replace(
        rows,
        time_ns=rows.time_ns[keep],
        enu_m=rows.enu_m[keep],
        covariance_m2=rows.covariance_m2[keep],
    )


def _cleaned(rows, settings):
    """Return (rows to keep (n,), Cleaned): by hand apart, spikes apart, then again without tide."""
    options = {
        "longest_gap_d": settings.longest_gap_d,
        "threshold": settings.outlier_threshold,
        "largest_sigma_m": settings.largest_sigma_m,
    }
    sigma = np.sqrt(np.einsum("nii->ni", rows.covariance_m2))
    held = moved_by_hand(rows.time_ns, rows.by_hand_ns)
    position = np.where(held[:, None], np.nan, rows.enu_m)
    first = find_outliers(rows.time_ns, position, sigma, **options)
    if _too_short_for_tides(rows.time_ns[first.keep], settings):
        _need(rows.station, first.keep)
        return first.keep, first
    quiet = position.copy()
    for k in range(3):
        good = first.keep
        tide, _ = rough_tide(rows.time_ns[good], position[good, k], sigma[good, k])
        quiet[good, k] -= tide
    quiet[~first.keep] = np.nan
    second = find_outliers(rows.time_ns, quiet, sigma, **options)
    reason = np.where(first.keep, second.reason, first.reason)
    counts = dict(second.counts)
    for name, count in first.counts.items():
        if name in ("missing", "uncertain"):
            counts[name] = count
        elif name in ("spike", "edge"):
            counts[name] += count
    keep = second.keep & first.keep
    _need(rows.station, keep)
    return keep, replace(second, keep=keep, reason=reason, counts=counts)


def _need(station, keep):
    if keep.sum() < LEAST_USED:
        raise SolutionError(
            f"{station}: {int(keep.sum())} positions are left after outliers were put aside; "
            f"motion needs {LEAST_USED}"
        )


LEAST_USED = 8  # our choice


def _too_short_for_tides(time_ns, settings):
    if not settings.remove_tide or len(time_ns) < LEAST_FOR_NOISE:
        return True
    return np.ptp(time_ns) < settings.shortest_tide_record_d * NS_PER_DAY


def _steps(rows, settings):
    """Return (Steps along, across, up of the mean flow, its azimuth)."""
    time_ns, position = rows.time_ns, rows.enu_m
    path = _straight(time_ns, position, settings)
    flow = along_path(path, position, rows.covariance_m2)
    sigma = np.sqrt(np.einsum("nii->ni", flow.covariance_m2))
    quiet = flow.flow_m.copy()
    if not _too_short_for_tides(time_ns, settings):
        for k in range(3):
            quiet[:, k] -= rough_tide(time_ns, quiet[:, k], sigma[:, k])[0]
    if len(time_ns) > STEP_ROWS:
        time_ns, quiet, sigma = _means(time_ns, quiet, sigma)
    search = settings.find_steps and len(time_ns) >= LEAST_FOR_NOISE
    models = None if len(time_ns) >= LEAST_FOR_NOISE else [_usual(sigma[:, k], 1) for k in range(3)]
    try:
        found = find_steps(
            time_ns, quiet, sigma, models, logged_ns=rows.logged_ns, search_unlogged=search
        )
    except SolutionError:
        models = [_usual(sigma[:, k], 1) for k in range(3)]
        found = find_steps(
            time_ns, quiet, sigma, models, logged_ns=rows.logged_ns, search_unlogged=False
        )
    return found, path.azimuth_rad


def _means(time_ns, position, sigma):
    """Return means of equal pieces of time: times, positions, sigmas."""
    parts = [thinned(time_ns, position[:, k], sigma[:, k], None, STEP_ROWS)[:3] for k in range(3)]
    return (
        parts[0][0],
        np.stack([part[1] for part in parts], axis=1),
        np.stack([part[2] for part in parts], axis=1),
    )


def _equipment(time_ns, steps):
    """Return the regressors (n, k) of the steps that the equipment made."""
    return step_design(time_ns, steps.only("equipment"))


def _straight(time_ns, enu_m, settings):
    if settings.path == "fixed":
        return fixed_path(np.radians(settings.azimuth_deg))
    return straight_path(time_ns, enu_m)


def _path(time_ns, enu_m, settings):
    """Return (FlowPath, notes): a bending path that cannot be followed becomes a straight one."""
    if settings.path != "bending":
        return _straight(time_ns, enu_m, settings), ()
    try:
        return smooth_path(time_ns, enu_m), ()
    except StakelineError as problem:
        return straight_path(time_ns, enu_m), (f"the mean direction is used: {problem}",)


def _usual(sigma_m, noises):
    """Return a model for a series too short to tell its noise."""
    typical = float(np.median(sigma_m))
    return MotionModel(USUAL_Q, np.inf, (typical,) * noises, USUAL_MEMORIES_D[:noises])


class _Axis:
    """One axis on its way: rows, regressors, model, estimates."""

    def __init__(self, time_ns, position_m, sigma_m, steps, settings, axis):
        self.time_ns, self.position, self.sigma = time_ns, position_m, sigma_m
        self.settings, self.axis, self.steps = settings, axis, steps
        self.terms, self.quiet = TideTerms(), position_m
        if not _too_short_for_tides(time_ns, settings):
            tide, self.terms = rough_tide(time_ns, position_m, sigma_m)
            self.quiet = position_m - tide
        self.step_columns = _told(_equipment(time_ns, steps))

    def solved(self, grid):
        """Return (AxisMotion, warnings)."""
        model, fit, said = self.model()
        tide_design = self.terms.design(self.time_ns)
        design = np.hstack([tide_design, self.step_columns])
        both = np.union1d(grid, self.time_ns)
        options = {
            "longest_gap_d": self.settings.longest_gap_d,
            "velocity_limit_m_d": self.settings.velocity_limit_m_d,
        }
        given = (self.time_ns, self.position, self.sigma, model, design)
        found = smooth(*given, at_ns=both, **options)
        causal = filtered(*given, at_ns=grid, **options)
        at_grid, at_rows = np.isin(both, grid), np.isin(both, self.time_ns)
        share = design @ found.regression_value
        residual = self.position - found.position_m[at_rows] - share
        tides, tide, tide_sigma, more = self.tide(
            found, residual + tide_design @ _head(found.regression_value, tide_design), grid
        )
        shape = self.figures(model)
        windows = self.windows(model, self.position - share)
        return AxisMotion(
            found.position_m[at_grid], found.position_sigma_m[at_grid],
            found.velocity_m_d[at_grid], found.velocity_sigma_m_d[at_grid],
            causal.velocity_m_d, causal.velocity_sigma_m_d, tide, tide_sigma, tides, model, fit,
            *shape, windows, residual, *_mean_velocity(found, at_rows),
        ), (*said, *more)  # fmt: skip

    def model(self):
        """Return (MotionModel, ParameterFit or None, warnings)."""
        if self.settings.models:
            return self.settings.models[self.axis], None, ()
        start = _usual(self.sigma, self.settings.coloured_noises)
        if len(self.time_ns) < LEAST_FOR_NOISE:
            said = f"{len(self.time_ns)} positions are too few to estimate their noise: taken as"
            return start, None, (f"{said} coloured like their sigmas",)
        rows = self.settings.likelihood_rows
        fit = fit_model(
            self.time_ns, self.quiet, self.sigma, start, self.step_columns, samples=rows
        )
        return fit.model, fit, ()

    def tide(self, found, remainder, grid):
        """Return (Tides or None, tide at the grid, its sigma, warnings)."""
        nothing = np.zeros(len(grid))
        k = 2 * len(self.terms.names)
        good = np.isfinite(remainder)
        if not k or good.sum() < k + 4:
            return None, nothing, nothing, ()
        tides = tides_of(
            self.terms, self.time_ns[good], remainder[good], self.sigma[good],
            found.regression_value[:k], found.regression_covariance[:k, :k],
        )  # fmt: skip
        return tides, predict(tides, grid), prediction_sigma(tides, grid), tides.warnings

    def figures(self, model):
        """Return (effective resolution, lag of the causal velocity); NaN where wider than known."""
        interval = float(np.median(np.diff(self.time_ns))) / NS_PER_DAY
        sigma = float(np.median(self.sigma))
        try:
            width = response("smooth", model, interval, sigma).width_d
            return width, response("filtered", model, interval, sigma).lag_d
        except SolutionError:
            return np.nan, np.nan

    def windows(self, model, position):
        """Return {window [d]: Windows} of the positions without tide and steps."""
        return {
            length: window_velocities(
                self.time_ns,
                position,
                self.sigma,
                length,
                coloured_sigma_m=model.coloured_sigma_m,
                coloured_memory_d=model.coloured_memory_d,
                white_scale=model.white_scale,
                longest_gap_d=max(self.settings.longest_gap_d, length / 2.0),
            )  # fmt: skip
            for length in self.settings.window_d
        }


def _head(values, columns):
    """Return the first of the values, one for each column."""
    return values[: columns.shape[1]]


def _told(design):
    """Return the columns that change within the rows."""
    return design[:, np.ptp(design, axis=0) > 0.0] if len(design) else design


def _mean_velocity(found, at_rows):
    """Return (net travel over time, its sigma) between the first and last estimate. [m/d]"""
    there = np.flatnonzero(at_rows & np.isfinite(found.position_m))
    if len(there) < 2:
        return np.nan, np.nan
    first, last = there[0], there[-1]
    days = (found.time_ns[last] - found.time_ns[first]) / NS_PER_DAY
    sigma = np.hypot(found.position_sigma_m[first], found.position_sigma_m[last])
    return (
        float((found.position_m[last] - found.position_m[first]) / days),
        float(sigma / days),
    )
