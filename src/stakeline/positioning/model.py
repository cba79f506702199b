"""What each observation should have been: the model of ranges, and what is left of the data.

All corrections of one pass are computed here for all epochs and satellites at once; the estimator
sees observed minus computed, partials and relative weights only.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import SPEED_OF_LIGHT_M_S
from ..earth.climate import climate
from ..earth.ellipsoid import enu_axes, geodetic_from_xyz
from ..earth.loading import ocean_loading
from ..earth.rotation import orientation_at
from ..earth.sun_moon import sun_moon
from ..earth.tides import pole_tide, solid_tide
from ..earth.troposphere import (
    global_mapping_coefficients,
    gradient_mapping,
    mapping_functions,
    zenith_hydrostatic_m,
    zenith_wet_m,
)
from ..errors import SettingsError
from ..satellites.antenna import (
    choose_receiver_antenna,
    find_satellite,
    kinds_of,
    receiver_phase_centre,
    satellite_phase_centre,
)
from ..satellites.attitude import body_axes
from ..satellites.relativity import shapiro_delay
from ..satellites.states import satellite_states
from ..satellites.windup import phase_windup
from .coarse import combine

UNSEEN_RAD = 1.0  # rad, stands for the elevation of what is not seen, lest anything be infinite
CORRECTIONS = (
    "solid tide",
    "pole tide",
    "ocean loading",
    "satellite antenna",
    "receiver antenna",
    "wind-up",
    "Shapiro",
)


@dataclass(frozen=True)
class Model:
    """Observed minus computed, (n, m) [m], with partials; NaN where not modelled.

    ``unit`` are partials by east, north, up; ``centre_m`` (n, 3) is the marker they are about.
    ``spread`` is the factor on the zenith sigma by elevation and doubt, ``extra_m`` what is added
    in quadrature (clock interpolation).
    """

    code_m: np.ndarray
    phase_m: np.ndarray
    unit: np.ndarray
    elevation_rad: np.ndarray
    azimuth_rad: np.ndarray
    wet: np.ndarray
    gradient: np.ndarray
    spread: np.ndarray
    extra_m: np.ndarray
    centre_m: np.ndarray
    axes: np.ndarray  # (3, 3) rows east, north, up
    zenith_m: np.ndarray  # (n,) modelled hydrostatic plus wet
    variations_missing: bool  # antenna offsets alone, or not even these
    notes: tuple


def observed_minus_computed(tracks, phase_m, products, settings, coarse, coefficients=None):
    """Return the :class:`Model` of all tracks about the coarse position.

    Parameters
    ----------
    tracks : Tracks
    phase_m : float64, shape (2, n, m)
        Phases with clock jumps repaired. [m]
    products : Products
    settings : Settings
    coarse : Coarse
        Its position is of the antenna reference point; the marker is that less the antenna height.
    coefficients : array, shape (m, 2), optional
        Of another combination than the ionosphere-free one, such as (1, 0) for the first signal.
    """
    share = tracks.ionosphere_free if coefficients is None else coefficients
    left_out = _switched_off(settings)
    notes = [f"left out on purpose: {name}" for name in CORRECTIONS if name in left_out]
    reference = np.median(coarse.position_m, axis=0)
    latitude, longitude, height = geodetic_from_xyz(reference)
    axes = enu_axes(latitude, longitude)
    up, east, north = settings.antenna_height_m
    marker = coarse.position_m - np.array([east, north, up]) @ axes
    sun, moon = sun_moon(tracks.time_ns, products.orientation)
    displacement = _displacement(marker, tracks.time_ns, sun, moon, products, left_out, notes)
    receiver = coarse.position_m + displacement
    states = satellite_states(products, tracks.satellites, tracks.time_ns, receiver, coarse.clock_s)
    delta = states.position_m - receiver[:, None, :]
    distance = np.linalg.norm(delta, axis=2)
    direction = (delta / distance[..., None]) @ axes.T
    elevation, azimuth = _in_sight(direction, states.valid, np.radians(settings.mask_deg))
    above = np.isfinite(elevation)
    safe = np.where(above, elevation, UNSEEN_RAD)

    computed, wet, zenith = _air(safe, latitude, longitude, height, tracks.time_ns)
    computed += distance - SPEED_OF_LIGHT_M_S * states.clock_s
    if "Shapiro" not in left_out:
        computed += shapiro_delay(states.position_m, receiver)
    kinds = kinds_of(products.antennas, tracks.satellites, int(tracks.time_ns[0]))
    attitude = body_axes(states.position_m, states.velocity_m_s, sun, tracks.satellites, kinds)
    geometry = states, sun, receiver, elevation, azimuth, attitude
    computed += _antennas(tracks, products, settings, share, geometry, left_out, notes)
    code = combine(share, tracks.code_m) - computed
    phase = combine(share, phase_m) - computed
    if "wind-up" not in left_out:
        every = np.broadcast_to(axes, (len(receiver), 3, 3))
        cycles = phase_windup(states.position_m, receiver, *attitude[:2], every)
        phase -= cycles * (share * SPEED_OF_LIGHT_M_S / tracks.frequency_hz).sum(axis=1)
    code[~above] = np.nan
    phase[~above] = np.nan
    spread = _where(above, _spread, elevation, UNSEEN_RAD) * np.where(attitude.in_turn, 3.0, 1.0)
    return Model(
        code,
        phase,
        -direction,
        elevation,
        azimuth,
        wet,
        _where(above, gradient_mapping, elevation, UNSEEN_RAD),
        spread * _system_spread(tracks.satellites),
        np.nan_to_num(states.clock_sigma_m, nan=1e3),
        marker,
        axes,
        zenith,
        _lacks_variations(products, tracks, settings),
        tuple(notes),
    )


def _in_sight(direction, valid, mask_rad):
    """Return elevation, NaN below the mask, and azimuth, 0 there, of directions (n, m, 3)."""
    up = np.clip(direction[..., 2], -1.0, 1.0)
    above = valid & (up > np.sin(mask_rad))
    elevation, azimuth = np.full(up.shape, np.nan), np.zeros(up.shape)
    elevation[above] = np.arcsin(up[above])
    azimuth[above] = np.arctan2(direction[..., 0][above], direction[..., 1][above])
    return elevation, azimuth


def _where(chosen, function, values, otherwise):
    """Return a function of values where chosen, and its value at ``otherwise`` elsewhere."""
    found = np.full(values.shape, function(otherwise))
    found[chosen] = function(values[chosen])
    return found


def _switched_off(settings):
    """Return the set of corrections left out on purpose; SettingsError for an unknown name."""
    unknown = [name for name in settings.switched_off if name not in CORRECTIONS]
    if unknown:
        raise SettingsError(
            f"no correction is called '{unknown[0]}'; there are {', '.join(CORRECTIONS)}"
        )
    return set(settings.switched_off)


def _displacement(marker, time_ns, sun, moon, products, left_out, notes):
    """Return the displacement of the ground (n, 3) by tides and loading, Earth-fixed. [m]"""
    centre = np.median(marker, axis=0)
    moved = np.zeros((len(time_ns), 3))
    if "solid tide" not in left_out:
        moved += solid_tide(centre, time_ns, sun, moon)
    if products.orientation is None:
        notes.append("no Earth orientation given: pole tide left out (up to 1 cm)")
    elif "pole tide" not in left_out:
        xp, yp = orientation_at(products.orientation, time_ns)[:2]
        moved += pole_tide(centre, time_ns, xp, yp)
    if products.loading is None:
        notes.append("no ocean loading given: left out (up to 5 cm near coasts, mm inland)")
    elif "ocean loading" not in left_out:
        axes = enu_axes(*geodetic_from_xyz(centre)[:2])
        moved += ocean_loading(products.loading, time_ns) @ axes
    return moved


def _air(elevation, latitude, longitude, height, time_ns):
    """Return slant delay (n, m), wet mapping (n, m), modelled zenith delay (n,). [m]"""
    air = climate(latitude, longitude, height, time_ns)
    dry = zenith_hydrostatic_m(air.pressure_hPa, latitude, height)
    wet = zenith_wet_m(air.vapour_hPa, air.mean_temperature_K, air.wet_lapse)
    ah, aw = global_mapping_coefficients(latitude, longitude, time_ns)
    by_dry, by_wet = mapping_functions(elevation, ah, aw, latitude, height, time_ns)
    delay = by_dry * _column(dry) + by_wet * _column(wet)
    return delay, by_wet, np.broadcast_to(np.atleast_1d(dry + wet), (len(time_ns),))


def _column(values):
    return np.atleast_1d(values)[:, None]


def _antennas(tracks, products, settings, coefficients, geometry, left_out, notes):
    """Return the range corrections (n, m) of both antennas. [m]"""
    states, sun, receiver, elevation, azimuth, attitude = geometry
    total = np.zeros(elevation.shape)
    if products.antennas is None:
        notes.append("no antenna calibrations given: heights are off by centimetres to decimetres")
        return total
    if "satellite antenna" not in left_out and states.reference_point == "centre of mass":
        correction, found, said = satellite_phase_centre(
            products.antennas,
            tracks.satellites,
            tracks.time_ns,
            states.position_m,
            states.velocity_m_s,
            sun,
            receiver,
            tracks.bands,
            coefficients,
            attitude,
        )
        notes.extend(said)
        total += np.where(found[None, :], correction, np.nan)
    if "receiver antenna" not in left_out:
        antenna, said = choose_receiver_antenna(
            products.antennas, settings.antenna_model, "", int(tracks.time_ns[0])
        )
        correction, more = receiver_phase_centre(
            antenna, elevation, azimuth, tracks.bands, coefficients
        )
        notes.extend(filter(None, [said, *more]))
        total += correction
    return total


def _lacks_variations(products, tracks, settings):
    """Return whether an antenna on the way has no elevation-dependent calibration."""
    if products.antennas is None:
        return True
    middle = int(tracks.time_ns[len(tracks.time_ns) // 2])
    receiver, _ = choose_receiver_antenna(products.antennas, settings.antenna_model, "", middle)
    entries = [find_satellite(products.antennas, int(s), middle) for s in tracks.satellites]
    return any(
        entry is None or all(not np.any(pattern.by_zenith_m) for pattern in entry.patterns.values())
        for entry in [receiver, *(e for e in entries if e is not None)]
    )


def _spread(elevation_rad):
    """Return the factor on zenith sigmas by elevation; common practice, no source."""
    return np.sqrt(0.5 + 0.5 / np.sin(elevation_rad) ** 2)


def _system_spread(satellites):
    """Return the factor on sigmas: BeiDou's geostationary satellites have orbits to decimetres."""
    geostationary = (satellites // 100 == 3) & (
        (satellites % 100 <= 5) | (satellites % 100 >= 59)
    )  # C01-C05, C59-C63: BeiDou constellation status; from memory
    return np.where(geostationary, 10.0, 1.0)
