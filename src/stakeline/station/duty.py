"""What switching a receiver on and off does to positions: one long block beats many short ones."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError
from .checks import positive

BLOCK_H = np.array([1.0 / 6.0, 3.0])  # h; length of a block
BLOCK_SIGMA_MM = np.array([[63.0, 52.0, 65.0], [6.0, 10.0, 15.0]])  # mm, east, north, up; our own
# solutions of one open day with precise orbits, blocks worked each for itself, against the whole
DAY_H = 24.0  # h
AXES = ("east", "north", "up")


@dataclass(frozen=True)
class BlockAdvice:
    """Many blocks a day against one of the same length in all.

    Attributes
    ----------
    block_h, one_block_h : float
        Length of each block, and of the single one.
    sigma_mm, one_sigma_mm : array, shape (3,)
        Of a daily position from all blocks, and from the single one: east, north, up.
    worse_by : float
        Largest ratio of the two.
    """

    block_h: float
    one_block_h: float
    sigma_mm: np.ndarray
    one_sigma_mm: np.ndarray
    worse_by: float
    blocks_d: float

    @property
    def words(self):
        """The comparison in a sentence."""
        ours = "/".join(f"{one:.0f}" for one in self.sigma_mm)
        one = "/".join(f"{value:.0f}" for value in self.one_sigma_mm)
        if self.blocks_d <= 1.0:
            return f"one block of {self.block_h:.1f} h a day, {ours} mm east, north, up"
        return (
            f"{self.blocks_d:g} blocks of {60.0 * self.block_h:.0f} min a day, {ours} mm east, "
            f"north, up; one block of {self.one_block_h:.1f} h: {one} mm"
        )


def block_sigma_mm(block_h):
    """Return the sigma of a position from one block, (..., 3): east, north, up. [mm]

    A power of the length through two measured points: s = s1 (T / T1)^-p, p = 0.81, 0.57, 0.51
    for east, north, up. Between 10 min and 3 h; beyond 3 h it is held, since slow errors do not
    average, and below 10 min it goes on.

    Examples
    --------
    >>> block_sigma_mm(3.0).round(1).tolist()
    [6.0, 10.0, 15.0]
    """
    positive(block_h=float(np.min(block_h)))
    power = np.log(BLOCK_SIGMA_MM[0] / BLOCK_SIGMA_MM[1]) / np.log(BLOCK_H[1] / BLOCK_H[0])
    length = np.minimum(np.asarray(block_h, float), BLOCK_H[1])[..., None]
    return BLOCK_SIGMA_MM[1] * (length / BLOCK_H[1]) ** -power


def block_advice(duty, blocks_d):
    """Return the :class:`BlockAdvice` on a duty cycle.

    Blocks of a day are taken as independent: their mean is better by the root of their number,
    which is kind to short blocks.

    Parameters
    ----------
    duty : float
        Share of the time that the receiver is on.
    blocks_d : float
        How many times a day it is switched on.
    """
    positive(duty=duty, blocks_d=blocks_d)
    if duty > 1.0:
        raise SettingsError(f"duty {duty:g}: expected up to 1")
    all_h = DAY_H * duty
    each = block_sigma_mm(all_h / blocks_d) / np.sqrt(max(blocks_d, 1.0))
    one = block_sigma_mm(all_h)
    return BlockAdvice(
        all_h / blocks_d, all_h, each, one, float((each / one).max()), float(blocks_d)
    )
