"""How a station on the glacier moves, at any instant: flow, tide, uplift, steps."""

from dataclasses import dataclass

import numpy as np

from .ground import Place

M2_S = 12.4206012 * 3600.0  # s, principal lunar tide; Doodson & Warburg (1941), table of tides
S2_S = 12.0 * 3600.0  # s, principal solar tide; definition
DAY_S = 86400.0  # s/d; definition


@dataclass(frozen=True)
class Uplift:
    """The ice is lifted over a filling cavity and sinks back more slowly."""

    height_m: float
    begin_s: float
    rise_s: float
    fall_s: float

    def __call__(self, time_s):
        """Return the height at times (n,): a smooth rise, then an exponential fall. [m]"""
        since = np.asarray(time_s, float) - self.begin_s
        rising = np.clip(since / self.rise_s, 0.0, 1.0)
        height = self.height_m * rising**2 * (3.0 - 2.0 * rising)
        after = np.maximum(since - self.rise_s, 0.0) / self.fall_s
        return height * 0.5 * (1.0 + np.exp(-(after**2)))


@dataclass(frozen=True)
class Motion:
    """Flow with daily rhythm, tide, uplift and steps of one marker.

    Attributes
    ----------
    place : Place
        Where the marker stands at ``time_s = 0``, all else left aside.
    speed_m_d, azimuth_rad : float
        Mean flow and its direction from north over east.
    slope : float
        Descent by metre of flow.
    daily_share : float
        Amplitude of the daily rhythm of the speed, as a share of it; fastest at 18 h.
    tide_m, tide_phase_rad : float
        Amplitude of the ocean's tide M2 in height; S2 has a third of it. The flow answers with a
        tenth of it along its direction, a quarter of a tide later.
    uplift : Uplift or None
    steps : tuple of (time_s, east_m, north_m, up_m)
        What hands did to the marker; from the instant on.
    """

    place: Place
    speed_m_d: float = 1.1
    azimuth_rad: float = 0.0
    slope: float = 0.02
    daily_share: float = 0.15
    tide_m: float = 0.0
    tide_phase_rad: float = 0.0
    uplift: Uplift | None = None
    steps: tuple = ()

    def displacement_m(self, time_s):
        """Return east, north, up (n, 3) of the marker from its place, at times (n,). [m]"""
        time_s = np.asarray(time_s, float)
        angle = 2.0 * np.pi * (time_s / DAY_S - 0.75)
        rhythm = self.daily_share * (np.sin(angle) - 1.0) / (2.0 * np.pi)  # 0 at the start
        flow = self.speed_m_d * (time_s / DAY_S + rhythm)
        tide, answer = self._tide(time_s)
        along = flow + answer
        up = tide - self.slope * flow
        if self.uplift is not None:
            up = up + self.uplift(time_s)
        moved = np.stack(
            [along * np.sin(self.azimuth_rad), along * np.cos(self.azimuth_rad), up], axis=1
        )
        for begin_s, *step in self.steps:
            moved[time_s >= begin_s] += step
        return moved

    def _tide(self, time_s):
        """Return the tide's height and the answer of the flow (n,). [m]"""
        m2 = 2.0 * np.pi * time_s / M2_S - self.tide_phase_rad
        s2 = 2.0 * np.pi * time_s / S2_S - 1.3 * self.tide_phase_rad
        height = self.tide_m * (np.cos(m2) + np.cos(s2) / 3.0)
        return height, 0.1 * self.tide_m * (np.sin(m2) + np.sin(s2) / 3.0)

    def position_m(self, time_s):
        """Return the Earth-fixed marker (n, 3) without the tide of the solid Earth. [m]"""
        return self.place.position_m + self.displacement_m(time_s) @ self.place.axes
