"""Whether intervals of lake events hold the truth: the lines that validations share."""

import numpy as np
from scipy.stats import norm

from stakeline.lakes.event_record import interval

LEVEL = (92.0, 97.0)  # %, of intervals of 95 %
ISSUE = "bar of the project"


def judged(samples, truth, level=0.95):
    """Return (median less truth, whether the interval holds it, sigma)."""
    low, middle, high = interval(samples, level)
    return middle - truth, low < truth < high, float(np.std(samples))


def covered(table, quantity, rows, each=1):
    """Print the two lines of an interval's cover; ``each``: rows of one draining, not independent.

    The bars are the project's, wider by two sigmas of chance (binomial, drainings independent).
    """
    cover, count = 100.0 * rows[:, 1].mean(), len(rows) / each
    low, high = LEVEL
    chance = [200.0 * np.sqrt(bar / 100.0 * (1.0 - bar / 100.0) / count) for bar in LEVEL]
    table.line(f"{quantity}: within 95 %, of {len(rows)}", cover, low - chance[0], "%",
               f"{ISSUE} {low:g}, 2 sigma of chance {chance[0]:.1f}", least=True)  # fmt: skip
    table.line(f"{quantity}: not more", cover, min(high + chance[1], 100.0), "%",
               f"{ISSUE} {high:g}, 2 sigma of chance {chance[1]:.1f}")  # fmt: skip


def weighed(table, quantity, rows):
    """Print the two lines of errors (rms) over the sigmas told.

    The bars are what :data:`LEVEL` asks of normal errors, wider by two sigmas of chance: they tell
    of some fifty drainings what covers tell of hundreds.
    """
    ratio = np.sqrt(np.mean((rows[:, 0] / rows[:, 2]) ** 2))
    high, low = norm.ppf(0.975) / norm.ppf(0.5 + 0.005 * np.array(LEVEL))
    chance = 2.0 / np.sqrt(2.0 * len(rows))
    source = f"{ISSUE}, {low:.2f} to {high:.2f}, 2 sigma of chance {chance:.2f}"
    table.line(f"{quantity}: errors over sigmas told", ratio, high * (1.0 + chance), "", source)
    table.line(f"{quantity}: the same, not less", ratio, low * (1.0 - chance), "", source,
               least=True)  # fmt: skip
