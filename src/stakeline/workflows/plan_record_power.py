"""The smallest change that whole records of daily speeds show, by their length."""

import numpy as np

from ..errors import StakelineError
from ..inference.baseline import Baseline, prepare
from ..inference.coloured import fit_coloured
from ..inference.power import sigma_of_design
from ..inference.response import Choices
from ..inference.shape import ShapeGrid
from .decide_record import daily_speeds

DAYS = np.array([60.0, 90.0, 120.0, 180.0, 365.0, 730.0])  # of a record; choice
WINDOW_D, RISE_D, DECAY_D = 1.0, 0.5, 5.0  # d; those of the settings of decide


def record_sigmas(results, length_d, drainages):
    """Return (name, usual speed [m/d], rows (days, sigma [m/d])); None without daily speeds.

    Noise with a memory is fitted to the daily speeds of each moving station without its trend,
    seasons together; the station in the middle counts. The sigma is that of one station's response
    to evenly spread drainages in a record of so many days.
    """
    moving = [r for r in results if r.moves and r.windows]
    shape = ShapeGrid((0.0,), (RISE_D,), (length_d,), (DECAY_D,))
    try:
        days, speeds, _ = daily_speeds(moving, WINDOW_D)
        found = [_of_station(days, name, speeds[name], shape, drainages) for name in speeds]
    except StakelineError:  # no windows of a day: nothing is known of daily speeds
        return None
    found = sorted((one for one in found if one[2]), key=lambda one: one[2][0][1])
    return found[len(found) // 2] if found else None


def _of_station(days, name, speeds, shape, drainages):
    percent, sigma, usual = speeds[:3]
    choices = Choices(Baseline(1))
    noise = fit_coloured(prepare(days - days[0], percent, choices.baseline, sigma))
    rows = []
    for record in (d for d in DAYS if d > drainages * (shape.durations[0] + DECAY_D)):
        one = sigma_of_design(noise, WINDOW_D, record, drainages, shape, choices)
        rows.append((float(record), one * usual / 100.0))
    return f"daily speeds of {name}, seasons together", usual, rows
