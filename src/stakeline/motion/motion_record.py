"""What is known of the motion of one station, as records."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError
from .cleaning import Cleaned
from .flow import FlowPath
from .likelihood import ParameterFit
from .mean_rate import MeanRate
from .motion_settings import MotionSettings
from .slopes import PathSlope
from .smoother import MotionModel
from .steps import Steps
from .tides import Tides
from .vertical import HeightBudget

AXES = ("along", "across", "up")


@dataclass(frozen=True)
class AxisMotion:
    """Motion of one axis at the grid's times (m,), honest under the noise of ``model``.

    ``position_m``, ``velocity_m_d`` with sigmas look both ways in time; ``causal_`` ones only
    back, so that none begins before its cause. Without tide and equipment steps; NaN in gaps.
    ``resolution_d``: full width at half height of the response to a sudden slip, in the usual part
    of the record, ``restless_resolution_d`` in the most restless one. ``lag_d``: when the causal
    velocity has followed a step by half. ``tide_m`` and its sigma are at the grid's
    times too; ``tides`` is the table, None where no tide was estimated. ``fit`` says how well the
    series knows its noise; None where the model was given or taken as usual. ``windows`` holds
    :class:`~stakeline.motion.windows.Windows` by their length [d]. At the rows used (n,):
    ``row_position_m`` is measured, without tide and equipment steps, and ``row_residual_m`` the
    same minus the smoothed position (NaN in gaps). ``mean_velocity_m_d``: net travel over time;
    ``mean_rate``: the same under white and power-law noise.
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
    restless_resolution_d: float
    windows: dict
    row_position_m: np.ndarray
    row_residual_m: np.ndarray
    mean_velocity_m_d: float
    mean_velocity_sigma_m_d: float
    step_m: np.ndarray
    step_covariance_m2: np.ndarray
    mean_rate: MeanRate


@dataclass(frozen=True)
class Vertical:
    """The height taken apart, and what is left for bed, lakes and unknowns.

    ``budget`` is at the grid's times: measured (smoothed height with tide and equipment steps) =
    terms + residual. ``residual_up_m`` and ``sigma_m`` (m,) are its residual and whole sigma;
    ``raw_residual_m`` (m,) is the same from the mean of the positions measured within half an
    interval, not smoothed. ``slope`` is that of the station's own path, None where there is none.
    ``sources``: residual with each source of the slope (tuple of SlopeChoice). ``slope_source``:
    the one taken; ``grid`` the name of the surface's grid, blank where none covers the station.
    """

    budget: HeightBudget
    residual_up_m: np.ndarray
    sigma_m: np.ndarray
    raw_residual_m: np.ndarray
    slope: PathSlope | None
    sources: tuple = ()
    slope_source: str = "none"
    grid: str = ""


@dataclass(frozen=True)
class Motion:
    """All that is known of the motion of one station.

    ``time_ns`` (m,) is a regular grid, ``in_gap`` (m,) marks where nothing was measured near.
    ``rows_ns`` (n,) are the positions used and ``rows_sigma_m`` (n, 3) their sigmas along, across
    and up; ``azimuth_rad`` (m,) is the direction of the flow at the grid's times. ``position_m`` of
    each axis is distance from the reference. ``leans`` (tuple of
    :class:`~stakeline.motion.leaning.Lean`): times at which the pole was found leaning. ``solar``
    (3 tuples of :class:`~stakeline.motion.solar.SolarWave`) and ``midnights`` (3) by axis.
    """

    station: str
    settings: MotionSettings
    time_ns: np.ndarray
    in_gap: np.ndarray
    along: AxisMotion
    across: AxisMotion
    up: AxisMotion
    vertical: Vertical
    azimuth_rad: np.ndarray
    path: FlowPath
    latitude_rad: float
    longitude_rad: float
    height_m: float
    rows_ns: np.ndarray
    rows_sigma_m: np.ndarray
    steps: Steps
    cleaned: Cleaned
    notes: tuple = ()
    warnings: tuple = ()
    leans: tuple = ()
    solar: tuple = ((), (), ())
    midnights: tuple = ()

    @property
    def axes(self):
        """The three axes in order."""
        return self.along, self.across, self.up

    @property
    def speed_m_d(self):
        """Speed: the change of the distance along the flow (m,). [m/d]"""
        return self.along.velocity_m_d

    @property
    def interval_d(self):
        """Usual distance of the positions used. [d]"""
        return float(np.median(np.diff(self.rows_ns))) / NS_PER_DAY

    def axis(self, name):
        """Return one axis by its name."""
        if name not in AXES:
            raise SettingsError(f"axis '{name}' is not known; known are {', '.join(AXES)}")
        return getattr(self, name)
