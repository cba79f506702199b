"""The switch of a station, minute by minute."""

from ..compiling import njit


@njit
def by_charge(table, charge):
    """Return a table over charges 0 to 1 at one of them, straight between its nodes."""
    last = table.size - 1
    place = min(max(charge, 0.0), 1.0) * last
    node = min(int(place), last - 1)
    return table[node] + (place - node) * (table[node + 1] - table[node])


@njit
def switch_minutes(settings, working, resting, charge, load, offered, volts, connected, charges):
    """Step a switch through its minutes; return how often loads came back.

    Parameters
    ----------
    settings : tuple of float
        full_J, cut [V], back [V], ohm of giving, ohm of taking, charge_share, share of the way to
        its aim that the voltage goes in a step, length of a step [s].
    working, resting : array, shape (k,)
        Voltage by charge 0 to 1, with and without loads.
    charge, load : float
    offered : array, shape (n,)
    volts, connected, charges : array, shape (n,)
        Filled.
    """
    full, cut, back, giving, taking, share, settle, step = settings
    stored, on, starts = charge * full, True, 0
    inner = by_charge(working, charge)
    for k in range(offered.size):
        net = offered[k] - (load if on else 0.0)
        aim = by_charge(working if net < 0.0 else resting, stored / full)
        inner += settle * (aim - inner)
        level = inner + net / inner * (taking if net > 0.0 else giving)
        was = on
        on = (level >= cut if on else level >= back) and stored > 0.0
        if on and not was:
            starts += 1
        net = offered[k] - (load if on else 0.0)
        stored += step * net * (share if net > 0.0 else 1.0)
        stored = min(max(stored, 0.0), full)
        volts[k], connected[k], charges[k] = level, on, stored / full
    return starts
