"""What a meter should show, and what a reading beside it means."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError

GOOD, OUTSIDE, MISSING = "good", "outside", "missing"
THOUSAND = 1000.0
METRIC = ((1e-3, "m"), (1e3, "k"))  # factor that turns what was typed into the unit, its letter

METER = {  # share of the reading and a fixed part; hand-held meters, common practice, no source
    "V": (0.005, 0.03),
    "A": (0.02, 0.03),
    "ohm": (0.01, 0.2),
}


@dataclass(frozen=True)
class Sign:
    """A reading between two shares of the expected one, and what it speaks for."""

    least: float
    most: float
    sentence: str


@dataclass(frozen=True)
class Expectation:
    """One reading to take.

    Attributes
    ----------
    key : str
        Its name in a file of readings; the unit is its end.
    part, what : str
        What is measured, in words: the part, and the quantity.
    unit : str
    least, expected, most : float
        The pass band holds sky, maker's tolerance and meter; infinite where it has no end.
    how : str
        How to hold the meter.
    low, high : str
        What to suspect below and above the band.
    signs : tuple of Sign
        What to suspect first, by the share of the expected reading.
    polar : bool
        Whether its sign tells of polarity.
    must : bool
        Whether the site is not left without it.
    why_not : str
        Why it is not to be taken now; '' where it is.
    """

    key: str
    part: str
    what: str
    unit: str
    least: float
    expected: float
    most: float
    how: str = ""
    low: str = ""
    high: str = ""
    signs: tuple = ()
    polar: bool = False
    must: bool = True
    why_not: str = ""

    def __post_init__(self):
        if not self.least <= self.expected <= self.most:
            raise SettingsError(
                f"{self.key}: band {self.least:g} to {self.most:g} {self.unit} does not hold "
                f"{self.expected:g}"
            )

    def holds(self, value):
        """Say whether a value lies in the band."""
        return bool(self.least <= value <= self.most)


@dataclass(frozen=True)
class Judgement:
    """What one reading means: ``state`` of good, outside and missing, and a sentence."""

    key: str
    given: float
    state: str
    sentence: str


def metered(least, expected, most, unit):
    """Return a band widened by what the meter may be off."""
    share, fixed = METER[unit]
    return (
        least - abs(least) * share - fixed,
        expected,
        most + abs(most) * share + fixed,
    )


def judge(expectation, value):
    """Return the :class:`Judgement` of a reading, NaN for none.

    A reading outside is tried, in this order: with its sign turned, as one typed in milli- or
    kilo-units, by the part's own signs, and last as too low or too high.
    """
    e = expectation
    if not np.isfinite(value):
        text = f"{e.part}, {e.what}: no reading"
        text += f"; {e.why_not}" if e.why_not else "; take it before you leave" if e.must else ""
        return Judgement(e.key, float("nan"), MISSING, text)
    if e.holds(value):
        return Judgement(e.key, value, GOOD, f"{_name(e, value)}: as expected ({band_text(e)})")
    suspect = _suspect(e, value)
    return Judgement(
        e.key, value, OUTSIDE, f"{_name(e, value)}: expected {band_text(e)}; {suspect}"
    )


def _name(e, value):
    return f"{e.part}, {e.what}, {number_text(value)} {e.unit}".rstrip()


def _suspect(e, value):
    if e.polar and value < 0.0 and e.holds(-value):
        return "polarity is swapped: change the two wires, first here, then look for where"
    for factor, letter in METRIC:
        scaled = value * factor
        typed = f"{letter}{e.unit}"
        if e.least > 0.0 and e.holds(scaled):
            return f"it fits if it was read in {typed}: give {number_text(scaled)} {e.unit}"
        if e.polar and e.least > 0.0 and e.holds(-scaled):
            return (
                f"it fits if it was read in {typed} with swapped polarity: set the meter to "
                f"{e.unit}, then change the two wires"
            )
    if e.expected > 0.0:
        for sign in e.signs:
            if sign.least <= value / e.expected <= sign.most:
                return sign.sentence
    return (e.low if value < e.least else e.high) or "look for the reason before you leave"


def band_text(expectation):
    """Return a band in words with its unit."""
    e = expectation
    if np.isinf(e.most):
        return f"{number_text(e.least)} {e.unit} or more".replace("  ", " ")
    return f"{number_text(e.least)} to {number_text(e.most)} {e.unit}".rstrip()


def number_text(value):
    """Return a number as one reads it off a meter: three figures, four from 10 on."""
    size = abs(value)
    if value == round(value) and size < THOUSAND:
        return f"{value:.0f}"
    decimals = 0 if size >= THOUSAND else 1 if size >= 100.0 else 2 if size >= 0.1 else 3
    text = f"{value:.{decimals}f}"
    return text if float(text) else "0"
