"""Files about all stations together, from the tables of each."""

import json

import numpy as np

from .. import __version__
from ..campaign.store import json_text, parquet_bytes, read_table
from ..formats.series_netcdf import StationSeriesFile, write_series
from ..motion.together import StationVelocity, solve_network
from .motion_admittance import admittance_csv
from .motion_coherence import coherence_csv, coherence_rows
from .motion_results import csv_rows
from .motion_satellite import compared, satellite_csv, satellite_words
from .motion_tables import MOTION_UNITS, WORDS, lags_csv, network_columns, strain_columns
from .motion_words import network_summary, network_words, station_words
from .series import side_by_side

FRAME_COMMENT = (
    "Distances are true metres along the flow, to its left and up. Without tide and equipment "
    "steps. Sigmas are one standard deviation. Missing values are gaps: nothing is interpolated"
)


def together(root, records, part, campaign=None):
    """Return {name: bytes} of the files about all stations.

    Parameters
    ----------
    root : path
    records : dict
        For each station the names of its files with their checksums, as the ledger has them.
    part : MotionPart
    campaign : Campaign, optional
        With speeds of satellites to compare with.
    """
    tables, told, tides = {}, {}, {}
    for name, files in records.items():
        by_end = {file.rpartition("/")[2].removeprefix(f"{name}_"): file for file in files}
        tables[name] = read_table(root / by_end["motion.parquet"])
        tides[name] = csv_rows(root / by_end["tides.csv"])
        told[name] = json.loads((root / by_end["summary.json"]).read_text(encoding="utf-8"))
    velocities = [_velocity(name, *table) for name, table in tables.items()]
    network = solve_network(velocities, np.random.default_rng(part.seed), part.longest_gap_d)
    summary = network_summary(network) | {"frames": _frames(told)}
    pairs = coherence_rows(
        {v.station: (v.time_ns, v.velocity_m_d[:, 0]) for v in velocities if v.moves},
        {name: _resolutions(told[name]["axes"]["along"]) for name in told},
    )
    metadata = {"version": __version__, "time_scale": "GPS time", "stations": list(tables)}
    seen = compared(campaign, tables) if campaign and part.satellite else ()
    *lines, blank, aliases = network_words(summary)
    last = [*lines, *satellite_words(seen), blank, aliases]
    words = [line for name in told for line in (*station_words(told[name]), "")]
    return {
        "network.parquet": parquet_bytes(*network_columns(network), metadata),
        "strain.parquet": parquet_bytes(*strain_columns(network), metadata),
        "lags.csv": lags_csv(network),
        "coherence.csv": coherence_csv(pairs),
        "admittance.csv": admittance_csv(tides),
        **({"satellite.csv": satellite_csv(seen)} if seen else {}),
        "motion.nc": write_series(series_file(tables)),
        "summary.json": json_text(
            {"stations": told, "together": summary, "version": __version__}
        ).encode("utf-8"),
        "summary.txt": ("\n".join([*words[:-1], *last]) + "\n").encode("utf-8"),
    }


def _frames(told):
    """Return the frames of the stations by their names; those that say none left out."""
    by_frame = {}
    for name, one in told.items():
        if one["frame"]:
            by_frame.setdefault(one["frame"], []).append(name)
    return by_frame


def _velocity(name, columns, metadata):
    """Return the StationVelocity of a station's table."""
    speed = ("speed_m_d", "across_speed_m_d")
    return StationVelocity(
        name,
        columns["time_gps"].astype("datetime64[ns]").view(np.int64),
        np.stack([columns[key] for key in speed], axis=1),
        np.stack([columns[key.replace("_m_d", "_sigma_m_d")] for key in speed], axis=1),
        np.radians(columns["azimuth_deg"]),
        np.radians(_number(metadata["latitude_deg"])),
        np.radians(_number(metadata["longitude_deg"])),
        _number(metadata["height_m"]),
        _number(metadata["mean_speed_m_d"]),
        _number(metadata["mean_speed_sigma_m_d"]),
        _number(metadata["azimuth_sigma_rad"]),
    )


def _resolutions(axis):
    return _number(axis["resolution_d"]), _number(axis["restless_resolution_d"])


def _number(value):
    return np.nan if value is None else float(value)


def series_file(tables):
    """Return the :class:`StationSeriesFile` of the tables of stations, on one row of times.

    Parameters
    ----------
    tables : dict
        By station (columns, metadata) of its motion table.
    """
    names = [key for key, unit in MOTION_UNITS.items() if key != "time_gps" and unit]
    every, fields = side_by_side([columns for columns, _ in tables.values()], names)
    metadata = [table[1] for table in tables.values()]
    units = {key: {"m/d": "m day-1", "deg": "degree"}.get(u, u) for key, u in MOTION_UNITS.items()}
    return StationSeriesFile(
        every,
        tuple(tables),
        *(np.array([_number(m[key]) for m in metadata]) for key in PLACE),
        fields,
        units,
        {key: WORDS.get(key, _sigma_words(key)) for key in fields},
        {
            "title": "Motion of stations on ice",
            "source": f"Stakeline {__version__}",
            "comment": FRAME_COMMENT,
        },
    )


PLACE = ("latitude_deg", "longitude_deg", "height_m")


def _sigma_words(key):
    stem = key.replace("_sigma", "")
    return f"standard deviation: {WORDS.get(stem, stem)}"
