"""From rows of observables to one dense track per satellite: two codes and two phases in metres.

The choice of observables follows the pairs that precise clock products refer to; a constant code
bias of another choice is absorbed by the ambiguity and costs only some of the start-up.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import FREQUENCY_HZ, GLONASS_STEP_HZ, SPEED_OF_LIGHT_M_S
from ..tables import SYSTEMS, Observations, satellite_name

# Bands of the two signals, in order of preference, and the tracking attributes of each band.
# Pairs: IGS clock convention (common practice; GPS L1/L2, Galileo E1/E5a, BeiDou B1I/B3I).
BANDS = {
    "G": (("1", "2"), ("1", "5")),
    "R": (("1", "2"),),
    "E": (("1", "5"), ("1", "7")),
    "C": (("2", "6"), ("2", "7"), ("1", "5")),
    "J": (("1", "2"), ("1", "5")),
}
ATTRIBUTES = {
    "G1": "WPYCLXS",
    "G2": "WPYDLXSC",
    "G5": "QXI",
    "R1": "PC",
    "R2": "PC",
    "E1": "CXBZ",
    "E5": "QXI",
    "E7": "QXI",
    "C1": "PXD",
    "C2": "IXQ",
    "C5": "PXD",
    "C6": "IXQ",
    "C7": "IXQPZ",
    "J1": "CXLSZ",
    "J2": "LXSC",
    "J5": "QXI",
}
MINIMUM_EPOCHS = 5  # a satellite seen less often carries nothing; common practice, no source
ENOUGH = 0.9  # a preferred pair wins with this share of the fullest pair; our choice


@dataclass(frozen=True)
class Tracks:
    """Dense observations of one station: n epochs by m satellites.

    Attributes
    ----------
    time_ns : int64, shape (n,)
    satellites : int16, shape (m,)
    code_m, phase_m : float64, shape (2, n, m)
        Both signals; NaN where any of the four is missing. [m]
    lock : uint8, shape (n, m)
        Loss-of-lock bits of the two phases, or-ed.
    strength : float64, shape (2, n, m)
        Carrier-to-noise density of both signals; NaN where not recorded. [dB-Hz]
    frequency_hz : float64, shape (m, 2)
    signals : tuple of (code, phase, code, phase) for each satellite, e.g. C1W L1C C2W L2W.
    bands : tuple of (band, band) for each satellite, in ANTEX names such as G01.
    """

    time_ns: np.ndarray
    satellites: np.ndarray
    code_m: np.ndarray
    phase_m: np.ndarray
    lock: np.ndarray
    strength: np.ndarray
    frequency_hz: np.ndarray
    signals: tuple
    bands: tuple

    @property
    def ionosphere_free(self):
        """Coefficients (m, 2) of the ionosphere-free combination."""
        f2 = self.frequency_hz**2
        return np.stack([f2[:, 0], -f2[:, 1]], axis=1) / (f2[:, 0] - f2[:, 1])[:, None]

    def select(self, epochs=slice(None), satellites=slice(None)):
        """Return the tracks of some epochs and satellites (index arrays or masks)."""
        every = np.arange(len(self.satellites))[satellites]
        return replace(
            self,
            time_ns=self.time_ns[epochs],
            satellites=self.satellites[every],
            code_m=self.code_m[:, epochs][:, :, every],
            phase_m=self.phase_m[:, epochs][:, :, every],
            lock=self.lock[epochs][:, every],
            strength=self.strength[:, epochs][:, :, every],
            frequency_hz=self.frequency_hz[every],
            signals=tuple(self.signals[i] for i in every),
            bands=tuple(self.bands[i] for i in every),
        )


def build_tracks(observations: Observations, systems="GREC"):
    """Return (:class:`Tracks`, notes): dense tracks of all satellites that have a usable pair.

    Parameters
    ----------
    observations : Observations
    systems : str
        Letters of the systems wanted.

    Notes
    -----
    A GLONASS channel that the header does not tell is inferred from the data: the ratio of phase
    change in cycles to code change in metres is the frequency (:func:`infer_channel`).
    """
    epoch_of_row = np.repeat(np.arange(len(observations)), np.diff(observations.row_start))
    present = ~np.isnan(observations.value)
    found, without = [], []
    for satellite, rows in _by_satellite(observations.satellite):
        system = SYSTEMS[satellite // 100]
        if system not in systems or system not in BANDS or system not in observations.codes:
            continue
        columns = choose_signals(observations.codes[system], system, present[rows])
        if columns is None:
            without.append(satellite)
            continue
        found.append(
            (satellite, rows, columns, _frequencies(observations, satellite, rows, columns))
        )
    tracks = _fill(observations, epoch_of_row, [f for f in found if f[3] is not None])
    unknown = [f[0] for f in found if f[3] is None]
    notes = [
        f"{reason}: {', '.join(map(satellite_name, satellites))}"
        for reason, satellites in (
            ("no pair of code and phase on two bands", without),
            ("frequency channel unknown and not to be inferred", unknown),
        )
        if satellites
    ]
    return tracks, notes


def _by_satellite(satellite_of_row):
    """Return [(satellite, its rows in order)]."""
    order = np.argsort(satellite_of_row, kind="stable")
    satellites, first = np.unique(satellite_of_row[order], return_index=True)
    return list(zip(satellites, np.split(order, first)[1:], strict=True))


def choose_signals(codes, system, present):
    """Return columns (code, phase, code, phase) of the best pair of a satellite, or None.

    ``present`` (rows, columns) says which observables of ``codes`` its rows hold.
    """
    candidates = []
    for first, second in BANDS[system]:
        one = _choose_band(codes, present, system, first)
        two = _choose_band(codes, present, system, second)
        if one and two:
            columns = (*one, *two)
            candidates.append((int(present[:, columns].all(axis=1).sum()), columns))
    most = max((count for count, _ in candidates), default=0)
    if most < MINIMUM_EPOCHS:
        return None
    return next(columns for count, columns in candidates if count >= ENOUGH * most)


def _choose_band(codes, present, system, band):
    """Return (code column, phase column) of one band by preference and completeness, or None."""
    options = []
    for attribute in ATTRIBUTES[system + band]:
        if f"C{band}{attribute}" not in codes:
            continue
        same_first = attribute + ATTRIBUTES[system + band]
        phases = [a for a in dict.fromkeys(same_first) if f"L{band}{a}" in codes]
        code = codes.index(f"C{band}{attribute}")
        for a in phases:
            phase = codes.index(f"L{band}{a}")
            options.append((int((present[:, code] & present[:, phase]).sum()), (code, phase)))
    most = max((count for count, _ in options), default=0)
    if most < MINIMUM_EPOCHS:
        return None
    return next(pair for count, pair in options if count >= ENOUGH * most)


def _frequencies(observations, satellite, rows, columns):
    """Return the two carrier frequencies [Hz] of a satellite; None where a channel is unknown."""
    system = SYSTEMS[satellite // 100]
    keys = [system + observations.codes[system][c][1] for c in (columns[1], columns[3])]
    base = np.array([FREQUENCY_HZ[key] for key in keys])
    if system != "R":
        return base
    channel = observations.header.glonass_channels.get(int(satellite))
    if channel is None:
        channel = infer_channel(observations.value[rows[:, None], columns[:2]])
    if channel is None:
        return None
    return base + channel * np.array([GLONASS_STEP_HZ[key] for key in keys])


def infer_channel(code_and_phase):
    """Return the GLONASS channel (-7 to 6) that code [m] and phase [cycles] tell, or None.

    Over the same two epochs the phase changes by f/c cycles per metre of code; one channel step
    is 3.5e-4 of the frequency, so 10 km of range change settle it against metres of code noise.
    """
    step = np.diff(code_and_phase, axis=0)
    good = np.isfinite(step).all(axis=1) & (np.abs(step[:, 0]) < 1e5)
    if not good.any() or np.abs(step[good, 0]).sum() < 3e4:
        return None
    ratio = (step[good, 0] @ step[good, 1]) / (step[good, 0] @ step[good, 0])
    channel = (ratio * SPEED_OF_LIGHT_M_S - FREQUENCY_HZ["R1"]) / GLONASS_STEP_HZ["R1"]
    whole = round(channel)
    return whole if -7 <= whole <= 6 and abs(channel - whole) < 0.3 else None


def _fill(observations, epoch_of_row, found):
    """Spread the chosen columns of every satellite over dense arrays."""
    n, m = len(observations), len(found)
    rows = np.concatenate([f[1] for f in found]) if found else np.empty(0, np.intp)
    columns = np.array([(*f[2], *_strengths(observations, f)) for f in found], int).reshape(m, 6)
    counts = [len(f[1]) for f in found]
    order = np.argsort(rows)  # near in time, near in memory
    satellite = np.repeat(np.arange(m), counts)[order]
    rows, place = rows[order], epoch_of_row[rows[order]] * m + satellite
    code, phase, strength = (np.full((2, n, m), np.nan) for _ in range(3))
    lock = np.zeros((n, m), np.uint8)
    frequency = np.array([f[3] for f in found]).reshape(m, 2)
    for i in (0, 1):
        by_code, by_phase, by_strength = columns[satellite][:, [2 * i, 2 * i + 1, 4 + i]].T
        code[i].reshape(-1)[place] = observations.value[rows, by_code]
        cycles = observations.value[rows, by_phase]
        phase[i].reshape(-1)[place] = cycles * (SPEED_OF_LIGHT_M_S / frequency[satellite, i])
        lock.reshape(-1)[place] |= observations.lock[rows, by_phase]
        known = by_strength >= 0
        held = observations.value[rows[known], by_strength[known]]
        strength[i].reshape(-1)[place[known]] = held
    for values in (code, phase):
        values[values == 0.0] = np.nan  # RINEX: a zero is a missing observation
    whole = np.isfinite(code).all(axis=0) & np.isfinite(phase).all(axis=0)
    code[:, ~whole] = np.nan
    phase[:, ~whole] = np.nan
    names = [_names(observations, f) for f in found]
    return Tracks(
        observations.time_ns,
        np.array([f[0] for f in found], np.int16),
        code,
        phase,
        lock,
        strength,
        frequency,
        tuple(names),
        tuple(
            tuple(f"{SYSTEMS[f[0] // 100]}0{own[i][1]}" for i in (1, 3))
            for f, own in zip(found, names, strict=True)
        ),
    )


def _names(observations, found):
    """Return the observables of a satellite's chosen columns."""
    codes = observations.codes[SYSTEMS[found[0] // 100]]
    return tuple(codes[c] for c in found[2])


def _strengths(observations, found):
    """Return the columns of both signals' strengths, -1 where there is none."""
    codes = observations.codes[SYSTEMS[found[0] // 100]]
    wanted = ["S" + name[1:] for name in _names(observations, found)[1::2]]
    return [codes.index(name) if name in codes else -1 for name in wanted]
