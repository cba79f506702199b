"""From the results of the verb ``motion`` to the heights that a lake's events are looked for in."""

import numpy as np
from scipy.ndimage import gaussian_filter1d

from ..constants import NS_PER_DAY
from ..errors import SettingsError
from ..lakes.combined import StationUp
from ..time import from_iso
from .motion_results import ns, number

RAW = "residual_up_unsmoothed_m"
SLOPE_D = 30.0  # d, sigma of the window over which travel is smoothed as a regressor; choice
KNOWN_STEP_M = 0.01  # m, sigma of a step up, to which one that motion took out is known; choice
LEAST_TRAVEL_M = 0.01  # m, of travel off a straight line, below which no slope is fitted; choice
_LARGE_STEP_M = 0.03  # m, of a step that motion took out, from which it is told; choice
_NORMAL_BY_MEDIAN = 1.4826  # -, sigma over the median size of a normal deviate; definition
_LEAST_SIGMA_M = 1e-4  # m, of a height; choice
_UNTOLD = 5.0  # sigmas of a step up, from which one in a gap is told; choice


def station_up(result, share=1.0, control=False):
    """Return the :class:`StationUp` of one station's results.

    Parameters
    ----------
    result : StationResult
    share : float
        What the surface there does for 1 m of roof.
    control : bool

    Notes
    -----
    The height is that of the positions measured within half an interval of each time, tide, steps
    of equipment and the terms of the budget taken off; nothing is smoothed. Where motion took the
    slope from the station's own path, it has mixed it with any slow rise: the travel off a
    straight line, smoothed over months, is a regressor then (smoothed, because a speed that
    answers to the lake would make the travel look like the event). Steps that motion took out stay
    out; over the lake one whose size it knew badly gets a size of its own. (All of them free, and
    slow curves of the record, such as a winter's burial, hide in them.)

    Raises
    ------
    SettingsError
        Where the table of motion holds no height.
    """
    time_ns = result.time_ns
    up = np.asarray(result.columns[RAW], float)
    if not np.isfinite(up).any():
        raise SettingsError(f"{result.station}: its motion holds no height; see 5-motion/")
    first, last = np.flatnonzero(np.isfinite(up))[[0, -1]]
    steps = tuple(
        from_iso(step["after_gps"])
        for step in (() if control else result.steps)
        if step["removed"] == "yes"
        and number(step["up_sigma_m"]) > KNOWN_STEP_M
        and time_ns[first] < from_iso(step["after_gps"]) < time_ns[last]
    )
    return StationUp(
        result.station, time_ns, up, np.full(len(up), scatter(up)), share, control,
        steps, slope_course(result, time_ns),
    )  # fmt: skip


def scatter(up_m):
    """Return the sigma of what is independent from one height to the next, by their differences.

    From the median of the sizes of the differences, which steps and events leave alone; the noise
    of hours that motion tells from white noise is in it. [m]
    """
    steps = np.abs(np.diff(up_m[np.isfinite(up_m)]))
    return max(_NORMAL_BY_MEDIAN * float(np.median(steps)) / np.sqrt(2.0), _LEAST_SIGMA_M)


def slope_course(result, time_ns):
    """Return the regressor (n, 1) for a slope of the own path; None where there is none to fit."""
    course = result.budget.get("slope_m")
    if course is None or result.told["slope"]["source"] != "own path":
        return None
    there = np.isfinite(course)
    if there.sum() < 3 or not np.ptp(course[there]) > 0.0:
        return None
    day = (time_ns - time_ns[0]) / NS_PER_DAY
    known = np.interp(time_ns, ns(result.budget["time_gps"])[there], course[there])
    rest = known - np.polyval(np.polyfit(day, known, 1), day)
    width = SLOPE_D / max(float(np.median(np.diff(day))), 1e-6)
    smooth = gaussian_filter1d(rest, width, mode="reflect")
    own = result.told["slope"].get("own_path") or np.nan
    if not np.ptp(smooth) / abs(own) > LEAST_TRAVEL_M:
        return None
    return (smooth / np.ptp(smooth))[:, None]


def step_notes(results):
    """Return sentences about steps of the height in which equipment and ice may be mistaken."""
    notes = []
    for result in results:
        for step in result.steps:
            up, sigma = (number(step[k]) for k in ("up_m", "up_sigma_m"))
            when = step["after_gps"][:16]
            if step["removed"] == "yes" and step["logged"] == "no" and abs(up) > _LARGE_STEP_M:
                notes.append(
                    f"{result.station}: motion took out a jump of {up:+.2f} m up by {when} that no "
                    "log names; were it the lake's, the event would be missing here"
                )
            elif (
                step["kind"] == "undecided"
                and abs(up) > _UNTOLD * sigma
                and "gap" in step["reason"]
            ):
                notes.append(
                    f"{result.station}: {up:+.2f} m up across the gap before {when} stay in: "
                    "equipment and ice cannot be told apart there"
                )
    return tuple(notes)
