"""Does one group of panels give nothing while another does? Told by the harvest's course in a day.

Groups that face other ways harvest at other hours. Each hypothesis - all live, or one of them is
dead - forecasts the hour's power, with cloud, yield and haze unknown and remembered from hour to
hour (a hidden Markov model on a grid: Rabiner 1989, Proceedings of the IEEE 77, section III). The
logarithm of both forecasts' ratio adds up over days, from 0 anew where it falls below (Page 1954,
Biometrika 41): a false alarm is then as rare as exp(:data:`SIDE_AT`) days, were the model exact.
"""

import numpy as np

from .health_forecast import takes_all
from .health_parts import ONE_PANEL, grown
from .telemetry import DAY_H

BEAM = np.array([0.0, 0.03, 0.1, 0.2, 0.4, 0.7, 1.0])
"""Share of the beam that clouds let through, each as likely. [-]"""
YIELDS = np.geomspace(0.08, 1.5, 10)
"""Of what the name plate gives: rime, snow, dirt, and what the laws have wrong. [-]"""
HAZE = np.array([0.0, 0.03, 0.06])
"""Depth that the clear sky's air has beyond the law's, straight up: dims a low Sun most. [-]"""
CLOUD_MOVES, CLOUD_NEW = 0.15, 0.08  # 1/h, to each neighbour, and to any; own choice
YIELD_MOVES, YIELD_NEW = 0.01, 0.003  # 1/h; own choice
HAZE_NEW = 0.002  # 1/h; own choice
MOST_H = 48  # h, after which an hour before tells no more; own choice
POWER_SIGMA, POWER_W = 0.2, 0.15  # - of the forecast, and W of meters; own choice
ODD = 0.02  # -, chance that an hour is like nothing; own choice
LEAST_SHARE, LEAST_W = 0.02, 2.0  # -, of rated power, worth a look; W, least range of the odd
SIDE_AT = 16.0  # -, logarithm of the odds at which one group is called dead; set on 144 winters


def one_sided_panels(hours, design, expected, charge):
    """Return findings of one group of panels that gives nothing while another does.

    Parameters
    ----------
    hours : Hours
    design : Design
    expected : Expected
    charge : array, shape (d,)
        Of the bank by day, from the fit: only hours in which it takes all are looked at.
    """
    if len(design.panels) < 2:
        return []
    odds, begins = side_odds(hours, design, expected, charge)
    found = []
    for row, panel in enumerate(design.panels):
        own = []
        for day in np.flatnonzero(odds[row] > SIDE_AT).tolist():
            rest = np.delete(expected.clear_W, row, axis=0).sum(axis=0)
            share = 100.0 * _harvest(hours, rest, begins[row, day], day)
            why = (
                f"{panel.name}: the others alone account for the hours at which power came, "
                f"{share:.0f} % of their clear sky's, exp({odds[row, day]:.0f}) times as likely as "
                "with all alive: its cable, fuse or diode, or shade"
            )
            own = grown(own, ONE_PANEL, int(begins[row, day]), day, why)
        found += own
    return found


def _harvest(hours, clear_W, first, last):
    """Return measured by clear-sky energy of days, both ends included."""
    rows = slice(first * DAY_H, (last + 1) * DAY_H)
    power = np.nan_to_num((hours.panel_A * hours.battery_V)[rows])
    return power.sum() / max(clear_W[rows].sum(), 1e-9)


def side_odds(hours, design, expected, charge):
    """Return (logarithm of the odds that a group is dead, since when) by group and day (p, d).

    Parameters
    ----------
    hours : Hours
    design : Design
    expected : Expected
    charge : array, shape (d,)
    """
    power = hours.panel_A * hours.battery_V
    useful = takes_all(hours, design.bank, charge) & np.isfinite(power)
    useful &= expected.clear_W.sum(axis=0) > LEAST_SHARE * design.panel_W
    count, groups = hours.days, len(expected.clear_W)
    clouds, yields = (passages(*parts) for parts in (
        (BEAM.size, CLOUD_MOVES, CLOUD_NEW), (YIELDS.size, YIELD_MOVES, YIELD_NEW)))  # fmt: skip
    shape = groups + 1, HAZE.size, BEAM.size, YIELDS.size
    belief, before = np.full(shape, 1.0 / np.prod(shape[1:])), None
    now, since = np.zeros(groups), np.zeros(groups, int)
    odds, begins = np.zeros((groups, count)), np.zeros((groups, count), int)
    for day in range(count):
        rows = day * DAY_H + np.flatnonzero(useful[day * DAY_H : (day + 1) * DAY_H])
        told = np.zeros(groups + 1)
        for row, likely in zip(rows, likelihoods(power, expected, rows), strict=True):
            if before is not None:
                belief = later(belief, row - before, clouds, yields)
            belief, before = belief * likely, row
            whole = belief.sum(axis=(1, 2, 3))
            belief /= whole[:, None, None, None]
            told += np.log(whole)
        if rows.size:
            since[now <= 0.0] = day
            now = np.maximum(now + told[1:] - told[0], 0.0)
            belief[1:][now == 0.0] = belief[0]
        odds[:, day], begins[:, day] = now, since
    return odds, begins


def passages(count, moves, new):
    """Return the chances of a chain's passages in 0 to ``MOST_H`` hours, (hours, from, to)."""
    step = (1.0 - 2.0 * moves) * np.eye(count)
    place = np.arange(count)
    for other in (place - 1, place + 1):
        np.add.at(step, (place, np.clip(other, 0, count - 1)), moves)
    step = (1.0 - new) * step + new / count
    return np.array([np.linalg.matrix_power(step, hours) for hours in range(MOST_H + 1)])


def later(belief, hours, clouds, yields):
    """Return the belief (hypothesis, haze, beam, yield) some hours later."""
    short = min(hours, MOST_H)
    belief = clouds[short].T @ belief @ yields[short]
    new = -np.expm1(-HAZE_NEW * hours)
    return (1.0 - new) * belief + new * belief.mean(axis=1, keepdims=True)


def likelihoods(power, expected, rows):
    """Return how likely the hours' power is (n, hypothesis, haze, beam, yield); first all live."""
    clear, closed = expected.clear_W[:, rows], expected.overcast_W[:, rows]
    shine = np.exp(-HAZE[:, None] / np.maximum(expected.sine[rows], 0.01)[:, None, None]) * BEAM
    each = closed[..., None, None] + shine * (clear - closed)[..., None, None]
    live = each.sum(axis=0)
    hoped = np.stack([live, *(live - one for one in each)], axis=1)[..., None] * YIELDS
    sigma = np.hypot(POWER_W, POWER_SIGMA * hoped)
    off = (power[rows][:, None, None, None, None] - hoped) / sigma
    normal = np.exp(-0.5 * off**2) / (np.sqrt(2.0 * np.pi) * sigma)
    odd = ODD / np.maximum(1.2 * clear.sum(axis=0), LEAST_W)
    return (1.0 - ODD) * normal + odd[:, None, None, None, None]
