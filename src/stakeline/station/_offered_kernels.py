"""Compiled hours of what panels and turbine bring to the bank."""

from ..compiling import njit
from .panel import CALM_LOSS_W_M2_K, WIND_LOSS_J_M3_K
from .storm import DRY_AIR_J_KG_K, ZERO_DEGC_K
from .turbine import STANDARD_KG_M3

LIGHT_STEP = 0.5  # -; between nodes of a panel's table, by the root of W/m2
CELL_STEP_K = 5.0  # K; the same, by temperature of the cells
CELL_COLDEST_DEGC = -100.0  # degC; first node
CURVE_STEP_M_S = 0.1  # m/s; between nodes of a turbine's curve


@njit
def by_light(table, light, cell):
    """Return the power of a panel by light and temperature of its cells, between nodes."""
    x, y = light**0.5 / LIGHT_STEP, (cell - CELL_COLDEST_DEGC) / CELL_STEP_K
    x = min(x, table.shape[0] - 1.001)
    y = min(max(y, 0.0), table.shape[1] - 1.001)
    i, j = int(x), int(y)
    a, b = x - i, y - j
    low = table[i, j] + b * (table[i, j + 1] - table[i, j])
    high = table[i + 1, j] + b * (table[i + 1, j + 1] - table[i + 1, j])
    return low + a * (high - low)


@njit
def panels(by_cloud, free, steps, table, rime_loss, degrees, wind, cloud, rime, out):
    """Fill the power of one panel in m years of n hours.

    ``by_cloud`` (3, n): light as constant, linear and quadratic in the cloud cover. ``free`` (m,
    s): share that snow leaves, by ``steps`` hours. ``table``: power by root of light and cells'
    temperature. ``degrees``, ``wind``, ``cloud``, ``rime``, ``out`` (m, n).
    """
    for i in range(out.shape[0]):
        for t in range(out.shape[1]):
            c = cloud[i, t]
            light = by_cloud[0, t] + c * (by_cloud[1, t] + c * by_cloud[2, t])
            light *= free[i, t // steps] * (1.0 - rime_loss * rime[i, t])
            if light <= 0.0:
                out[i, t] = 0.0
                continue
            cell = degrees[i, t] + light / (CALM_LOSS_W_M2_K + WIND_LOSS_J_M3_K * wind[i, t])
            out[i, t] = by_light(table, light, cell)


@njit
def turbines(
    curve, factor, survival, ends, rime_stop, pressure_hPa, rated, degrees, wind, rime, out
):
    """Fill the power of one turbine in m years of n hours; gone from its survival wind on.

    ``curve``: power at standard density by ``CURVE_STEP_M_S`` of the wind at the hub, which is
    ``factor`` times the wind given. ``ends`` (m,): hour in which it breaks of itself.
    """
    for i in range(out.shape[0]):
        whole = True
        for t in range(out.shape[1]):
            hub = wind[i, t] * factor
            whole = whole and hub < survival and t < ends[i]
            if not whole:
                out[i, t] = 0.0
                continue
            place = min(hub / CURVE_STEP_M_S, curve.size - 1.001)
            k = int(place)
            power = curve[k] + (place - k) * (curve[k + 1] - curve[k])
            density = 100.0 * pressure_hPa / (DRY_AIR_J_KG_K * (degrees[i, t] + ZERO_DEGC_K))
            icing = max(1.0 - rime[i, t] / rime_stop, 0.0)
            out[i, t] = min(power * density / STANDARD_KG_M3, rated) * icing
