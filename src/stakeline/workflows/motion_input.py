"""Positions of a campaign as the series that motion is worked out from."""

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError
from ..motion.local import local_from_xyz
from ..motion.station_series import series_of
from .motion_around import surroundings
from .one_frame import unlike_frames
from .position_tables import framed_positions
from .series import positions_of

UNUSED_STATES = ("no solution",)
LOG_MARGIN_H = 1.0  # h, a visit's hour in the log is known so well; our choice
STEP_KINDS = ("raise", "swap")


def campaign_series(campaign, station, history=None, by_hand_ns=(), protect_ns=()):
    """Return the :class:`StationSeries` of a campaign's station.

    Parameters
    ----------
    campaign : Campaign
    station : str
    history : StationHistory, optional
        Its moved marks, raises and swaps are steps. A new antenna height is none by itself: the
        positions are those of the marker.
    by_hand_ns : tuple
        Intervals in which somebody held the antenna. [ns]
    protect_ns : tuple
        Intervals of which no row is put aside as an outlier. [ns]

    Raises
    ------
    SettingsError
        Where the station has no positions, or tables without a frame beside others with one.
    """
    columns, frames, said = framed_positions(campaign, station)
    count = len(columns["time_gps"])
    if not count:
        left = f" ({'; '.join(said)})" if said else "; run 'stakeline position'"
        raise SettingsError(f"{station}: no positions in 4-position/{left}")
    if len(frames) > 1:
        raise unlike_frames(station, frames)
    positions = positions_of(columns, frames[0])
    state = np.asarray(positions.state).astype(str)
    xyz = np.where(np.isin(state, UNUSED_STATES)[:, None], np.nan, positions.position_m)
    if not np.isfinite(xyz).all(axis=1).any():
        raise SettingsError(f"{station}: none of {count} rows holds a position")
    local = local_from_xyz(xyz, positions.covariance_m2)
    return series_of(
        station,
        positions.time_ns,
        local,
        logged_ns=logged_steps(history),
        by_hand_ns=by_hand_ns,
        protect_ns=protect_ns,
        around=surroundings(campaign, station, history),
        notes=said,
    )


def logged_steps(history):
    """Return intervals (begin, end) of a history's visits that may have moved the marker. [ns]"""
    if history is None:
        return ()
    margin = round(LOG_MARGIN_H * NS_PER_DAY / 24)
    moved = [
        visit.time_ns
        for visit in history.content.visit[1:]
        if visit.marker_moved is not None or visit.kind in STEP_KINDS
    ]
    return tuple((time_ns - margin, time_ns + margin) for time_ns in moved)
