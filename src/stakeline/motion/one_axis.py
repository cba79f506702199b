"""One axis of a station: noise, tide, steps, position and velocity estimated together."""

from dataclasses import replace

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SolutionError
from .likelihood import fit_model
from .mean_rate import mean_rate
from .motion_record import AxisMotion
from .response import response
from .restlessness import in_parts as restless_parts
from .restlessness import restless_part, usual_part
from .rows import covered_d
from .smoother import MotionModel, filtered, smooth
from .tide_terms import TideTerms, rough_tide, tides_of
from .tides import predict, prediction_sigma
from .windows import window_velocities

LEAST_FOR_NOISE = 40  # rows from which noise is estimated; our choice
USUAL_Q = 1e-4  # (m/d)^2/d, where too few rows tell: 1 cm/d a day; our choice
USUAL_MEMORIES_D = (0.1, 3.0)  # d, first guess of the coloured noises; our choice
LONG_MEMORY_D = 4.0  # d, of the noise of days: middle of the three e-folds it stands for


def with_long_noise(model, sigma_m):
    """Return a :class:`MotionModel` with noise of days beside its own, where it has at most one."""
    if len(model.coloured_sigma_m) > 1 or not sigma_m:
        return model
    return replace(
        model,
        coloured_sigma_m=(*model.coloured_sigma_m, sigma_m),
        coloured_memory_d=(*model.coloured_memory_d, LONG_MEMORY_D),
    )


def usual_model(sigma_m, noises):
    """Return a :class:`MotionModel` for a series too short to tell its noise."""
    typical = float(np.median(sigma_m))
    return MotionModel(USUAL_Q, np.inf, (typical,) * noises, USUAL_MEMORIES_D[:noises])


def too_short_for_tides(time_ns, settings):
    """Tell whether no tide is estimated: not asked for, few rows, or a short record."""
    if not settings.remove_tide or len(time_ns) < LEAST_FOR_NOISE:
        return True
    return covered_d(time_ns) < settings.shortest_tide_record_d


def solve_axis(time_ns, position_m, sigma_m, step_columns, grid_ns, settings, axis, given=None):
    """Return (AxisMotion, warnings) of one axis.

    Parameters
    ----------
    time_ns, position_m, sigma_m : array (n,)
        Ascending, finite. [ns], [m]
    step_columns : array (n, k)
        Regressors of steps, whose sizes are estimated with the motion.
    grid_ns : array (m,)
        Times of the results. [ns]
    settings : MotionSettings
    axis : int
        0 along, 1 across, 2 up.
    given : MotionModel, optional
        Noise and restlessness; estimated where it is not given.
    """
    one = _Axis(time_ns, position_m, sigma_m, step_columns, settings, axis)
    return one.solved(grid_ns, given)


def axis_model(time_ns, position_m, sigma_m, step_columns, settings, axis):
    """Return the :class:`MotionModel` of one axis with one restlessness for the whole record.

    Arguments of :func:`solve_axis`.
    """
    one = _Axis(time_ns, position_m, sigma_m, step_columns, settings, axis)
    return one.model(in_parts=False)[0]


class _Axis:
    """One axis on its way: rows, regressors, estimates."""

    def __init__(self, time_ns, position_m, sigma_m, step_columns, settings, axis):
        self.time_ns, self.position, self.sigma = time_ns, position_m, sigma_m
        self.long_m = settings.long_noise_m[axis]
        self.settings, self.step_columns = settings, step_columns
        self.terms, self.quiet = TideTerms(), position_m
        if not too_short_for_tides(time_ns, settings):
            tide, self.terms = rough_tide(time_ns, position_m, sigma_m)
            self.quiet = position_m - tide
        self.tide_columns = self.terms.design(time_ns)

    def solved(self, grid, given):
        """Return (AxisMotion, warnings)."""
        model, fit, said = (given, None, ()) if given else self.model()
        design = np.hstack([self.tide_columns, self.step_columns])
        both = np.union1d(grid, self.time_ns)
        options = {
            "longest_gap_d": self.settings.longest_gap_d,
            "velocity_limit_m_d": self.settings.velocity_limit_m_d,
        }
        series = (self.time_ns, self.position, self.sigma, model, design)
        found = smooth(*series, at_ns=both, **options)
        causal = filtered(*series, at_ns=grid, **options)
        at_grid, at_rows = np.isin(both, grid), np.isin(both, self.time_ns)
        position = self.position - design @ found.regression_value
        residual = position - found.position_m[at_rows]
        tides, more = self.tides(found, residual)
        nothing = np.zeros(len(grid))
        return AxisMotion(
            found.position_m[at_grid], found.position_sigma_m[at_grid],
            found.velocity_m_d[at_grid], found.velocity_sigma_m_d[at_grid],
            causal.velocity_m_d, causal.velocity_sigma_m_d,
            predict(tides, grid) if tides else nothing,
            prediction_sigma(tides, grid) if tides else nothing,
            tides, model, fit, *self.figures(model), self.windows(model, position),
            position, residual, *_mean_velocity(found), *self.steps(found),
            mean_rate(self.time_ns, position, self.sigma, self.step_columns),
        ), (*said, *more)  # fmt: skip

    def model(self, in_parts=True):
        """Return (MotionModel, ParameterFit or None, warnings).

        Parts of different restlessness are found with the usual noise, the noise is estimated with
        these, and the parts are found again with that.
        """
        start = usual_model(self.sigma, self.settings.coloured_noises)
        if len(self.time_ns) < LEAST_FOR_NOISE:
            said = f"{len(self.time_ns)} positions are too few to estimate their noise"
            return start, None, (f"{said}: it is taken as large as their sigmas, for hours",)
        series = self.time_ns, self.quiet, self.sigma
        parted = restless_parts(*series, start, self.step_columns) if in_parts else start
        begin = parted if parted.change_ns else start
        fit = fit_model(*series, begin, self.step_columns, samples=self.settings.likelihood_rows)
        model = fit.model
        if parted.change_ns:
            model = restless_parts(*series, model, self.step_columns)
        return with_long_noise(model, self.long_m), fit, ()

    def tides(self, found, residual):
        """Return (Tides or None, warnings)."""
        k = 2 * len(self.terms.names)
        good = np.isfinite(residual)
        if not k or good.sum() < k + 4:
            return None, ()
        value = found.regression_value[:k]
        tides = tides_of(
            self.terms, self.time_ns[good], (residual + self.tide_columns @ value)[good],
            self.sigma[good], value, found.regression_covariance[:k, :k],
        )  # fmt: skip
        return tides, tides.warnings

    def figures(self, model):
        """Return (resolution, lag of the causal velocity, resolution where the ice is restless).

        NaN where wider than known.
        """
        interval = float(np.median(np.diff(self.time_ns))) / NS_PER_DAY
        sigma = float(np.median(self.sigma))
        usual, restless = usual_part(model, self.time_ns[0], self.time_ns[-1]), restless_part(model)

        def answer(kind, one):
            try:
                return response(kind, one, interval, sigma)
            except SolutionError:
                return None

        width, lag = answer("smooth", usual), answer("filtered", usual)
        sharp = answer("smooth", restless) if model.change_ns else width
        return (
            width.width_d if width else np.nan,
            lag.lag_d if lag else np.nan,
            sharp.width_d if sharp else np.nan,
        )

    def steps(self, found):
        """Return what is left of the steps (k,) and its covariance (k, k). [m], [m2]"""
        k = self.tide_columns.shape[1]
        return found.regression_value[k:], found.regression_covariance[k:, k:]

    def windows(self, model, position):
        """Return {window [d]: Windows} of the positions without tide and steps."""
        noise = {
            "coloured_sigma_m": model.coloured_sigma_m,
            "coloured_memory_d": model.coloured_memory_d,
            "white_scale": model.white_scale,
        }
        longest = self.settings.longest_gap_d
        return {
            days: window_velocities(
                self.time_ns, position, self.sigma, days,
                longest_gap_d=max(longest, 0.5 * days), **noise,
            )
            for days in self.settings.window_d
        }  # fmt: skip


def _mean_velocity(found):
    """Return (net travel over time, its sigma) between the first and last estimate. [m/d]"""
    there = np.flatnonzero(np.isfinite(found.position_m))
    if len(there) < 2:
        return np.nan, np.nan
    first, last = there[0], there[-1]
    days = (found.time_ns[last] - found.time_ns[first]) / NS_PER_DAY
    sigma = np.hypot(found.position_sigma_m[first], found.position_sigma_m[last])
    travel = found.position_m[last] - found.position_m[first]
    return float(travel / days), float(sigma / days)
