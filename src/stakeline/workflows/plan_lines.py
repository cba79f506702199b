"""A line of a plan's verdict: what a station has, what it needs, and whether that is enough."""

from dataclasses import dataclass

import numpy as np

from ..station.rules import BAD, DOUBT, GOOD, OPEN, STATES


@dataclass(frozen=True)
class Line:
    """One margin.

    Attributes
    ----------
    part : str
        What it is about, such as ``energy`` or ``storm``.
    name : str
    value, needed : float
        What there is, and what must be; NaN where there is none.
    unit : str
    state : str
        ``bad``, ``doubt``, ``open`` or ``good``.
    cautions : tuple of str
        Of what can hurt people; a number that somebody acts on has some.
    words : str
        More about it; the cause where it is not good.
    """

    part: str
    name: str
    value: float
    needed: float
    unit: str
    state: str
    cautions: tuple = ()
    words: str = ""


def at_least(part, name, value, needed, unit, *, cautions=(), words="", doubt=1.0):
    """Return the :class:`Line` of a value that must be at least so much.

    ``doubt``: up to that multiple of what is needed it is in doubt. NaN is open.
    """
    if np.isnan(value):
        state = OPEN
    else:
        state = GOOD if value >= doubt * needed else DOUBT if value >= needed else BAD
    return Line(part, name, float(value), float(needed), unit, state, cautions, words)


def at_most(part, name, value, most, unit, *, cautions=(), words="", doubt=1.0):
    """Return the :class:`Line` of a value that may be at most so much; NaN is open.

    ``doubt``: above, but up to that multiple of it, it is in doubt.
    """
    if np.isnan(value):
        state = OPEN
    else:
        state = GOOD if value <= most else DOUBT if value <= doubt * most else BAD
    return Line(part, name, float(value), float(most), unit, state, cautions, words)


def worst_state(states):
    """Return the worst of states; good where there are none."""
    found = list(states)
    return min(found, key=STATES.index) if found else GOOD


def all_cautions(*groups):
    """Return sentences of groups, each once, in their order."""
    return tuple(dict.fromkeys(one for group in groups for one in group))
