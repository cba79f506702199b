"""A small station without weather's whims: telemetry by hand formulas, not by the simulator."""

import numpy as np

from stakeline.constants import NS_PER_DAY
from stakeline.station.battery import Bank, rest_V
from stakeline.station.box import Box
from stakeline.station.design import OTHER, Design, Load, PlacedPanel, Site
from stakeline.station.health_fit import usable_share
from stakeline.station.panel import Panel
from stakeline.station.telemetry import hours_of
from stakeline.time import from_calendar

FIRST_DAY = from_calendar(2030, 10, 1) // NS_PER_DAY
CAPACITY_AH, LOAD_A = 400.0, 0.1
BANK = Bank(parallel=4, peukert=1.0)


def design(**changes):
    """Return the design, with other parts where told."""
    panel = PlacedPanel("south", Panel(), 1, 90.0, 180.0)
    parts = {
        "name": "HV01",
        "site": Site(79.0, 17.0, 200.0),
        "panels": (panel,),
        "bank": BANK,
        "box": Box(),
        "loads": (Load("all", OTHER, 12.0 * LOAD_A),),
    }
    return Design(**(parts | changes))


def telemetry(days=90, capacity_Ah=CAPACITY_AH, box_degC=-20.0, load_A=LOAD_A, charge=1.0, **more):
    """Return hours of a bank that is drawn evenly in the dark; its voltage is the law's own.

    ``capacity_Ah``, ``load_A`` and ``box_degC`` may be arrays of the hours.
    """
    count = 24 * days
    load = np.broadcast_to(np.asarray(load_A, float), count)
    capacity = np.broadcast_to(np.asarray(capacity_Ah, float), count)
    box = np.broadcast_to(np.asarray(box_degC, float), count)
    left, volts = np.empty(count), np.empty(count)
    state = charge
    for k in range(count):
        now = 1.0 - (1.0 - state) / float(usable_share(0.008, box[k]))
        volts[k] = float(rest_V(BANK, np.clip(now, 0.0, 1.0), box[k])) + 6.0 * min(now, 0.0)
        left[k] = state
        state -= load[k] * volts[k] / 12.0 / capacity[k]
    columns = {
        "battery_V": volts,
        "load_A": load,
        "panel_A": np.zeros(count),
        "box_degC": box.copy(),
        "air_degC": box - 5.0,
        "wind_m_s": np.full(count, 5.0),
        "humidity_percent": np.full(count, 60.0),
    } | more
    time_ns = FIRST_DAY * NS_PER_DAY + np.arange(count, dtype=np.int64) * 3600 * 10**9
    return hours_of(time_ns, columns), left
