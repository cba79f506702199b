"""Quality figures of a file of observations: its signals against the orbits there are."""

from dataclasses import asdict

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SolutionError
from ..positioning.coarse import locate
from ..signals.quality import STEPS_DEG, quality_of
from ..signals.receiver_clock import ReceiverClock, clock_behaviour
from ..signals.tracks import build_tracks
from ..tables import SYSTEMS, satellite_name
from .snow_passes import sine_of_elevation

PROMISED_STEP_NS = 300 * NS_PER_S
"""Between instants at which promised satellites are counted; they stay up for hours."""
WHOLE_DAY_SHARE = 0.5  # -, of a day, from which a file stands for the whole of it; own choice
MISSED_STEPS = 12  # of five minutes: promised for an hour
STEP_NAMES = ("low", "20_30", "30_45", "high", "60_90")
"""Of the steps of elevation in columns: low is 10 to 20 deg, high is 45 to 60 deg."""
CLOCK_EPOCHS = 1000  # of a file at most, at which its clock is looked at; own choice
QUALITY_COLUMNS = (
    *("station", "day_gps", "file", "epochs", "expected_epochs", "satellites", "percent"),
    *("slips", "slips_by_flag", "epochs_per_slip", "arcs", "slips_per_arc"),
    *("multipath_1_m", "multipath_2_m"),
    *(f"strength_{signal}_{step}_dB_Hz" for signal in (1, 2) for step in STEP_NAMES),
    *("ionosphere_tecu_min", "ionosphere_index_tecu_min", "power_swing"),
    *("clock", "clock_drift_ns_s", "clock_noise_ns", "clock_resets", "clock_jumps"),
    *("gaps", "longest_gap_s", "never_seen"),
)


def file_quality(observations, products, place_m, systems="GREC"):
    """Return plain figures (a dict) of a file; {} where no satellite has two codes and phases.

    Parameters
    ----------
    observations : Observations
    products : Products or None
        Without orbits there are no elevations: completeness counts what was seen, and figures that
        need elevation are missing.
    place_m : array, shape (3,)
        Of the antenna, to some kilometres. [m]
    systems : str
    """
    if len(observations) < 2:
        return {}
    tracks, _ = build_tracks(observations, systems)
    if tracks.satellites.size == 0:
        return {}
    time_ns = tracks.time_ns
    interval_s = float(np.median(np.diff(time_ns))) / NS_PER_S
    span = _span(time_ns, interval_s)
    count = round((span[1] - span[0]) / NS_PER_S / interval_s)
    elevation, promised, missed = None, None, ()
    if products is not None and np.isfinite(place_m).all():
        elevation = elevations(products, place_m, tracks.satellites, time_ns)
        letters = {SYSTEMS[s // 100] for s in tracks.satellites}
        promised, missed = _promised(products, place_m, letters, tracks.satellites, span)
    if elevation is None:
        elevation = np.full(tracks.lock.shape, np.nan)
    found = quality_of(tracks, elevation, interval_s, count, promised)
    record = asdict(found)
    record |= {"percent": found.percent, "epochs_per_slip": found.epochs_per_slip}
    record |= {"slips_per_arc": found.slips_per_arc, **_clock(tracks, products)}
    record |= {"never_seen": list(missed), "interval_s": interval_s}
    return {key: _plain(value) for key, value in record.items()}


def _clock(tracks, products):
    """Return how the receiver's clock behaves, by its codes and the orbits there are."""
    if products is None:
        found = ReceiverClock("no orbits")
    else:
        step = -(-tracks.time_ns.size // CLOCK_EPOCHS)
        some = tracks.select(epochs=np.arange(0, tracks.time_ns.size, step))
        try:
            found = clock_behaviour(some.time_ns, locate(some, products).clock_s)
        except SolutionError:
            found = ReceiverClock("too few satellites for a position")
    return {
        "clock": found.kind,
        "clock_drift_ns_s": found.drift * NS_PER_S,
        "clock_noise_ns": found.noise_s * NS_PER_S,
        "clock_resets": found.resets,
    }


def _plain(value):
    """Return lists and numbers for the ledger, rounded to what they mean; NaN as None."""
    if isinstance(value, np.ndarray | tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, float | np.floating):
        return round(float(value), 5) if np.isfinite(value) else None
    return value


def _span(time_ns, interval_s):
    """Return the span that a file stands for: its whole day where it holds half of one. [ns]"""
    first, last = int(time_ns[0]), int(time_ns[-1]) + round(interval_s * NS_PER_S)
    day = first // NS_PER_DAY
    inside = last <= (day + 1) * NS_PER_DAY + NS_PER_S
    if inside and (last - first) > WHOLE_DAY_SHARE * NS_PER_DAY:
        return day * NS_PER_DAY, (day + 1) * NS_PER_DAY
    return first, last


def elevations(products, place_m, satellites, time_ns):
    """Return elevations (n, m) of satellites; NaN where the products have none. [rad]"""
    n, m = time_ns.size, len(satellites)
    column = np.tile(np.arange(m), n)
    sine = sine_of_elevation(
        products, np.asarray(place_m, float), np.asarray(satellites), column, np.repeat(time_ns, m)
    )
    return np.arcsin(np.clip(sine, -1.0, 1.0)).reshape(n, m)


def _promised(products, place_m, letters, tracked, span):
    """Return (elevations of all satellites of the systems tracked (k, s), names never tracked)."""
    known = _known_satellites(products)
    known = np.array([s for s in known if SYSTEMS[s // 100] in letters], np.int16)
    if known.size == 0:
        return None, ()
    time_ns = np.arange(span[0], span[1], PROMISED_STEP_NS)
    found = elevations(products, place_m, known, time_ns)
    with np.errstate(invalid="ignore"):
        up = (found > np.radians(STEPS_DEG[0])).sum(axis=0) >= MISSED_STEPS
    missed = [satellite_name(s) for s in known[up & ~np.isin(known, tracked)]]
    return found, tuple(missed)


def _known_satellites(products):
    """Return the satellites that orbits hold, or that messages call healthy."""
    if products.orbits is not None:
        return np.unique(products.orbits.satellites)
    parts = []
    for messages in (products.broadcast.kepler, products.broadcast.state_vector):
        health = messages.values[:, messages.columns.index("health")]
        parts.append(messages.satellites[np.nan_to_num(health) == 0.0])
    return np.unique(np.concatenate(parts))


def quality_row(station, day, file, record):
    """Return one row of :data:`QUALITY_COLUMNS` of a record."""
    strength = {
        f"strength_{signal}_{step}_dB_Hz": value
        for signal, values in enumerate(record["strength_by_step"], 1)
        for step, value in zip(STEP_NAMES, values, strict=True)
    }
    known = {name: record[name] for name in QUALITY_COLUMNS if name in record}
    return {
        **known,
        **strength,
        "station": station,
        "day_gps": day,
        "file": file,
        "multipath_1_m": record["multipath_m"][0],
        "multipath_2_m": record["multipath_m"][1],
        "ionosphere_tecu_min": record["rate_tecu_min"],
        "ionosphere_index_tecu_min": record["rate_index"],
        "power_swing": record["swing"],
        "never_seen": " ".join(record["never_seen"]),
    }
