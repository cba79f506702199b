"""What a field logger writes of its station: noisy readings, and gaps in the dark."""

import numpy as np

from ..constants import NS_PER_S
from ..errors import SettingsError
from ..time import gps_from_utc, utc_from_gps

MISSING = -6999.0  # code that loggers write for a reading that failed; common practice
NEAR_M, FAR_M = 0.5, 10.0  # m; range of a sonic ranger, handbook value
# Column: sigma of the noise, step of the converter, both in the column's unit; invented, generic
SENSORS = {
    "battery_V": (0.006, 0.01),
    "panel_A": (0.008, 0.01),
    "turbine_A": (0.008, 0.01),
    "load_A": (0.004, 0.005),
    "box_degC": (0.15, 0.1),
    "air_degC": (0.15, 0.1),
    "wind_m_s": (0.15, 0.1),
    "humidity_percent": (0.8, 0.1),
    "snow_distance_m": (0.008, 0.01),
}
POSITIVE = ("panel_A", "turbine_A", "load_A", "wind_m_s")  # counters and shunts read no less than 0


def logger_table(rng, supply, weather, step_s=3600, boom_m=2.5):
    """Return the table that the station's logger has written.

    Parameters
    ----------
    rng : numpy.random.Generator
        Noise of the sensors and their failures.
    supply : Supply
    weather : Weather
    step_s : float
        Distance of rows, which stand at whole steps of the UTC day. [s]
    boom_m : float or callable of time_s
        Height of the sonic ranger above the surface as it was at time 0. [m]

    Returns
    -------
    dict of str to array
        ``time_utc`` (ISO 8601 text to the second, ending in Z) and the columns of
        :data:`SENSORS`, all of one length. In an outage the logger is dead too: no rows. A single
        reading that failed is :data:`MISSING`: 1 in 2000, and of the sonic range where it sees
        drifting snow or nothing within its range.

    Raises
    ------
    SettingsError
        For a step that is not positive.
    """
    if not step_s > 0:
        raise SettingsError(f"step of the logger {step_s} s: it must be positive")
    utc_ns, time_s = _times(supply, step_s)
    here = supply.powered(time_s)
    utc_ns, time_s = utc_ns[here], time_s[here]
    truth = _truth(supply, weather, time_s, boom_m)
    table = {"time_utc": _text(utc_ns)}
    for name, (sigma, step) in SENSORS.items():
        value = truth[name] + sigma * rng.standard_normal(time_s.size)
        if name in POSITIVE:
            value = np.maximum(value, 0.0)
        if name == "humidity_percent":
            value = np.clip(value, 0.0, 100.0)
        value = np.round(np.round(value / step) * step, 6) + 0.0
        value[rng.uniform(size=value.size) < 5e-4] = MISSING
        table[name] = value
    drifting = np.clip((truth["wind_m_s"] - 14.0) / 20.0, 0.0, 0.9)
    lost = rng.uniform(size=time_s.size) < drifting
    distance = truth["snow_distance_m"]
    table["snow_distance_m"][lost | (distance < NEAR_M) | (distance > FAR_M)] = MISSING
    return table


def _times(supply, step_s):
    """Return (UTC [ns], seconds since the start) of the logger's rows, awake or not."""
    step_ns = round(step_s * NS_PER_S)
    last_ns = supply.start_ns + round(float(supply.time_s[-1]) * NS_PER_S) + 3600 * NS_PER_S
    first = -(-int(utc_from_gps(supply.start_ns)) // step_ns)
    utc_ns = np.arange(first * step_ns, int(utc_from_gps(last_ns)), step_ns, dtype=np.int64)
    return utc_ns, (gps_from_utc(utc_ns) - supply.start_ns) / NS_PER_S


def _text(utc_ns):
    """Return ISO 8601 text to the second."""
    dates = np.datetime_as_string(utc_ns.view("datetime64[ns]"), unit="s")
    return np.char.add(dates, "Z")


def _truth(supply, weather, time_s, boom_m):
    """Return what ideal sensors would read at times (n,): means of the hour, and the weather."""
    step = np.clip((time_s // 3600.0).astype(int), 0, supply.time_s.size - 1)
    names = ("battery_V", "panel_A", "turbine_A", "load_A", "box_degC")
    truth = {name: getattr(supply, name)[step] for name in names}
    truth["air_degC"] = weather.at("temperature_degC", time_s)
    truth["wind_m_s"] = weather.at("wind_m_s", time_s)
    truth["humidity_percent"] = weather.at("humidity_percent", time_s)
    boom = boom_m(time_s) if callable(boom_m) else boom_m
    truth["snow_distance_m"] = boom - weather.snow_surface_m(time_s)
    return truth
