"""Where antennas really send and receive: phase centre offsets and variations from ANTEX."""

import numpy as np

from ..errors import ProductError
from ..tables import satellite_name
from ._body_kernels import receiver_range, satellite_range
from .attitude import body_axes

# A frequency that a calibration lacks is replaced by the nearest one of those listed; the error
# is a few mm in the pattern and is always noted.
_NEAREST = {
    "G05": ("G02",),
    "R01": ("G01",),
    "R02": ("G02",),
    "R03": ("R02", "G02"),
    "E01": ("G01",),
    "E05": ("G05", "G02"),
    "E06": ("G02",),
    "E07": ("G05", "G02"),
    "E08": ("G05", "G02"),
    "C01": ("E01", "G01"),
    "C02": ("C01", "E01", "G01"),
    "C05": ("E05", "G05", "G02"),
    "C06": ("E06", "G02"),
    "C07": ("E07", "G05", "G02"),
    "J01": ("G01",),
    "J02": ("G02",),
    "J05": ("G05", "G02"),
}
_NEAREST_SAME = {
    "G05": ("G02",),
    "E05": ("E07", "E08"),
    "E07": ("E05", "E08"),
    "C02": ("C01",),
    "C01": ("C02",),
    "C05": ("C07",),
    "C06": ("C07",),
    "C07": ("C06", "C05"),
}


def find_satellite(antennas, satellite, time_ns):
    """Return the ANTEX entry of a satellite valid at a time, or None."""
    for entry in antennas.entries:
        if entry.satellite != satellite:
            continue
        begun = entry.valid_from_ns is None or entry.valid_from_ns <= time_ns
        if begun and (entry.valid_until_ns is None or time_ns <= entry.valid_until_ns):
            return entry
    return None


def kinds_of(antennas, satellites, time_ns):
    """Return the block types of satellites, blank where the table does not hold them."""
    found = [find_satellite(antennas, int(s), time_ns) if antennas else None for s in satellites]
    return [entry.model if entry is not None else "" for entry in found]


def _pattern_of(antenna, band, nearest):
    """Return (pattern, name) of a band or of its nearest substitute; (None, '') where none is."""
    for name in (band, *nearest.get(band, ())):
        if name in antenna.patterns:
            return antenna.patterns[name], name
    return None, ""


def _even_step(nodes_deg, what):
    """Return the spacing of evenly spaced nodes. [deg]"""
    nodes = np.asarray(nodes_deg if nodes_deg is not None else (), float)
    if nodes.size == 0:
        return 90.0  # no pattern at all: two nodes of zeros
    step = np.diff(nodes)
    if nodes.size < 2 or abs(nodes[0]) > 1e-9 or np.ptp(step) > 1e-6 or step[0] <= 0.0:
        raise ProductError(
            f"{what}: the nodes of its pattern are {nodes.tolist()} deg; expected even steps "
            "from 0, as ANTEX asks"
        )
    return float(step[0])


def _combined(antenna, pair, weights, nearest):
    """Return offset (3,), pattern by zenith, by azimuth or None, and the names used."""
    offset, by_zenith, by_azimuth, names = np.zeros(3), 0.0, 0.0, []
    for band, weight in zip(pair, weights, strict=True):
        pattern, name = _pattern_of(antenna, band, nearest)
        if pattern is None:
            return None
        names.append(name)
        offset += weight * np.asarray(pattern.offset_m, float)
        flat = np.asarray(pattern.by_zenith_m, float)
        flat = flat if flat.size else np.zeros(max(np.size(antenna.zenith_deg), 2))
        by_zenith = by_zenith + weight * flat
        around = pattern.by_azimuth_m
        by_azimuth = by_azimuth + weight * (flat[None, :] if around is None else around)
    return offset, by_zenith, by_azimuth, names


def satellite_phase_centre(
    antennas,
    satellites,
    time_ns,
    position_m,
    velocity_m_s,
    sun_m,
    receiver_m,
    bands,
    coefficients,
    attitude=None,
):
    """Return what to add to ranges from the centre of mass to start at the phase centre.

    Parameters
    ----------
    antennas : Antennas
        Calibrations.
    satellites : array of int, shape (m,)
    time_ns : int64 array, shape (n,)
        The entry valid at its middle is used. [ns]
    position_m, velocity_m_s : arrays, shape (n, m, 3)
        Centre of mass and Earth-fixed velocity. [m, m/s]
    sun_m, receiver_m : arrays, shape (n, 3)
        Same frame. [m]
    bands : sequence of (str, str), length m
        ANTEX frequencies of the two signals, such as ``("G01", "G02")``.
    coefficients : array, shape (m, 2)
        Their factors in the combination.
    attitude : Attitude, optional
        Computed from the table's block types where it is not given.

    Returns
    -------
    range_correction_m : array, shape (n, m)
        Offset along the line of sight plus nadir-dependent variation; NaN for satellites without
        calibration or state.
    found : bool array, shape (m,)
    notes : list of str
        What was missing or replaced, and what it costs.

    Notes
    -----
    ANTEX 1.4: variations are added to the geometric range. Patterns of satellites that also
    depend on azimuth are taken by their mean over it.
    """
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    middle = int(time_ns[len(time_ns) // 2]) if time_ns.size else 0
    if attitude is None:
        kinds = kinds_of(antennas, satellites, middle)
        attitude = body_axes(position_m, velocity_m_s, sun_m, satellites, kinds)
    m = len(satellites)
    parts, notes = [], _Notes()
    for j, satellite in enumerate(satellites):
        entry = find_satellite(antennas, int(satellite), middle)
        parts.append(_satellite_part(entry, int(satellite), bands[j], coefficients[j], notes))
    found = np.array([part is not None for part in parts], bool)
    nodes = max([2] + [part[1].size for part in parts if part is not None])
    offset, pattern, step = np.full((m, 3), np.nan), np.zeros((m, nodes)), np.ones(m)
    for j, part in enumerate(parts):
        if part is not None:
            offset[j], step[j] = part[0], np.radians(part[2])
            pattern[j] = part[1][-1]
            pattern[j, : part[1].size] = part[1]
    out = np.empty((time_ns.size, m))
    receiver = np.ascontiguousarray(np.broadcast_to(receiver_m, (time_ns.size, 3)), float)
    position = np.ascontiguousarray(position_m, float)
    axes = (np.ascontiguousarray(axis) for axis in attitude[:3])
    satellite_range(position, receiver, *axes, offset, step, pattern, out)
    return out, found, notes.sentences()


class _Notes:
    """Remarks gathered by reason, each with the satellites it concerns."""

    def __init__(self):
        self.reasons = {}

    def add(self, reason, name):
        self.reasons.setdefault(reason, []).append(name)

    def sentences(self):
        return [f"{reason}: {', '.join(names)}" for reason, names in self.reasons.items()]


def _satellite_part(entry, satellite, pair, weights, notes):
    """Return (offset, nadir pattern, step [deg]) of one satellite, None where there is none."""
    name = satellite_name(satellite)
    if entry is None:
        notes.add("no satellite antenna calibration, ranges off by up to 2 m, not used", name)
        return None
    combined = _combined(entry, pair, weights, _NEAREST_SAME)
    if combined is None:
        notes.add(f"satellite antenna calibration lacks {pair[0]} or {pair[1]}, not used", name)
        return None
    offset, by_zenith, _, used = combined
    for wanted, taken in zip(pair, used, strict=True):
        if wanted != taken:
            notes.add(f"satellite antenna at {wanted} taken from {taken}", name)
    if not np.any(by_zenith):
        notes.add(
            "satellite antenna offsets without variations: heights move by up to 5 cm with the "
            "elevation mask",
            name,
        )
        return offset, np.zeros(2), 1.0
    return offset, by_zenith, _even_step(entry.zenith_deg, f"satellite antenna {name}")


def choose_receiver_antenna(antennas, model, serial="", time_ns=None):
    """Return (entry, note) of a receiver antenna; the note is blank where it fits exactly.

    Parameters
    ----------
    antennas : Antennas or None
    model : str
        Name and radome as in RINEX, e.g. ``TRM59800.00     SCIS``; without radome: NONE.
    serial : str
        An individual calibration with this serial is preferred to the type's.
    time_ns : int, optional
        Calibrations not valid then are passed over. [ns]

    Returns
    -------
    entry : Antenna or None
        With the radome NONE where the named radome is not calibrated; None where nothing fits.
    note : str
        What was replaced or missing, and what it costs.
    """
    if not model.strip():
        return None, "no receiver antenna is named: its phase centre is left out (up to 10 cm up)"
    entries = antennas.entries if antennas is not None else ()
    readings = _readings(model)
    known = [one for one in readings if any(_fits(e, one[0], time_ns) for e in entries)]
    name, radome = (known or readings)[0]
    fitting = [entry for entry in entries if _fits(entry, name, time_ns)]
    for wanted in dict.fromkeys((radome, "NONE")):
        for individual in (True, False):
            for entry in fitting:
                same = entry.model[16:20].strip() or "NONE"
                own = entry.serial.strip() == serial.strip() != ""
                typical = not entry.serial.strip() and not individual
                if same == wanted and ((own and individual) or typical):
                    return entry, _radome_note(name, radome, wanted)
    return None, (
        f"receiver antenna '{name} {radome}' is not in the calibrations: its phase centre is left "
        "out (up to 10 cm up)"
    )


def _readings(model):
    """Return [(name, radome)] that a model may mean, the likelier first: by columns, by words.

    Names may hold blanks, and people leave out those that fill a name up to sixteen characters.
    """
    words = model.split()
    by_words = words[0], words[1] if len(words) > 1 else "NONE"
    by_columns = model[:16].strip(), model[16:20].strip() or "NONE"
    return [by_columns, by_words] if len(model.rstrip()) > 16 else [by_words, by_columns]


def _fits(entry, name, time_ns):
    if entry.satellite is not None or entry.model[:16].strip() != name:
        return False
    if time_ns is None:
        return True
    begun = entry.valid_from_ns is None or entry.valid_from_ns <= time_ns
    return begun and (entry.valid_until_ns is None or time_ns <= entry.valid_until_ns)


def _radome_note(name, radome, taken):
    if radome == taken:
        return ""
    return (
        f"receiver antenna {name} is not calibrated with radome {radome}: values without radome "
        "are used (up to 1 cm up)"
    )


def receiver_phase_centre(antenna, elevation_rad, azimuth_rad, bands, coefficients):
    """Return what to add to ranges to the antenna reference point, and notes.

    Parameters
    ----------
    antenna : Antenna or None
        None gives zeros.
    elevation_rad, azimuth_rad : arrays, shape (n, m)
        Direction of the satellites, azimuth from north over east. [rad]
    bands : sequence of (str, str), length m
        ANTEX frequencies of the two signals.
    coefficients : array, shape (m, 2)
        Their factors in the combination.

    Returns
    -------
    range_correction_m : array, shape (n, m)
        Minus the offset along the line of sight, plus the variation (ANTEX 1.4).
    notes : list of str
        Frequencies taken from a neighbour or left out.
    """
    elevation = np.ascontiguousarray(elevation_rad, float)
    azimuth = np.ascontiguousarray(azimuth_rad, float)
    out = np.zeros(elevation.shape)
    if antenna is None:
        return out, []
    notes, parts = _Notes(), []
    for pair, weights in zip(bands, coefficients, strict=True):
        combined = _combined(antenna, pair, weights, _NEAREST)
        if combined is None:
            notes.add(f"receiver antenna has nothing near {pair[0]} and {pair[1]}: left out", "")
            combined = np.zeros(3), 0.0, np.zeros((1, max(np.size(antenna.zenith_deg), 2))), pair
        parts.append(combined)
        for wanted, taken in zip(pair, combined[3], strict=True):
            if wanted != taken:
                notes.add(f"receiver antenna at {wanted} taken from {taken}", "")
    if not any(np.any(part[2]) for part in parts):
        notes.add("receiver antenna offsets without variations: heights off by up to 5 cm", "")
    offset = np.array([part[0] for part in parts])
    zenith_step = np.radians(_even_step(antenna.zenith_deg, f"antenna {antenna.model.strip()}"))
    pattern = [np.broadcast_to(part[2], _rows(antenna, part[2])) for part in parts]
    azimuth_step = 2.0 * np.pi / (pattern[0].shape[0] - 1)
    receiver_range(elevation, azimuth, offset, zenith_step, azimuth_step, np.array(pattern), out)
    return out, list(notes.reasons)


def _rows(antenna, pattern):
    """Return the shape of a pattern by azimuth; one without azimuths gets two equal rows."""
    rows = np.size(antenna.azimuth_deg) if antenna.azimuth_deg is not None else 0
    return max(rows, 2, pattern.shape[0]), pattern.shape[1]
