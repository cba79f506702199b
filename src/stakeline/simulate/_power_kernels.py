"""Compiled step of a station's battery: plain numbers in, arrays filled."""

from ..compiling import njit

HOUR_S = 3600.0  # s/h; definition
CAPACITY_LOSS_K = 0.008  # 1/K below 25 degC; handbook value of lead-acid banks, common practice
LEAST_CAPACITY = 0.2  # -; share left in the deepest cold, invented
WARM_DEGC = 25.0  # degC; where capacity is rated, common practice
KNEE_V, FULL_V = 11.7, 12.8  # V; rest voltage of a 12 V lead-acid bank, empty and full, handbook
COLLAPSE_V, LOWEST_V = 6.0, 8.0  # V by usable capacity overdrawn, and its end; invented
LIMIT_V, LIMIT_V_K, HIGHEST_V = 14.4, -0.024, 15.2  # V, V/K; 6 cells x -4 mV/K, handbook
MONTH_S = 30.0 * 86400.0  # s; definition of the self-discharge by month


@njit
def rest_voltage(charge_state, box_degc):
    """Return the voltage at rest of what the cold leaves of the capacity. [V]"""
    usable = min(max(1.0 - CAPACITY_LOSS_K * (WARM_DEGC - box_degc), LEAST_CAPACITY), 1.0)
    left = 1.0 - (1.0 - charge_state) / usable
    if left >= 0.0:
        return KNEE_V + (FULL_V - KNEE_V) * left
    return max(KNEE_V + COLLAPSE_V * left, LOWEST_V)


@njit
def course(settings, cooling, full_j, air_degc, load_w, offered_w, stored_j, columns):
    """Step through the hours.

    Parameters
    ----------
    settings : tuple of float
        ohm at 25 degC, heater_W, heater_degC, heater_V, disconnect_V, reconnect_V,
        charge_share, charge_rate_s, self_discharge_month, box_W_K.
    cooling : float
        What is left after an hour of a difference between box and air.
    full_j : array, shape (n,)
        Energy of the full warm bank; what cells lose that fail is lost with them.
    air_degc, load_w, offered_w : array, shape (n,)
    stored_j : array, shape (n + 1,)
        Energy stored; the first is given, the others are filled.
    columns : array, shape (n, 6)
        Filled: connected, used [W], clipped [W], lost [W], battery [V], box [degC].
    """
    ohm_warm, heater, heater_degc, heater_v, cut_v, back_v = settings[:6]
    share, rate_s, month, box_w_k = settings[6:]
    box = air_degc[0]
    on = True
    for k in range(air_degc.size):
        full = full_j[k]
        if k > 0 and full != full_j[k - 1]:
            stored_j[k] *= full / full_j[k - 1]
        stored, offered, wish = stored_j[k], offered_w[k], load_w[k]
        rest = rest_voltage(stored / full, box)
        ohm = ohm_warm * 2.0 ** ((WARM_DEGC - box) / 40.0)
        if rest > heater_v and box < heater_degc:
            wish += heater
        if on:
            on = rest + (offered - wish) / rest * ohm >= cut_v
        else:
            on = rest + (offered - wish) / rest * ohm >= back_v
        idle = stored * month / MONTH_S * 2.0 ** ((box - WARM_DEGC) / 10.0)
        used = wish if on else 0.0
        drawn = 0.0
        if used > offered:
            drawn = ((used - offered) / rest) ** 2 * ohm
            if HOUR_S * (used - offered + drawn + idle) > stored:  # not an hour's energy is left
                on = False
                used = drawn = 0.0
        net = offered - used
        clipped = 0.0
        if net >= 0.0:
            limit = min(LIMIT_V + LIMIT_V_K * (box - WARM_DEGC), HIGHEST_V)
            taken = min(net, (full - stored) / rate_s, (limit - rest) / ohm * rest)
            clipped = net - taken
            volts = limit if clipped > 0.0 else rest + taken / rest * ohm
            lost = idle + (1.0 - share) * taken
            stored_j[k + 1] = stored + HOUR_S * (share * taken - idle)
        else:
            volts = rest + net / rest * ohm
            lost = idle + drawn
            stored_j[k + 1] = stored + HOUR_S * (net - lost)
        columns[k, 0] = 1.0 if on else 0.0
        columns[k, 1] = used
        columns[k, 2] = clipped
        columns[k, 3] = lost
        columns[k, 4] = volts
        columns[k, 5] = box
        settle = air_degc[k] + (used + lost) / box_w_k
        box = settle + (box - settle) * cooling
