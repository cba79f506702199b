"""The truth of an invented campaign, written where no verb reads it."""

import numpy as np

from ..campaign.store import parquet_bytes
from ..formats.plain_table import write_plain_table
from ..simulate.campaign import DAY_S
from ..tables import satellite_name

TRUTH = "truth"
AXES = ("east", "north", "up")
_LAKE_STEP_S = 3600.0
_SITE_DECIMALS = {"latitude_deg": 6, "longitude_deg": 6, "turn_rad_m": 9, "stretch_a": 5}
_UNITS = {"time_gps": "GPS time", "speed_m_d": "m/d", "clock_s": "s", "running": ""}


def truth_files(invented):
    """Return {path: bytes} of the truth of the whole: sites, events, lakes."""
    lakes = _lake_columns(invented)
    units = {name: name.rpartition("_")[2] for name in lakes if name != "time_gps"}
    return {
        f"{TRUTH}/stations.csv": write_plain_table(_sites(invented), _SITE_DECIMALS),
        f"{TRUTH}/events.csv": write_plain_table(_events(invented)),
        f"{TRUTH}/visits.csv": write_plain_table(_visits(invented), {"antenna_height_m": 4}),
        f"{TRUTH}/lakes.parquet": parquet_bytes(lakes, units, {"time_scale": "GPS"}),
    }


def _sites(invented):
    sites = list(invented.sites.values())
    names = ("flow_m", "side_m", "speed_m_d", "stretch_a", "turn_rad_m", "thickness_m")
    columns = {"station": [s.name for s in sites]}
    columns["latitude_deg"] = np.degrees([s.place.latitude_rad for s in sites])
    columns["longitude_deg"] = np.degrees([s.place.longitude_rad for s in sites])
    columns["height_m"] = np.array([s.place.height_m for s in sites])
    columns["azimuth_deg"] = np.degrees([s.azimuth_rad for s in sites])
    for name in (*names, "grounding_m", "accumulation_m_a"):
        columns[name] = np.array([getattr(s, name) for s in sites], float)
    return columns | {"purpose": [s.purpose for s in sites]}


def _events(invented):
    events = invented.water.events
    columns = {"lake": [event.lake for event in events]}
    for edge in ("onset", "peak", "end"):
        seconds = np.array([getattr(event, f"{edge}_s") for event in events], float)
        columns[f"{edge}_gps"] = [str(t)[:19] for t in _calendar(invented, seconds)]
    columns["volume_m3"] = np.array([event.volume_m3 for event in events], float)
    columns["peak_m3_s"] = np.array([event.peak_m3_s for event in events], float)
    return columns | {"cause": [event.cause for event in events]}


def _calendar(invented, time_s):
    return invented.time_ns(time_s).view("datetime64[ns]")


def _visits(invented):
    rows = [(name, visit) for name in invented.sites for visit in invented.visits(name)]
    seconds = np.array([visit.time_s for _, visit in rows], float)
    columns = {
        "station": [name for name, _ in rows],
        "time_gps": invented.time_ns(seconds),
        "kind": [visit.kind for _, visit in rows],
    }
    for field in ("east_m", "north_m", "up_m", "antenna_height_m"):
        columns[field] = np.array([getattr(visit, field) for _, visit in rows], float)
    columns["in_the_history"] = ["yes" if visit.logged else "no" for _, visit in rows]
    return columns | {"note": [visit.note for _, visit in rows]}


def _lake_columns(invented):
    time_s = np.arange(0.0, invented.days * DAY_S, _LAKE_STEP_S)
    columns = {"time_gps": _calendar(invented, time_s)}
    for index, lake in enumerate(invented.glacier.lakes):
        name = lake.name.lower().replace(" ", "_")
        columns[f"{name}_roof_m"] = invented.water.level_m(index, time_s)
        columns[f"{name}_volume_m3"] = invented.water.volume_m3(index, time_s)
        columns[f"{name}_discharge_m3s"] = invented.water.discharge_m3_s(index, time_s)
    return columns


def hourly_truth(invented, name, time_s, running):
    """Return a station's true path, its parts, speed and mast above the snow, at times (n,)."""
    marker = invented.marker(name)
    columns = {"time_gps": _calendar(invented, time_s), "running": running}
    columns |= _by_axis("{}_m", AXES, marker.displacement_m(time_s))
    columns |= _by_axis("{}_m", "xyz", marker.position_m(time_s))
    columns |= _by_axis("ice_{}_m", AXES, marker.ice_m(time_s))
    for part, moved in marker.parts_m(time_s).items():
        columns |= _by_axis(part + "_{}_m", ("along", "across", "up"), moved)
    columns["speed_m_d"] = marker.speed_m_d(time_s)
    columns["mast_m"] = invented.mast_m(name, time_s)
    return columns


def answers(invented, name):
    """Return how a station's flow answers to each drainage: a share of its speed, for how long."""
    flow = invented.marker(name).flow
    pulses = list(flow.answers)
    columns = {
        "lake": [pulse.event.lake for pulse in pulses],
        "onset_gps": invented.time_ns(np.array([p.event.onset_s for p in pulses], float)),
        "begin_gps": invented.time_ns(np.array([p.begin_s for p in pulses], float)),
    }
    for field in ("rise_s", "lasts_s", "fall_s", "size"):
        columns[field] = np.array([getattr(pulse, field) for pulse in pulses], float)
    return columns


def _by_axis(form, names, values):
    return {form.format(name): values[:, k] for k, name in enumerate(names)}


def raw_truth_files(name, station, truth):
    """Return {path: bytes} of the truth of receiver files: path, delay, clock, slips, bursts."""
    columns = {"time_gps": truth.time_ns.view("datetime64[ns]")}
    columns |= _by_axis("{}_m", AXES, truth.displacement_m)
    columns |= _by_axis("{}_m", "xyz", truth.position_m)
    columns |= {"zenith_delay_m": truth.zenith_delay_m, "clock_s": truth.clock_s}
    place = station.motion.place
    metadata = {"point": "marker", "origin_m": place.position_m, "axes": place.axes}
    slips = {
        "time_gps": np.array([slip.time_ns for slip in truth.slips], np.int64),
        "satellite": [satellite_name(slip.satellite) for slip in truth.slips],
        "cycles_first": np.array([slip.cycles[0] for slip in truth.slips], float),
        "cycles_second": np.array([slip.cycles[1] for slip in truth.slips], float),
        "flagged": ["yes" if slip.flagged else "no" for slip in truth.slips],
    }
    folder = f"{TRUTH}/receiver"
    return {
        f"{folder}/{name}.parquet": parquet_bytes(columns, units_of(columns), metadata),
        f"{folder}/{name}_slips.csv": write_plain_table(
            slips, {"cycles_first": 1, "cycles_second": 1}
        ),
    }


def units_of(columns):
    """Return the unit of each column."""
    return _UNITS | {column: "m" for column in columns if column.endswith("_m")}
