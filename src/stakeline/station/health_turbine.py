"""Does the rotor turn in the wind? Standing by rime told from standing for good."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

BLOCK_H = 6  # h, looked at as one; rotors ride lulls out in less, own choice
LEAST_WINDY_H = 3  # of a block; own choice
MARGIN_M_S = (2.0, 3.0)  # m/s above the start and below the stop, where a sound one surely turns
LEAST_A, TURNS_A = 0.08, 0.04  # A, to be expected, and that prove it turns; of meters to 0.01 A
STOPS = np.linspace(0.02, 1.2, 60)  # -, rime with which it may stand
WIDTH = 0.10  # -, over which standing becomes sure: error of the index; own choice
ODD = 0.02  # -, chance that it stands, or turns, without reason; own choice
TEMPER = 0.3  # -, power of each block's likelihood: rime lasts for many blocks; own choice
MOST = 0.45  # -, most that one block adds to the odds, by the same reason; own choice
LIKELY = 0.4  # -, of the same logarithm, below which rime explains a block; own choice
DEAD_AT = 16.0  # -, logarithm of the odds at which it is called dead; set on seeds 0 to 49


@dataclass(frozen=True)
class Rotor:
    """What blocks of six hours tell (k,), and what followed from them.

    ``windy``: a sound and bare rotor would turn. ``stood``, ``turned``: what it did then, both
    False where the meter was silent. ``odds``: logarithm of the odds for dead against rimed, from
    when it last turned. ``rime_stop``, ``rime_sigma``: rime with which it stands, by then.
    """

    windy: np.ndarray
    stood: np.ndarray
    turned: np.ndarray
    odds: np.ndarray
    rime: np.ndarray
    rime_stop: np.ndarray
    rime_sigma: np.ndarray

    @property
    def dead(self):
        """Whether it was called dead, by block (k,)."""
        return self.odds > DEAD_AT

    def standing_blocks(self, block):
        """Return how many windy blocks it has stood up to a block, since it last turned."""
        turned = np.flatnonzero(self.turned[: block + 1])
        begin = int(turned[-1]) + 1 if turned.size else 0
        return int(self.stood[begin : block + 1].sum()), begin


def rotor_of(hours, turbine, expected, rime, volts=12.0):
    """Return the :class:`Rotor` of a turbine's hours.

    Parameters
    ----------
    hours : Hours
    turbine : Turbine
    expected : Expected
    rime : array, shape (n,)
        By :func:`~.rime.rime_index`.
    volts : float
        Nominal, of the bank.

    Notes
    -----
    Where a full bank takes little, the current to be expected is the turbine's part of the load.
    Standing is as likely as the rime index is above an unknown stop, learnt from blocks before the
    present standstill (a grid, likelihoods to the power 0.3). Each windy block it stands adds
    log(0.98 / chance by rime) less 0.4, from 0 to 0.45; once it turns, the odds begin anew.
    """
    offered = expected.turbine_W + expected.clear_W.sum(axis=0)
    load = np.nan_to_num(hours.load_A * hours.battery_V, nan=0.0)
    part = expected.turbine_W * np.minimum(load / np.maximum(offered, 1e-9), 1.0) / volts
    low, high = turbine.start_m_s + MARGIN_M_S[0], turbine.stop_m_s - MARGIN_M_S[1]
    wind = hours.wind_m_s
    with np.errstate(invalid="ignore"):
        windy = (wind >= low) & (wind <= high) & (part >= LEAST_A) & np.isfinite(hours.turbine_A)
        turns = windy & (hours.turbine_A >= TURNS_A)
        any_turn = hours.turbine_A >= 2.0 * TURNS_A
    blocks = windy.reshape(-1, BLOCK_H).sum(axis=1) >= LEAST_WINDY_H
    turned = turns.reshape(-1, BLOCK_H).any(axis=1) | any_turn.reshape(-1, BLOCK_H).any(axis=1)
    stood = blocks & ~turned
    index = rime.reshape(-1, BLOCK_H).mean(axis=1)
    return Rotor(blocks, stood, turned, *_judged(stood, turned & blocks, turned, index))


def chance_dead(odds):
    """Return the chance that a standing rotor will not turn again, for forecasts.

    From 0 at odds of 2 to 0.9 at 20 and beyond, straight: sound rotors in rime for weeks reach
    such odds too, now and then.
    """
    return float(np.clip((odds - 2.0) / 20.0, 0.0, 0.9))


def _judged(stood, proven, turned, index):
    """Return (odds, rime, mean and sigma of its stop) by block."""
    by_stop = ODD + (1.0 - 2.0 * ODD) * ndtr((index[:, None] - STOPS) / WIDTH)
    belief = np.full(STOPS.size, 1.0 / STOPS.size)
    waiting = np.zeros(STOPS.size)
    odds, mean, sigma = (np.zeros(stood.size) for _ in range(3))
    now = 0.0
    for k in range(stood.size):
        if turned[k]:
            told = waiting + (TEMPER * np.log(1.0 - by_stop[k]) if proven[k] else 0.0)
            belief = belief * np.exp(told - told.max())
            belief, waiting, now = belief / belief.sum(), np.zeros(STOPS.size), 0.0
        elif stood[k]:
            waiting = waiting + TEMPER * np.log(by_stop[k])
            now += np.clip(np.log((1.0 - ODD) / (belief @ by_stop[k])) - LIKELY, 0.0, MOST)
        odds[k] = now
        mean[k] = belief @ STOPS
        sigma[k] = np.sqrt(max(belief @ (STOPS - mean[k]) ** 2, 0.0))
    return odds, index, mean, sigma
