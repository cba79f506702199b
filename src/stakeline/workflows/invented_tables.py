"""What one station of an invented campaign delivers beside receiver files, and its hourly truth."""

import numpy as np

from ..campaign.folders import RAW
from ..campaign.store import parquet_bytes
from ..formats.plain_table import write_plain_table
from ..simulate.campaign import DAY_S
from ..simulate.logger import logger_table
from ..simulate.products import FRAME
from ..tables import Positions
from .invented_truth import TRUTH, answers, hourly_truth, units_of
from .series import UNITS, columns_of

STATE = "float"
LOGGER_STEP_S = 3600.0


def position_path(name):
    """Return the path of a station's table of positions in a campaign."""
    return f"{RAW}/positions/{name}.parquet"


def logger_path(name):
    """Return the path of a station's logger table in a campaign."""
    return f"{RAW}/logger/{name}.csv"


def table_files(invented, name, interval_s, window):
    """Return {path: bytes}: positions, logger and weather tables of a station, and its truth.

    Positions are left out in a ``window`` (None: nowhere) that receiver files cover.
    """
    time_s = np.arange(0.0, invented.days * DAY_S, interval_s)
    running = invented.running(name, time_s)
    truth = hourly_truth(invented, name, time_s, running)
    files = {
        position_path(name): _positions(invented, name, time_s, running, window),
        f"{TRUTH}/hourly/{name}.parquet": parquet_bytes(truth, units_of(truth), {}),
    }
    if not invented.sites[name].on_rock:
        files[f"{TRUTH}/answers/{name}.csv"] = write_plain_table(answers(invented, name))
        files |= _logger(invented, name)
    return files


def _positions(invented, name, time_s, running, window):
    position_m, sigma_m = invented.positions(name, time_s)
    kept = running.copy()
    if window is not None:
        kept &= ~((time_s >= window.begin_s) & (time_s < window.end_s))
    covariance = np.einsum("ni,ij->nij", sigma_m[kept] ** 2, np.eye(3))
    count = int(kept.sum())
    chance = invented.stream(name, "satellites")
    positions = Positions(
        name,
        FRAME,
        invented.time_ns(time_s[kept]),
        position_m[kept],
        covariance,
        chance.integers(13, 19, count),
        np.full(count, STATE, object),
    )
    metadata = {"time_scale": "GPS", "point": "marker", "frames": {name: FRAME}}
    metadata["note"] = "invented at position level: no receiver file stands behind these rows"
    return parquet_bytes(columns_of(positions), UNITS, metadata)


def _logger(invented, name):
    supply, weather = invented.supply(name), invented.weather(name)
    table = logger_table(invented.stream(name, "logger"), supply, weather, LOGGER_STEP_S)
    return {logger_path(name): write_plain_table(table)}
