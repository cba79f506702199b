"""What became of simulated years, by name."""

from dataclasses import dataclass

import numpy as np

from ._kernels import (
    BACK,
    CAUSE,
    CLIPPED,
    END,
    FIRST_CAUSE,
    FIRST_FROST,
    FIRST_FROZEN,
    FIRST_OFF,
    FIRST_OVER,
    FIRST_SPOILT,
    FROST_H,
    FROZEN_H,
    HEATER,
    LOAD,
    LONGEST_H,
    LONGEST_OFF,
    LOST,
    LOWEST_CHARGE,
    LOWEST_V,
    OFF_H,
    OFFERED,
    OVER_H,
    PLATED,
    REFUSED,
    SAVED,
    START,
    STARTS,
)

CAUSES = (
    "none",
    "the bank was empty",
    "the cold locked up what the bank still held",
    "the peak load pulled the voltage below the switch",
    "the bank was colder than its acid's freezing point",
    "charging was forbidden in frost",
    "a breaker tripped, and stays off until somebody comes",
    "a load has to be started by hand",
    "a load fell asleep to save, and nothing woke it",
    "charging in frost had spoilt the bank",
)


@dataclass(frozen=True)
class YearsOutcome:
    """What became of m years; hours count from each year's first.

    Attributes
    ----------
    offered_J, clipped_J, load_J, heater_J, lost_J, start_J, end_J : array, shape (m,)
        From sun and wind, not taken, used, heated, lost in the bank; stored at the two ends.
    off_h : array, shape (m,)
        Hours without loads, or with a bank that frost has spoilt, or in which one that must be
        started by hand, or records nothing, is not back from a cut-off.
    first_off, longest_off : int array, shape (m,)
        Hour at which the first and the longest outage begin, -1 for none.
    longest_off_h : array, shape (m,)
    cause, first_cause : int array, shape (m,)
        Of the longest and of the first outage, into ``CAUSES``.
    starts : array, shape (m,)
        How often loads came back.
    back : int array, shape (m,)
        Hour at which they last did, -1 for never.
    over_h : array, shape (m,)
        Hours in which the turbine gave more than bank, loads and ``dump_W`` take.
    first_frozen, first_over : int array, shape (m,)
        First of ``frozen_h`` and of ``over_h``, -1 for none.
    saved_J : array, shape (m,)
        What loads did not use below their states of charge.
    frozen_h : array, shape (m,)
        Hours below the acid's freezing point: a bank may crack.
    frost_h, plated_J : array, shape (m,)
        Hours in which lithium was charged in frost, and by how much: its capacity lost.
    first_frost, first_spoilt : int array, shape (m,)
        First of ``frost_h``; when a fifth of the capacity was gone. -1 for never.
    refused_J : array, shape (m,)
        Of ``clipped_J``: what frost kept from being charged.
    lowest_charge, lowest_V : array, shape (m,)
    days : array, shape (m, 3, d) or (m, 3, 0)
        Lowest charge, hours with loads and coldest box [degC] of each whole day, where asked for.
    trace : array, shape (m, 3, n) or (m, 3, 0)
        Charge, connected (0 or 1) and the box's degC at the end of each hour, where asked for.
    """

    offered_J: np.ndarray
    clipped_J: np.ndarray
    load_J: np.ndarray
    heater_J: np.ndarray
    lost_J: np.ndarray
    start_J: np.ndarray
    end_J: np.ndarray
    off_h: np.ndarray
    first_off: np.ndarray
    longest_off: np.ndarray
    longest_off_h: np.ndarray
    cause: np.ndarray
    frozen_h: np.ndarray
    refused_J: np.ndarray
    lowest_charge: np.ndarray
    lowest_V: np.ndarray
    first_cause: np.ndarray
    starts: np.ndarray
    back: np.ndarray
    over_h: np.ndarray
    first_frozen: np.ndarray
    first_over: np.ndarray
    saved_J: np.ndarray
    frost_h: np.ndarray
    plated_J: np.ndarray
    first_frost: np.ndarray
    first_spoilt: np.ndarray
    days: np.ndarray
    trace: np.ndarray

    @property
    def survived(self):
        """In which years the loads were never cut off (m,)."""
        return self.off_h == 0.0

    @property
    def balance(self):
        """What is missing in each year's energy, by the energy that passed through (m,)."""
        spent = self.clipped_J + self.load_J + self.heater_J + self.lost_J
        missing = self.offered_J - spent - (self.end_J - self.start_J)
        return missing / np.maximum(self.offered_J + self.start_J, 1.0)

    @property
    def why(self):
        """The causes in words, a tuple of m."""
        return tuple(CAUSES[i] for i in self.cause)


def outcome_of(outcome, days, trace):
    """Return the :class:`YearsOutcome` of the kernel's columns (m, COLUMNS), days and trace."""
    column = outcome.T
    return YearsOutcome(
        offered_J=column[OFFERED],
        clipped_J=column[CLIPPED],
        load_J=column[LOAD],
        heater_J=column[HEATER],
        lost_J=column[LOST],
        start_J=column[START],
        end_J=column[END],
        off_h=column[OFF_H],
        first_off=column[FIRST_OFF].astype(int),
        longest_off=column[LONGEST_OFF].astype(int),
        longest_off_h=column[LONGEST_H],
        cause=column[CAUSE].astype(int),
        frozen_h=column[FROZEN_H],
        refused_J=column[REFUSED],
        lowest_charge=column[LOWEST_CHARGE],
        lowest_V=column[LOWEST_V],
        first_cause=column[FIRST_CAUSE].astype(int),
        starts=column[STARTS],
        back=column[BACK].astype(int),
        over_h=column[OVER_H],
        first_frozen=column[FIRST_FROZEN].astype(int),
        first_over=column[FIRST_OVER].astype(int),
        saved_J=column[SAVED],
        frost_h=column[FROST_H],
        plated_J=column[PLATED],
        first_frost=column[FIRST_FROST].astype(int),
        first_spoilt=column[FIRST_SPOILT].astype(int),
        days=days,
        trace=trace,
    )
