"""The motion of a station as tables that people and programs read."""

import numpy as np

from .. import __version__
from ..campaign.store import parquet_bytes
from ..constants import DAYS_PER_YEAR
from ..formats.plain_table import write_plain_table
from ..motion.constituents import constituent
from ..motion.motion_record import AXES
from ..motion.together import COLUMNS as STRAIN_COLUMNS
from ..motion.together import azimuth_sigma

MOTION_UNITS = {
    "time_gps": "GPS time",
    "along_m": "m",
    "along_sigma_m": "m",
    "across_m": "m",
    "across_sigma_m": "m",
    "up_m": "m",
    "up_sigma_m": "m",
    "speed_m_d": "m/d",
    "speed_sigma_m_d": "m/d",
    "causal_speed_m_d": "m/d",
    "causal_speed_sigma_m_d": "m/d",
    "across_speed_m_d": "m/d",
    "across_speed_sigma_m_d": "m/d",
    "up_speed_m_d": "m/d",
    "up_speed_sigma_m_d": "m/d",
    "azimuth_deg": "deg",
    "tide_along_m": "m",
    "tide_along_sigma_m": "m",
    "tide_across_m": "m",
    "tide_across_sigma_m": "m",
    "tide_up_m": "m",
    "tide_up_sigma_m": "m",
    "residual_up_m": "m",
    "residual_up_sigma_m": "m",
    "residual_up_unsmoothed_m": "m",
    "in_gap": "",
}
"""Columns of STATION_motion.parquet in order, and their units."""

WORDS = {
    "along_m": "distance along the flow, without tide and equipment steps",
    "across_m": "distance to the left of the flow, without tide and equipment steps",
    "up_m": "height above the reference, without tide, equipment steps and, where the settings ask "
    "for it, the inverse barometer",
    "speed_m_d": "speed along the flow, from before and after",
    "causal_speed_m_d": "speed along the flow, from before alone",
    "across_speed_m_d": "velocity across the flow, positive to the left",
    "up_speed_m_d": "vertical velocity",
    "azimuth_deg": "direction of the flow, clockwise from north",
    "tide_along_m": "tide along the flow",
    "tide_across_m": "tide across the flow",
    "tide_up_m": "tide up",
    "residual_up_m": "height left after slope and all terms of the budget",
    "residual_up_unsmoothed_m": "the same from the positions measured near, not smoothed",
}


def times(time_ns):
    """Return times as the tables hold them."""
    return np.asarray(time_ns, np.int64).view("datetime64[ns]")


def motion_columns(motion):
    """Return the columns of :data:`MOTION_UNITS` of a Motion."""
    along, across, up = motion.axes
    values = [times(motion.time_ns)]
    for axis in motion.axes:
        values += [axis.position_m, axis.position_sigma_m]
    values += [along.velocity_m_d, along.velocity_sigma_m_d]
    values += [along.causal_velocity_m_d, along.causal_sigma_m_d]
    for axis in (across, up):
        values += [axis.velocity_m_d, axis.velocity_sigma_m_d]
    values += [np.degrees(motion.azimuth_rad)]
    for axis in motion.axes:
        values += [axis.tide_m, axis.tide_sigma_m]
    vertical = motion.vertical
    values += [vertical.residual_up_m, vertical.sigma_m, vertical.raw_residual_m, motion.in_gap]
    return dict(zip(MOTION_UNITS, values, strict=True))


def window_columns(motion):
    """Return (columns, units) of the velocities in windows, all lengths and axes."""
    rows = [
        (length, name, w)
        for name, axis in zip(AXES, motion.axes, strict=True)
        for length, w in axis.windows.items()
    ]
    columns = {
        "window_d": [np.full(len(w.start_ns), length) for length, _, w in rows],
        "axis": [np.full(len(w.start_ns), name, object) for _, name, w in rows],
        "start_gps": [times(w.start_ns) for *_, w in rows],
        "end_gps": [times(w.end_ns) for *_, w in rows],
        "velocity_m_d": [w.velocity_m_d for *_, w in rows],
        "velocity_sigma_m_d": [w.velocity_sigma_m_d for *_, w in rows],
        "mean_gps": [times(w.time_ns) for *_, w in rows],
        "position_m": [w.position_m for *_, w in rows],
        "positions": [w.count for *_, w in rows],
        "independent": [w.independent for *_, w in rows],
    }
    units = {"window_d": "d", "start_gps": "GPS time", "end_gps": "GPS time"}
    units |= {"velocity_m_d": "m/d", "velocity_sigma_m_d": "m/d"}
    units |= {"mean_gps": "GPS time", "position_m": "m"}
    empty = {"axis": np.zeros(0, object)}
    return {
        name: np.concatenate(parts) if parts else empty.get(name, np.zeros(0))
        for name, parts in columns.items()
    }, units


def budget_columns(motion):
    """Return (columns, units) of the height budget: measured, terms, residual, with sigmas."""
    budget = motion.vertical.budget
    columns = {"time_gps": times(budget.time_ns), "measured_m": budget.measured_m}
    for term in budget.terms:
        name = term.name.replace(" ", "_")
        columns[f"{name}_m"] = term.value_m
        columns[f"{name}_sigma_m"] = np.sqrt(term.sigma_m**2 + (term.factor_m**2).sum(axis=1))
    columns["residual_m"] = budget.residual_m
    columns["residual_own_sigma_m"] = budget.residual_sigma_m
    columns["residual_sigma_m"] = budget.total_sigma_m()
    units = {name: "GPS time" if name == "time_gps" else "m" for name in columns}
    return columns, units


def tides_csv(motion):
    """Return the bytes of the table of tides of the three axes."""
    rows = [
        (name, tides, k)
        for name, axis in zip(AXES, motion.axes, strict=True)
        if (tides := axis.tides) is not None
        for k in np.argsort(-tides.amplitude, kind="stable")
    ]
    remarks = {
        (name, wave.constituent): wave.remark
        for name, waves in zip(AXES, motion.solar, strict=True)
        for wave in waves
    }
    guessed = [{i.name: i.of for i in tides.inferred} for _, tides, _ in rows]
    columns = {
        "axis": [name for name, *_ in rows],
        "constituent": [t.names[k] for _, t, k in rows],
        "period_h": np.array([constituent(t.names[k]).period_h for _, t, k in rows], float),
        "amplitude_m": np.array([t.amplitude[k] for _, t, k in rows], float),
        "amplitude_sigma_m": np.array([t.amplitude_sigma[k] for _, t, k in rows], float),
        "greenwich_lag_deg": np.array([t.phase_deg[k] for _, t, k in rows], float),
        "greenwich_lag_sigma_deg": np.array([t.phase_sigma_deg[k] for _, t, k in rows], float),
        "inferred_from": [
            g.get(t.names[k], "") for g, (_, t, k) in zip(guessed, rows, strict=True)
        ],
        "by_geometry": ["yes" if t.names[k] in ("K1", "K2") else "" for _, t, k in rows],
        "remark": [remarks.get((name, t.names[k]), "") for name, t, k in rows],
    }
    decimals = {"period_h": 4, "amplitude_m": 5, "amplitude_sigma_m": 5}
    return write_plain_table(columns, decimals | dict.fromkeys(
        ("greenwich_lag_deg", "greenwich_lag_sigma_deg"), 2))  # fmt: skip


def noise_csv(motion):
    """Return the bytes of the mean velocity of each axis, by net travel and under its noise."""
    rates = [axis.mean_rate for axis in motion.axes]

    def of_noise(pick):
        return np.array([pick(rate.noise) if rate.noise else np.nan for rate in rates], float)

    columns = {
        "axis": list(AXES),
        "velocity_m_d": np.array([rate.velocity_m_d for rate in rates], float),
        "velocity_sigma_m_d": np.array([rate.sigma_m_d for rate in rates], float),
        "travel_m_d": np.array([axis.mean_velocity_m_d for axis in motion.axes], float),
        "travel_sigma_m_d": np.array([axis.mean_velocity_sigma_m_d for axis in motion.axes], float),
        "spectral_index": of_noise(lambda noise: noise.spectral_index),
        "white_m": of_noise(lambda noise: noise.white_sigma),
        "power_law": of_noise(lambda noise: noise.power_sigma),
        "power_law_unit": [_power_law_unit(rate.noise) for rate in rates],
        "gain": of_noise(lambda noise: noise.gain),
        "interval_d": np.array([rate.interval_d for rate in rates], float),
        "means": np.array([rate.means for rate in rates], float),
        "moves_evenly": ["" if not r.noise else "no" if r.uneven else "yes" for r in rates],
        "at_bound": ["" if not r.noise else "yes" if r.noise.at_bound else "no" for r in rates],
        "why_not": [rate.why for rate in rates],
    }
    speeds = ("velocity_m_d", "velocity_sigma_m_d", "travel_m_d", "travel_sigma_m_d")
    decimals = dict.fromkeys(speeds, 8) | {"white_m": 6, "power_law": 6, "spectral_index": 3}
    return write_plain_table(columns, decimals | {"gain": 2, "interval_d": 0, "means": 0})


def _power_law_unit(noise):
    return f"m/a^{-0.25 * noise.spectral_index:.3f}" if noise else ""


def steps_csv(motion):
    """Return the bytes of the table of steps."""
    steps = motion.steps
    columns = {
        "before_gps": np.asarray(steps.before_ns, np.int64),
        "after_gps": np.asarray(steps.after_ns, np.int64),
        "kind": list(steps.kind),
        "logged": ["yes" if logged else "no" for logged in steps.logged],
        "removed": ["yes" if kind == "equipment" else "no" for kind in steps.kind],
    }
    for k, name in enumerate(AXES):
        columns[f"{name}_m"] = steps.size_m[:, k]
        columns[f"{name}_sigma_m"] = steps.sigma_m[:, k]
    columns["reason"] = [reason.replace("\n", " ") for reason in steps.reason]
    return write_plain_table(columns, {name: 4 for name in columns if name.endswith("_m")})


def station_files(motion, metadata):
    """Return {end of the name: bytes} of all tables of one station."""
    name = motion.station
    metadata = {
        **metadata, "version": __version__, "station": name, "time_scale": "GPS time",
        "latitude_deg": float(np.degrees(motion.latitude_rad)),
        "longitude_deg": float(np.degrees(motion.longitude_rad)),
        "height_m": float(motion.height_m),
        "azimuth_sigma_rad": azimuth_sigma(motion.path),
        "mean_speed_m_d": motion.along.mean_velocity_m_d,
        "mean_speed_sigma_m_d": motion.along.mean_velocity_sigma_m_d,
    }  # fmt: skip
    return {
        f"{name}_motion.parquet": parquet_bytes(motion_columns(motion), MOTION_UNITS, metadata),
        f"{name}_windows.parquet": parquet_bytes(*window_columns(motion), metadata),
        f"{name}_budget.parquet": parquet_bytes(*budget_columns(motion), metadata),
        f"{name}_tides.csv": tides_csv(motion),
        f"{name}_steps.csv": steps_csv(motion),
        f"{name}_noise.csv": noise_csv(motion),
    }


def network_columns(network):
    """Return (columns, units) of the stations side by side, station after station."""
    count = len(network.time_ns)
    columns = {
        "time_gps": np.tile(times(network.time_ns), len(network.stations)),
        "station": np.repeat(np.array(network.stations, object), count),
        "speed_m_d": network.speed_m_d.ravel(),
        "speed_sigma_m_d": network.speed_sigma_m_d.ravel(),
        "anomaly_percent": network.anomaly_percent.ravel(),
        "anomaly_sigma_percent": network.anomaly_sigma_percent.ravel(),
    }
    units = {"time_gps": "GPS time", "speed_m_d": "m/d", "speed_sigma_m_d": "m/d"}
    return columns, units | dict.fromkeys(("anomaly_percent", "anomaly_sigma_percent"), "%")


def strain_columns(network):
    """Return (columns, units) of the strain of each set of stations at the common times."""
    series, count = network.strain, len(network.time_ns)
    columns = {
        "time_gps": np.tile(times(network.time_ns), len(series)),
        "stations": np.repeat(np.array(["-".join(s.stations) for s in series], object), count),
    }
    for name in STRAIN_COLUMNS:
        columns[name] = np.concatenate([s.values[name] for s in series] or [np.zeros(0)])
    units = {name: _strain_unit(name) for name in STRAIN_COLUMNS}
    return columns, {"time_gps": "GPS time", **units}


def _strain_unit(name):
    if name.endswith("_per_a"):
        return "1/a"
    return "rad/a" if name.endswith("_rad_a") else "rad" if name.endswith("_rad") else "1"


def lags_csv(network):
    """Return the bytes of the table of lags: the second follows the first by so many days."""
    rows = network.lags
    columns = {"first": [a for a, *_ in rows], "second": [b for _, b, _ in rows]}
    for name in ("lag_d", "low_d", "high_d", "correlation", "independent", "p_value"):
        columns[name] = np.array([getattr(lag, name) for *_, lag in rows], float)
    columns["at_edge"] = ["yes" if lag.at_edge else "no" for *_, lag in rows]
    return write_plain_table(columns, {"p_value": 6, "correlation": 3, "independent": 1})


def yearly(value_m_d):
    """Return a daily speed as a yearly one. [m/a]"""
    return value_m_d * DAYS_PER_YEAR
