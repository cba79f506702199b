"""The motion of one station: from positions to velocity, tides, steps and residual up."""

from dataclasses import replace

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from ..time import iso
from .barometer import air_answer
from .height import height_of, rise
from .leaning import leans_of
from .midnight import midnight_warnings, midnights
from .motion_record import AXES, AxisMotion, Motion, Vertical
from .motion_settings import MotionSettings
from .one_axis import axis_model, solve_axis
from .preparation import equipment_design, places_of, prepared, with_joint_sizes
from .solar import solar_warnings, solar_waves
from .station_series import StationSeries, covariance_of, series_of, tidied

__all__ = [
    "AXES",
    "AxisMotion",
    "Motion",
    "MotionSettings",
    "StationSeries",
    "Vertical",
    "covariance_of",
    "rise",
    "series_of",
    "solve_motion",
]

MOST_RESULTS = 3_000_000  # grid rows of one station: 34 years of 6 min; our choice


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
    Outliers are put aside, a rough tide is taken out, steps are found and removed, flow
    coordinates laid, noise and restlessness estimated for each axis by restricted likelihood, and
    position, velocity, tide and what is left of the steps estimated together. Linear in rows.
    """
    settings = settings or MotionSettings()
    tidy, around = tidied(series), series.around
    air, said_of_air = air_answer(tidy.series.time_ns, settings, around.air)
    rows = tidy.series if air is None else _without_air(tidy.series, air)
    grid = _grid(tidy.series, settings)
    ready = prepared(rows, settings, lambda first: _models(first, settings))
    time_ns, (axes, warnings) = ready.rows.time_ns, _axes(ready, grid, settings)
    steps = with_joint_sizes(ready.steps, axes)
    hidden = np.isnan(axes[0].position_m)
    places = places_of(ready, grid, hidden)
    vertical, said = height_of(
        grid, time_ns, axes[0], axes[2], steps, settings, around.surfaces, places, air
    )
    leans = leans_of(
        grid, axes[1].position_m, vertical.residual_up_m, steps, ready.path.azimuth_rad,
        around.visits,
    )  # fmt: skip
    solar, nights, doubts = _days(axes, time_ns, series.longitude_rad)
    azimuth = np.interp(grid, time_ns, np.unwrap(ready.azimuth_rad)) % (2.0 * np.pi)
    return Motion(
        series.station, settings, grid, hidden, *axes, vertical, azimuth,
        ready.path, series.latitude_rad, series.longitude_rad, series.height_m, time_ns,
        ready.sigma_m, steps, ready.cleaned, (*tidy.notes, *around.notes, *ready.notes),
        (*ready.warnings, *said_of_air, *warnings, *doubts, *said,
         *(lean.sentence for lean in leans)),
        leans, solar, nights,
    )  # fmt: skip


def _axes(ready, grid, settings):
    """Return three AxisMotion and their warnings."""
    time_ns = ready.rows.time_ns
    columns = equipment_design(time_ns, ready.steps)
    axes, warnings = [], []
    for k, name in enumerate(AXES):
        model = settings.models[k] if settings.models else None
        rows = time_ns, ready.flow_m[:, k], ready.sigma_m[:, k]
        found, said = solve_axis(*rows, columns, grid, settings, k, model)
        axes.append(found)
        warnings += [f"{name}: {sentence}" for sentence in said]
    return axes, warnings


def _days(axes, time_ns, longitude_rad):
    """Return (SolarWave of each axis, Midnights of each axis, sentences on what is suspicious)."""
    solar = tuple(solar_waves(axis, time_ns, longitude_rad) for axis in axes)
    nights = tuple(midnights(time_ns, axis.row_residual_m) for axis in axes)
    doubts = [
        s for name, found in zip(AXES, solar, strict=True) for s in solar_warnings(name, found)
    ]
    for name, found in zip(AXES, nights, strict=True):
        doubts += midnight_warnings(name, found)
    return solar, nights, doubts


def _without_air(rows, air):
    """Return rows whose heights are those without the answer of floating ice to the air."""
    answer = air.bridged_m(rows.time_ns)
    return replace(rows, enu_m=rows.enu_m - answer[:, None] * [0.0, 0.0, 1.0])


def _models(ready, settings):
    """Return three models: those given, or estimated from rows with their steps as regressors."""
    if settings.models:
        return settings.models
    columns = equipment_design(ready.rows.time_ns, ready.steps)
    rows = [(ready.rows.time_ns, ready.flow_m[:, k], ready.sigma_m[:, k]) for k in range(3)]
    return tuple(axis_model(*rows[k], columns, settings, k) for k in range(3))


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
