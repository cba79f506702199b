"""Compiled hours of a station's energy: plain numbers in, arrays filled."""

import math

from ..compiling import njit

HOUR_S = 3600.0  # s/h; definition
COLDEST_DEGC = -100.0  # degC; first node of the tables by temperature, one a kelvin
COLLAPSE = 0.5  # -; fall of the voltage, by nominal, for usable capacity overdrawn; own choice
LOWEST = 0.5  # -; lowest voltage by nominal; own choice
TAPER_S = 3.0 * HOUR_S  # s; a bank takes full power until it would fill in this time; own choice
WINDOW = 0.99  # -; kept each hour of what was refused and used: a memory of 100 h; own choice
SAVING_APART = 0.05  # -; charge above its limit at which a load saves no more, own choice
EMPTY_CHARGE = 0.3  # -; a bank that stops with more has it locked up by the cold; own choice
SPOILT = 0.8  # -; of the capacity: cells with less are at their end, common practice, no source

# Rows of the tables by temperature.
USABLE, RATE, LEAST, IDLE, OHM, LIMIT, SHIFT, FULL = range(8)
# Columns of the outcome of a year.
OFFERED, CLIPPED, LOAD, HEATER, LOST, START, END = range(7)
OFF_H, FIRST_OFF, LONGEST_OFF, LONGEST_H, CAUSE, FROZEN_H, REFUSED, LOWEST_CHARGE, LOWEST_V = range(
    7, 16
)
FIRST_CAUSE, STARTS, BACK, OVER_H, SAVED, FIRST_OVER, FIRST_FROZEN = range(16, 23)
FROST_H, FIRST_FROST, PLATED, FIRST_SPOILT = range(23, 27)
COLUMNS = 27
# Rows of what is kept of each day.
DAY_CHARGE, DAY_ON, DAY_BOX = range(3)
DAY_ROWS, DAY_H = 3, 24
# Causes of the longest outage.
NONE, EMPTY, COLD, PEAK, FROZEN, BANNED, TRIPPED, BY_HAND, ASLEEP, PLATING = range(10)


@njit
def by_temperature(table, row, degrees):
    """Return a row of the tables at a temperature, its ends beyond.

    The charge rate is that of the colder node, and what is usable stays nothing until the next: a
    ban holds to its limit.
    """
    place = degrees - COLDEST_DEGC
    last = table.shape[1] - 1
    if place <= 0.0:
        return table[row, 0]
    if place >= last:
        return table[row, last]
    node = int(place)
    if row == RATE or (row == USABLE and table[row, node] == 0.0):
        return table[row, node]
    share = place - node
    return table[row, node] + share * (table[row, node + 1] - table[row, node])


@njit
def rest_voltage(rest_v, nominal, left):
    """Return the rest voltage by the usable charge left, falling steeply below none. [V]"""
    if left < 0.0:
        return max(rest_v[0] + COLLAPSE * nominal * left, LOWEST * nominal)
    last = rest_v.size - 1
    place = min(left, 1.0) * last
    node = min(int(place), last - 1)
    return rest_v[node] + (place - node) * (rest_v[node + 1] - rest_v[node])


@njit
def cause_of(charge, frozen, sags, refused, used, tripped, asleep, spoilt):
    """Return why the loads are cut off, or fall asleep."""
    if tripped:
        return TRIPPED
    if asleep:
        return ASLEEP
    if spoilt:
        return PLATING
    if frozen:
        return FROZEN
    if sags:
        return PEAK
    if refused > used:
        return BANNED
    return EMPTY if charge < EMPTY_CHARGE else COLD


@njit
def bank_now(settings, tables, rest_v, full, stored, box, on):
    """Return what one hour needs to know.

    Rest [V], by what the cold leaves under load and by the whole charge without; resistance of
    giving and of taking [ohm]; power it takes, and loses of itself [W]; whether it is frozen;
    charge rate [1/h].
    """
    whole, nominal = settings[0], settings[1]
    charge = stored / whole
    usable = by_temperature(tables, USABLE, box)
    left = charge
    if on:
        left = 1.0 - (1.0 - charge) / usable if usable > 0.0 else -1.0
    rest = rest_voltage(rest_v, nominal, left) + by_temperature(tables, SHIFT, box)
    cold = by_temperature(tables, OHM, box)
    ohm, charging = settings[4] * cold, settings[7] * cold
    rate = by_temperature(tables, RATE, box)
    most = full * by_temperature(tables, FULL, box)
    room = min(rate / HOUR_S * whole, (most - stored) / TAPER_S)
    room = max(min(room, (by_temperature(tables, LIMIT, box) - rest) / charging * rest), 0.0)
    idle = by_temperature(tables, IDLE, box) * stored
    frozen = charge < by_temperature(tables, LEAST, box)
    return rest, ohm, charging, room, idle, frozen, rate


@njit
def switch(settings, on, rest, ohm, charging, room, offered, wish, peak):
    """Return whether loads are connected, whether only their peak cuts them off, lowest voltage."""
    cut, back = settings[2], settings[3]
    if not on:
        return rest + min(offered, room) / rest * charging >= back, False, rest
    taken = min(offered - wish, room)
    level = rest + taken / rest * (charging if taken > 0.0 else ohm)
    lowest = level - peak / rest * ohm
    sags = level >= cut and lowest < cut
    return level >= cut and not sags, sags, lowest


@njit
def blamed(cause, ran, on, charge, frozen, sags, refused, used, tripped, asleep, spoilt):
    """Return the cause of an outage that goes on or begins in this hour."""
    if not ran:
        return BY_HAND if on and not (asleep or spoilt) else cause
    return cause_of(charge, frozen, sags, refused, used, tripped, asleep and on, spoilt)


@njit
def note_run(outcome, k, ran, runs, off_since, cause):
    """Count an hour without loads, or their return; return when the outage began."""
    if runs:
        if not ran:
            outcome[STARTS] += 1.0
            outcome[BACK] = k
        return off_since
    off_since = k if ran else off_since
    if outcome[FIRST_OFF] < 0.0:
        outcome[FIRST_OFF] = k
        outcome[FIRST_CAUSE] = cause
    outcome[OFF_H] += 1.0
    if k + 1 - off_since > outcome[LONGEST_H]:
        outcome[LONGEST_H] = k + 1 - off_since
        outcome[LONGEST_OFF] = off_since
        outcome[CAUSE] = cause
    return off_since


@njit
def note_hour(outcome, number, first, k):
    """Count an hour, and keep the first."""
    if outcome[number] == 0.0:
        outcome[first] = k
    outcome[number] += 1.0


@njit
def note_limits(outcome, k, frozen, over, charge, level):
    """Count an hour of a frozen bank or of too much wind; keep the lowest charge and voltage."""
    if frozen:
        note_hour(outcome, FROZEN_H, FIRST_FROZEN, k)
    if over:
        note_hour(outcome, OVER_H, FIRST_OVER, k)
    outcome[LOWEST_CHARGE] = min(outcome[LOWEST_CHARGE], charge)
    outcome[LOWEST_V] = min(outcome[LOWEST_V], level)


@njit
def note_energy(outcome, offered, clipped, used, heater, lost, refused):
    """Add the powers of an hour. [W]"""
    outcome[OFFERED] += HOUR_S * offered
    outcome[CLIPPED] += HOUR_S * clipped
    outcome[LOAD] += HOUR_S * (used - heater)
    outcome[HEATER] += HOUR_S * heater
    outcome[LOST] += HOUR_S * lost
    outcome[REFUSED] += HOUR_S * refused


@njit
def note_day(days, k, charge, on, box):
    """Keep the day's lowest charge, hours with loads and coldest box."""
    d = k // DAY_H
    if d >= days.shape[1]:
        return
    if k % DAY_H == 0:
        days[DAY_CHARGE, d], days[DAY_ON, d], days[DAY_BOX, d] = charge, 0.0, box
    days[DAY_CHARGE, d] = min(days[DAY_CHARGE, d], charge)
    days[DAY_ON, d] += 1.0 if on else 0.0
    days[DAY_BOX, d] = min(days[DAY_BOX, d], box)


@njit
def saved_now(savings, saving, charge, cut_off):
    """Return what loads save at a state of charge [W], and whether one has fallen asleep for ever.

    Each with two limits; ``saving`` is kept. What waits for a person after a cut-off saves nothing.
    """
    total, asleep = 0.0, False
    for i in range(savings.shape[0]):
        stays, by_hand = savings[i, 2] > 0.0, savings[i, 3] > 0.0
        limit = savings[i, 0] + (SAVING_APART if saving[i] else 0.0)
        saving[i] = charge < limit or (stays and saving[i])
        asleep = asleep or (stays and saving[i])
        total += savings[i, 1] if saving[i] and not (by_hand and cut_off) else 0.0
    return total, asleep


@njit
def charged(outcome, k, whole, full, stored, taken, warmth, plated):
    """Return (full, stored) [J] after an hour, and what was lost in it [W].

    What was charged in frost is taken from the capacity, at its upper end, and not kept: metal that
    is plated gives back nothing.
    """
    stored += HOUR_S * (taken - warmth - plated)
    lost = warmth + plated
    if plated > 0.0:
        full -= HOUR_S * plated
        note_hour(outcome, FROST_H, FIRST_FROST, k)
        outcome[PLATED] += HOUR_S * plated
        if outcome[FIRST_SPOILT] < 0.0 and full <= SPOILT * whole:
            outcome[FIRST_SPOILT] = k
    return full, stored, lost


@njit
def prepare(outcome, days, saving, stored, charge):
    """Set what is kept of a year to its beginning."""
    outcome[:] = 0.0
    outcome[START] = stored
    outcome[FIRST_OFF] = outcome[LONGEST_OFF] = outcome[BACK] = -1.0
    outcome[FIRST_OVER] = outcome[FIRST_FROZEN] = -1.0
    outcome[FIRST_FROST] = outcome[FIRST_SPOILT] = -1.0
    outcome[LOWEST_CHARGE], outcome[LOWEST_V] = charge, 1e9
    days[:] = 0.0
    saving[:] = False


@njit
def year(
    settings,
    tables,
    rest_v,
    degrees,
    losses,
    loss_step,
    offered,
    wind,
    load,
    savings,
    saving,
    charge,
    outcome,
    days,
    trace,
    keep,
):
    """Step through one year.

    Parameters
    ----------
    settings : tuple of float
        full_J, nominal_V, disconnect_V, reconnect_V, ohm, charge_share, peak_W, charging
        ohm, heater_W, heater_on_degC, heater_off_degC, heater_least_V, heat_J_K, dump_W,
        peak_least_V, trip_V (0 for none), hand_W (stays off after a cut-off), silent and plates
        (1 or 0: whether hours after a cut-off count as lost; whether charge in frost is metal).
    tables : array, shape (8, k)
        Usable share, charge rate [1/h], least charge against frost, self-discharge [1/s], factor of
        the resistance, charge limit [V], shift of the rest voltage [V] and charge at which charging
        ends, a kelvin apart.
    rest_v : array, shape (r,)
        Rest voltage by usable charge 0 to 1.
    degrees, offered, load : array, shape (n,)
    losses : array, shape (s,)
        Of the box to its surroundings [W/K], for ``loss_step`` hours each.
    wind : array, shape (n,) or (0,)
        The turbine's part of what is offered.
    savings : array, shape (s, 4)
        State of charge below which a load saves, by how much [W], whether (1 or 0) it never wakes
        again, and whether it stays off after a cut-off.
    saving : bool array, shape (s,)
        Overwritten.
    charge : float
        State at the beginning.
    outcome : array, shape (COLUMNS,)
        Filled.
    days : array, shape (DAY_ROWS, d)
        Filled, by day.
    trace : array, shape (3, n) or (3, 0)
        Filled where ``keep``: charge at the hour's end, connected, box [degC] at its end.
    keep : bool
    """
    whole, share = settings[0], settings[5]
    heater_w, warm_on, warm_off, heater_v, heat_j_k, dump_w, peak_v = settings[8:15]
    trip_v, hand_w, silent, plates = settings[15:]
    full, stored, box = whole, charge * whole, degrees[0]
    on, ran, heating, cut_off, tripped = True, True, False, False, False
    off_since, cause, refused_lately, used_lately = -1, NONE, 0.0, 0.0
    loss_w_k, cooling = 0.0, 0.0
    prepare(outcome, days, saving, stored, charge)
    for k in range(degrees.size):
        if k % loss_step == 0:
            loss_w_k = losses[k // loss_step]
            cooling = math.exp(-HOUR_S * loss_w_k / heat_j_k)
        rest, ohm, charging, room, idle, frozen, rate = bank_now(
            settings, tables, rest_v, full, stored, box, on
        )
        frost = plates > 0.0 and box < 0.0
        heating = (box < warm_on) if not heating else (box <= warm_off)
        heater = heater_w if heating and rest >= heater_v else 0.0
        charge = stored / whole
        asked = max(load[k] - hand_w, 0.0) if cut_off else load[k]
        saved, asleep = saved_now(savings, saving, charge, cut_off)
        saved = min(saved, asked)
        wish, peak = asked - saved + heater, settings[6] if rest >= peak_v else 0.0
        was_on = on
        lifts = 0.0 if frost else room  # what plates is not trusted to lift the voltage
        on, sags, lowest = switch(settings, on, rest, ohm, charging, lifts, offered[k], wish, peak)
        tripped = tripped or (was_on and trip_v > 0.0 and lowest < trip_v)
        on = on and not tripped
        drawn = (max(wish - offered[k], 0.0) / rest) ** 2 * ohm if on else 0.0
        on = on and not (  # not an hour's energy is left
            wish > offered[k] and HOUR_S * (wish - offered[k] + drawn + idle) > stored
        )
        used, heater, drawn = (wish, heater, drawn) if on else (0.0, 0.0, 0.0)
        net = offered[k] - used
        taken = min(net, room)  # below 0: given
        clipped = net - taken
        plated = max(taken, 0.0) if frost else 0.0
        warmth = idle + drawn + (1.0 - share) * max(taken - plated, 0.0)
        full, stored, lost = charged(outcome, k, whole, full, stored, taken, warmth, plated)
        refused = clipped if rate <= 0.0 else 0.0
        refused_lately = WINDOW * refused_lately + refused
        used_lately = WINDOW * used_lately + wish
        note_energy(outcome, offered[k], clipped, used, heater, lost, refused)
        outcome[SAVED] += HOUR_S * saved if on else 0.0
        over = wind.size > 0 and min(clipped, wind[k]) > dump_w
        note_limits(outcome, k, frozen, over, stored / whole, rest + min(taken, 0.0) / rest * ohm)
        cut_off = cut_off or not on
        spoilt = full <= SPOILT * whole
        runs = on and not (asleep or spoilt or (silent > 0.0 and cut_off))
        if not runs:
            cause = blamed(cause, ran, on, charge, frozen, sags, refused_lately, used_lately,
                           tripped, asleep, spoilt)  # fmt: skip
        off_since = note_run(outcome, k, ran, runs, off_since, cause)
        ran = runs
        settle = degrees[k] + (used + warmth) / loss_w_k
        box = settle + (box - settle) * cooling
        note_day(days, k, stored / whole, runs, box)
        if keep:
            trace[0, k], trace[1, k], trace[2, k] = stored / whole, 1.0 if on else 0.0, box
    outcome[END] = stored


@njit
def years(
    settings,
    tables,
    rest_v,
    degrees,
    losses,
    loss_step,
    offered,
    wind,
    load,
    savings,
    saving,
    charge,
    outcome,
    days,
    trace,
    keep,
):
    """Step through m years, (m, n) each; ``wind`` (m, n) or (1, 0), ``losses`` (m or 1, s)."""
    for i in range(degrees.shape[0]):
        year(
            settings,
            tables,
            rest_v,
            degrees[i],
            losses[i if losses.shape[0] > 1 else 0],
            loss_step,
            offered[i],
            wind[i if wind.shape[1] else 0],
            load,
            savings,
            saving,
            charge,
            outcome[i],
            days[i],
            trace[i],
            keep,
        )
