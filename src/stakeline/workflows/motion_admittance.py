"""How stations answer to the tide of the sea, from their tables of tides."""

import numpy as np

from ..formats.plain_table import write_plain_table
from ..motion.admittance import admittance, waves_of
from ..motion.tide_inference import Inference
from .motion_results import number, numbers

LEAST_CAUSE_M = 0.05  # m, up tide of M2 from which a station shows the sea's; our choice
ANSWERS = ("along", "up")
NUMBERS = ("gain", "gain_sigma", "lag_deg", "lag_sigma_deg")


def sea_of(tides):
    """Return the station whose up tide stands for the sea; "" where none is large enough.

    Parameters
    ----------
    tides : dict
        By station the rows of its ``tides.csv``, as dicts of texts.
    """
    heights = {
        station: max(
            (number(r["amplitude_m"]) for r in rows if (r["axis"], r["constituent"]) == UP_M2),
            default=0.0,
        )
        for station, rows in tides.items()
    }
    sea = max(heights, key=heights.get, default="")
    return sea if sea and heights[sea] >= LEAST_CAUSE_M else ""


UP_M2 = ("up", "M2")


def waves(rows, axis):
    """Return the :class:`~stakeline.motion.admittance.Waves` of one axis of a table of tides."""
    rows = [row for row in rows if row["axis"] == axis]
    columns = ("amplitude_m", "amplitude_sigma_m", "greenwich_lag_deg", "greenwich_lag_sigma_deg")
    return waves_of(
        [row["constituent"] for row in rows], *(numbers(rows, name) for name in columns),
        [Inference(r["constituent"], r["inferred_from"], np.nan) for r in rows
         if r["inferred_from"]],
    )  # fmt: skip


def admittances(tides):
    """Return (sea, [(station, axis, Admittance)]) of all stations; none where no sea is seen.

    The sea's own up tide over itself is left out: it is 1 by construction.
    """
    sea = sea_of(tides)
    if not sea:
        return "", []
    cause = waves(tides[sea], "up")
    return sea, [
        (station, axis, admittance(cause, waves(rows, axis)))
        for station, rows in tides.items()
        for axis in ANSWERS
        if (station, axis) != (sea, "up") and any(row["axis"] == axis for row in rows)
    ]


def admittance_csv(tides):
    """Return the bytes of the table: what is left out has a reason instead of numbers."""
    sea, answers = admittances(tides)
    rows = []
    for station, axis, found in answers:
        values = np.stack([getattr(found, name) for name in NUMBERS], axis=-1)
        rows += [(station, axis, n, *v, "") for n, v in zip(found.names, values, strict=True)]
        rows += [(station, axis, n, *[np.nan] * 4, why) for n, why in found.left_out.items()]
    names = ("station", "axis", "constituent", *NUMBERS, "left_out")
    columns = {name: [row[k] for row in rows] for k, name in enumerate(names)}
    columns |= {name: np.array(columns[name], float) for name in NUMBERS}
    columns["cause"] = [f"up tide of {sea}"] * len(rows)
    columns["by_geometry"] = ["yes" if row[2] in ("K1", "K2") else "" for row in rows]
    decimals = {"gain": 6, "gain_sigma": 6, "lag_deg": 2, "lag_sigma_deg": 2}
    return write_plain_table(columns, decimals)
