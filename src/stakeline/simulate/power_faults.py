"""Parts of an invented station that fail in mid-winter, for :func:`.power.make_supply`."""

from dataclasses import replace

import numpy as np

from ..errors import SettingsError
from .power import panel_power

FAULTS = ("panels lost", "one panel lost", "turbine dead", "load doubled", "bank ageing")
AGED_SHARE = 0.5  # -; of the capacity that a failing bank keeps, invented
AGEING_S = 3.0 * 86400.0  # s; in which it loses the rest, invented


def planted(kind, begin_s):
    """Return a fault: a function of (design, weather, panel, turbine, load) for ``make_supply``.

    Parameters
    ----------
    kind : str
        One of :data:`FAULTS`. ``panels lost``: all of them give nothing; ``one panel lost``: the
        first; ``turbine dead``: it stands; ``load doubled``: the receiver takes twice its power;
        ``bank ageing``: the bank loses half of its capacity, and what was in it, within three days.
    begin_s : float
        Of the campaign. [s]

    Raises
    ------
    SettingsError
        For another kind.
    """
    if kind not in FAULTS:
        raise SettingsError(f"no fault {kind!r}; there are {', '.join(FAULTS)}")

    def change(design, weather, panel, turbine, load):
        time_s = weather.time_s[:-1]
        after = time_s >= begin_s
        held = np.ones(time_s.size)
        if kind == "panels lost":
            panel = np.where(after, 0.0, panel)
        elif kind == "one panel lost":
            rest = replace(design, panel_facing_rad=design.panel_facing_rad[1:])
            panel = np.where(after, panel_power(rest, weather)[:-1], panel)
        elif kind == "turbine dead":
            turbine = np.where(after, 0.0, turbine)
        elif kind == "load doubled":
            load = load + np.where(after, design.receiver_W, 0.0)
        else:
            gone = np.clip((time_s - begin_s) / AGEING_S, 0.0, 1.0)
            held = 1.0 - (1.0 - AGED_SHARE) * gone
        return panel, turbine, load, held

    return change
