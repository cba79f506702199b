"""Is the box too warm for what is in it?"""

import numpy as np

from .health_parts import Finding, runs
from .telemetry import DAY_H

HOT_DEGC = 40.0  # degC; makers of lead-acid and lithium blocks name 40 to 50 as most, from memory
HOT_H, HOT_D = 3, 2  # h a day, and d in turn; own choice
SUN_W_M2 = 300.0  # W/m2, on level ground, from which the Sun is named; own choice
WARM_BOX = "box too warm"


def warm_box(hours, light_W_m2=None):
    """Return findings of a box above :data:`HOT_DEGC` for hours on days in turn.

    Parameters
    ----------
    hours : Hours
    light_W_m2 : array, shape (n,), optional
        Light to be expected, for the reason.
    """
    box, air = hours.by_day("box_degC"), hours.by_day("air_degC")
    with np.errstate(invalid="ignore"):
        hot = box > HOT_DEGC
    found = []
    for first, last in runs(hot.sum(axis=1) >= HOT_H):
        if last - first + 1 < HOT_D:
            continue
        rows = slice(first, last + 1)
        warmest = float(np.nanmax(box[rows]))
        why = (
            f"up to {warmest:.0f} degC{_over(box[rows], air[rows])}: "
            f"{_reason(hot, rows, light_W_m2)}; each 10 K above "
            "25 halves the life of a bank, and charging a hot one can run away"
        )
        found.append(Finding(WARM_BOX, int(first), int(first + HOT_D - 1), int(last), why))
    return found


def _over(box, air):
    """Return in words how much warmer than the air the box was at its warmest; '' without air."""
    at = np.unravel_index(np.nanargmax(box), box.shape)
    over = box[at] - air[at]
    return f", {over:.0f} K over the air" if np.isfinite(over) else ""


def _reason(hot, rows, light_W_m2):
    """Return what is likely, by whether it is hot while the Sun shines."""
    if light_W_m2 is None:
        return "sun on it, a heater that stays on, or a charger at its limit"
    lit = (light_W_m2.reshape(-1, DAY_H) >= SUN_W_M2)[rows][hot[rows]].mean()
    if lit > 0.5:
        return "the Sun on it: white paint, shade, a vent"
    return "not the Sun: a heater that stays on, a charger or cells"
