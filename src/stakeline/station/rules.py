"""Rules of design: what has killed stations before, looked for in one that is still on paper.

Each rule says why it is there, what it found, and what to do. Some are arithmetic, some are
simulated (:mod:`.supply`), some only a person who tries the parts can answer: these stay open until
somebody has. Rules without a source beside them are common practice, no source.
"""

from dataclasses import dataclass, field

import numpy as np

from ..errors import SettingsError
from .cautions import ESTIMATE

GOOD, DOUBT, BAD, OPEN = "good", "doubt", "bad", "open"
STATES = (BAD, DOUBT, OPEN, GOOD)  # worst first


@dataclass(frozen=True)
class Answers:
    """What a load does by itself; None where nobody has tried.

    ``starts``: after power came back. ``logs``: on boot, without a command. ``wakes``: from sleep,
    even where it was told nothing.
    """

    starts: bool | None = None
    logs: bool | None = None
    wakes: bool | None = None


@dataclass(frozen=True)
class Facts:
    """What the rules need to know besides the design.

    Attributes
    ----------
    coldest_degC : float
        That the battery must stand.
    winter_degC, winter_m_s : float
        Means of the coldest month: air and wind.
    answers : dict of str to Answers
        By load.
    compensated, frost_ban : bool
        Of the charge controller: voltage by temperature; no charge of lithium in frost.
    trip_V : float or None
        At which a breaker trips and stays off, of a nominal 12 V.
    saving : dict of float
        Share of the days on which a load saves, by load; empty where nothing was simulated.
    ventilated, second_cutout : bool or None
        Of the box; of the heater.
    brown_out_V : float
        Below which receivers of usual make stop, of a nominal 12 V: 10.5, common practice, no
        source.
    """

    coldest_degC: float = -45.0
    winter_degC: float = -30.0
    winter_m_s: float = 7.0
    answers: dict = field(default_factory=dict)
    compensated: bool = True
    frost_ban: bool = True
    trip_V: float | None = None
    ventilated: bool | None = None
    second_cutout: bool | None = None
    brown_out_V: float = 10.5
    saving: dict = field(default_factory=dict)

    def of(self, load):
        """Return the :class:`Answers` about a load."""
        return self.answers.get(load.name, Answers())


@dataclass(frozen=True)
class Finding:
    """What one rule says of a design.

    Attributes
    ----------
    rule : str
    state : str
        ``bad``, ``doubt``, ``open`` (only a trial can tell) or ``good``.
    found, reason, remedy : str
        What is there; why it matters; what to do, empty where it is good.
    simulated : bool
        Whether a simulation told, not only a comparison.
    cautions : tuple of str
        Of what can hurt people.
    """

    rule: str
    state: str
    found: str
    reason: str
    remedy: str = ""
    simulated: bool = False
    cautions: tuple = (ESTIMATE,)

    def __post_init__(self):
        if self.state not in STATES:
            raise SettingsError(f"state {self.state!r}: expected one of {', '.join(STATES)}")


def ranked(findings):
    """Return findings, the worst first, else in their order."""
    return tuple(sorted(findings, key=lambda one: STATES.index(one.state)))


def answered(known, yes, no):
    """Return the state of an answer: good for yes, bad for no, open for None, and its words."""
    if known is None:
        return OPEN, "nobody has tried it yet"
    return (GOOD, yes) if known else (BAD, no)


def volts(value_V):
    """Return a voltage as people read it."""
    return f"{value_V:.2f} V" if np.isfinite(value_V) else "no voltage"
