"""How the motion of a station is worked out: every choice with its unit and its default."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError

PATHS = ("bending", "straight", "fixed")
SLOPES = ("automatic", "own path", "grid", "given", "none")


@dataclass(frozen=True)
class MotionSettings:
    """Choices of :func:`~stakeline.motion.solve.solve_motion`; defaults are ours.

    Attributes
    ----------
    interval_h : float
        Spacing of the results. [h]
    path : str
        ``bending`` (a smooth curve through the positions), ``straight`` (the mean direction), or
        ``fixed`` (``azimuth_deg``).
    azimuth_deg : float
        Direction of the flow, clockwise from north, where it is fixed. [deg]
    longest_gap_d : float
        No motion is given inside a longer gap of the positions. [d]
    velocity_limit_m_d : float
        No motion is given where the sigma of a velocity is larger. [m/d]
    outlier_threshold : float
        Misfit to both sides, in robust sigmas, above which a row is put aside.
    largest_sigma_m : float
        Rows with a larger formal sigma are put aside. [m]
    find_steps : bool
        Search equipment steps that no log names; logged ones are always estimated.
    remove_tide : bool
        Estimate the tide with the motion and take it out of position and velocity.
    shortest_tide_record_d : float
        Tides are estimated in records that are longer. [d]
    coloured_noises : int
        Gauss-Markov noises of the measurement, 0 to 2, whose size and memory are estimated.
    long_noise_m : tuple
        Sigmas along, across and up of noise with a memory of 4 d, of orbits and frame, that a
        station cannot tell from its motion: taken as given beside what is estimated, unless two
        coloured noises are. The defaults are what flicker of 7 mm/a^0.25 level and 19 mm/a^0.25
        up (daily positions of the whole Earth, Williams et al. 2004, JGR 109, B03412, from memory)
        leaves over three e-folds of memory; take 0 beside a base station near by. [m]
    likelihood_rows : int
        The series is thinned to so many rows to estimate noise and restlessness of the motion.
    window_d : tuple of float
        Windows, 1 h to 30 d, of straight-line velocities beside the smoother's. [d]
    slope_source : str
        Where the slope that the station moves down comes from: ``own path``, ``grid`` (of the
        surface; the own path where none covers the station), ``given``, ``none``; ``automatic``:
        given, else a grid, else the own path.
    slope, slope_sigma : float
        Rise of the surface by metre of travel, negative downhill, where it is given. The sigma
        alone is that of a grid, beside what its roughness shows.
    slope_length_m : float
        A grid of the surface is averaged over this length; the default is about a thickness of
        thin outlet glaciers, common practice without a source. [m]
    barometer_share, barometer_share_sigma : float
        Share of the inverse barometer by which floating ice follows the pressure of the air: 1 for
        ice that floats freely, 0 on the ground; NaN leaves it out.
    vertical_strain_m_a, vertical_strain_sigma_m_a : float
        Rise of the surface by strain of the ice, where it is known; NaN leaves it out. [m/a]
    settling_m_a, settling_sigma_m_a : float
        Sinking of the pole in snow and firn, positive down; NaN leaves it out. [m/a]
    models : tuple
        Three :class:`~stakeline.motion.smoother.MotionModel`, of along, across and up, used
        instead of estimates; or empty.
    """

    interval_h: float = 1.0
    path: str = "bending"
    azimuth_deg: float = np.nan
    longest_gap_d: float = 1.0
    velocity_limit_m_d: float = 1.0
    outlier_threshold: float = 5.0
    largest_sigma_m: float = np.inf
    find_steps: bool = True
    remove_tide: bool = True
    shortest_tide_record_d: float = 14.0
    coloured_noises: int = 1
    long_noise_m: tuple = (0.0016, 0.0016, 0.0043)
    likelihood_rows: int = 12_000
    window_d: tuple = (1.0, 7.0)
    slope_source: str = "automatic"
    slope: float = np.nan
    slope_sigma: float = 0.0
    slope_length_m: float = 500.0
    barometer_share: float = np.nan
    barometer_share_sigma: float = 0.0
    vertical_strain_m_a: float = np.nan
    vertical_strain_sigma_m_a: float = 0.0
    settling_m_a: float = np.nan
    settling_sigma_m_a: float = 0.0
    models: tuple = ()

    def __post_init__(self):
        if self.path not in PATHS:
            raise SettingsError(f"path '{self.path}' is not known; known are {', '.join(PATHS)}")
        if self.slope_source not in SLOPES:
            known = ", ".join(SLOPES)
            raise SettingsError(f"slope_source '{self.slope_source}'; known are {known}")
        if self.slope_source == "given" and not np.isfinite(self.slope):
            raise SettingsError("slope_source is 'given', but no slope is given")
        if not (self.slope_length_m >= 0.0 and self.barometer_share_sigma >= 0.0):
            raise SettingsError("slope_length_m and barometer_share_sigma must be 0 or more")
        if self.path == "fixed" and not np.isfinite(self.azimuth_deg):
            raise SettingsError("a fixed path needs azimuth_deg, clockwise from north")
        positive = (self.interval_h, self.longest_gap_d, self.velocity_limit_m_d)
        positive += (self.outlier_threshold, self.largest_sigma_m, self.shortest_tide_record_d)
        if not all(value > 0.0 for value in positive):
            raise SettingsError("intervals, limits, gaps and thresholds must be more than 0")
        if self.coloured_noises not in (0, 1, 2) or self.likelihood_rows < 50:
            raise SettingsError(
                f"{self.coloured_noises} coloured noises from {self.likelihood_rows} rows; "
                "expected 0 to 2, from at least 50 rows"
            )
        if len(self.long_noise_m) != 3 or not all(s >= 0.0 for s in self.long_noise_m):
            raise SettingsError(
                f"long_noise_m is {self.long_noise_m}; expected three sigmas of at least 0"
            )
        if len(self.models) not in (0, 3):
            raise SettingsError(f"{len(self.models)} models; expected none or three")
