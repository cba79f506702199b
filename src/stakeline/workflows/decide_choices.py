"""Other windows, lags and lengths of speeds, and the main test under every other choice."""

import numpy as np

from ..errors import StakelineError
from ..inference.counter_tests import holm
from ..inference.permutation import ROUNDING, p_value
from .decide_melt import MELT
from .decide_station import other_choices, wider_lags
from .decide_ways import by_ways, coarser

WINDOW_FACTORS = 0.5, 1.5  # on days before and after; choice
MELT_LEFT = "melt not taken off"


def tests_otherwise(part, question, test):
    """Return {label: (p, statistic, null (draws,))} of the main test under other choices.

    Parameters
    ----------
    part : DecidePart
    question : Question
    test : callable
        ``test(part, question, baseline=None)``, the main test.

    Notes
    -----
    Choices that the main test does not use, of noise and shape, have no entry; a choice under which
    nothing can be tested has none either.
    """
    found = {}
    for label, (other, asked, baseline) in _variants(part, question).items():
        try:
            result, null = test(other, asked, baseline)
        except StakelineError:
            continue
        found[label] = float(result.p), float(np.abs(result.statistic).max()), null
    return found


def _variants(part, question):
    """Return {label: (part, question, Baseline or None)}."""
    table = other_choices(part, by_ways(part, question))
    planned = table["noise of independent days"][1].baseline
    found = {
        label: (part, question, choices.baseline)
        for label, (_, choices) in table.items() if choices.baseline is not planned
    }  # fmt: skip
    if MELT_LEFT in found and MELT in question.causes:
        found[MELT_LEFT] = part.model_copy(update={"take_off_melt": False}), question, None
    for factor in WINDOW_FACTORS:
        before, after = factor * part.before_d, factor * part.after_d
        other = part.model_copy(update={"before_d": before, "after_d": after})
        found[f"{before:g} d before and {after:g} d after"] = other, question, None
    label, other = wider_lags(part)
    if label:
        found[label] = other, question, None
    label, other, asked = coarser(part, question)
    found[label] = other, asked, None
    return found


def p_otherwise(lakes, tested):
    """Return {label: p of the main test} of a decision under other choices.

    Parameters
    ----------
    lakes : sequence of LakeFound
        Decided upon together; of one alone p is adjusted for the number of ``tested`` ones.
    tested : sequence of LakeFound
    """
    labels = dict.fromkeys(label for f in lakes for label in f.retests)
    return {label: _p(lakes, tested, label) for label in labels}


def _p(lakes, tested, label):
    """Return the p of one label, NaN where a lake was not tested so."""
    several = len(lakes) > 1
    of = lakes if several else tested
    found = [f.retests.get(label) for f in of]
    if any(one is None for one in found):
        return np.nan
    if not several:
        adjusted = holm([p for p, _, _ in found])
        return float(adjusted[[f is lakes[0] for f in of].index(True)])
    largest = np.max([null for _, _, null in found], axis=0)
    observed = max(statistic for _, statistic, _ in found) * (1.0 - ROUNDING)
    return float(p_value((largest >= observed).sum(), len(largest)))
