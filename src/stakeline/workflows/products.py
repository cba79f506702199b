"""Orbits, clocks and other products: read once in a process, chosen by content and by cover."""

import functools
from dataclasses import dataclass, fields

import numpy as np

from ..constants import FREQUENCY_HZ, SPEED_OF_LIGHT_M_S
from ..earth.ellipsoid import xyz_from_geodetic
from ..errors import ProductError
from ..formats import antex, blq, erp, rinex_clk, rinex_nav, sinex, sinex_bias, sp3
from ..tables import (
    SYSTEMS,
    Antennas,
    Broadcast,
    BroadcastMessages,
    EarthOrientation,
    Products,
)

NEAREST_LOADING_M = 10e3  # loading changes by a few per cent over this distance


@dataclass(frozen=True)
class ProductFiles:
    """Names of product files by kind; each a tuple."""

    orbits: tuple = ()
    clocks: tuple = ()
    navigation: tuple = ()
    antennas: tuple = ()
    offsets: tuple = ()
    loading: tuple = ()
    orientation: tuple = ()
    biases: tuple = ()

    def all(self):
        """Return every file's name, once."""
        names = [name for field in fields(self) for name in getattr(self, field.name)]
        return tuple(dict.fromkeys(names))


_orbit_file = functools.lru_cache(maxsize=6)(sp3.read_sp3)  # days that follow share files
_clock_file = functools.lru_cache(maxsize=4)(rinex_clk.read_clocks)


@functools.lru_cache(maxsize=6)
def _orbits(paths):
    return sp3.join([_orbit_file(path) for path in paths]) if paths else None


@functools.lru_cache(maxsize=2)
def _clocks(paths):
    return rinex_clk.join([_clock_file(path) for path in paths]) if paths else None


@functools.lru_cache(maxsize=6)
def _broadcast(paths):
    return joined_broadcast([rinex_nav.read_navigation(path) for path in paths]) if paths else None


@functools.lru_cache(maxsize=2)
def _sinex(paths):
    return [sinex.read_sinex(path) for path in paths]


@functools.lru_cache(maxsize=2)
def _antennas(antenna_paths, offset_paths):
    """Return calibrations, with offsets alone only for what they do not hold."""
    sets = [antex.read_antex(path) for path in antenna_paths]
    entries = [entry for part in sets for entry in part.entries]
    passed = [note for part in sets for note in part.passed_over]
    known = {_antenna_key(entry) for entry in entries}
    for content in _sinex(offset_paths):
        both = (*content.satellite_antennas, *content.receiver_antennas)
        extra = [entry for entry in both if _antenna_key(entry) not in known]
        entries += extra
        known |= {_antenna_key(entry) for entry in extra}
        passed += content.passed_over
    if not antenna_paths and not offset_paths:
        return None
    return Antennas(tuple(entries), tuple(passed), (*antenna_paths, *offset_paths))


def _antenna_key(entry):
    return entry.model if entry.satellite is None else entry.satellite


@functools.lru_cache(maxsize=2)
def _orientation(paths):
    return joined_orientation([erp.read_orientation(p) for p in paths]) if paths else None


@functools.lru_cache(maxsize=2)
def _loading_sites(paths):
    return tuple(site for path in paths for site in blq.read_blq(path).values())


def joined_broadcast(parts):
    """Return several navigation files as one :class:`Broadcast`; a message in two counts once."""
    ionosphere = {}
    for part in reversed(parts):
        ionosphere |= part.ionosphere  # of several, those of the first file stand
    return Broadcast(
        kepler=_joined_messages([part.kepler for part in parts]),
        state_vector=_joined_messages([part.state_vector for part in parts]),
        ionosphere=ionosphere,
        leap_seconds=next((p.leap_seconds for p in parts if p.leap_seconds is not None), None),
        passed_over=tuple(note for part in parts for note in part.passed_over),
        files=tuple(name for part in parts for name in part.files),
    )


def _joined_messages(parts):
    names = [field.name for field in fields(BroadcastMessages) if field.name != "columns"]
    table = {name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    keys = [table[name] for name in ("time_of_clock_ns", "kind", "time_of_ephemeris_ns")]
    order = np.lexsort((*keys, table["satellites"]))
    table = {name: column[order] for name, column in table.items()}
    same = np.ones(max(len(order) - 1, 0), bool)
    for name in names:
        if name not in ("values", "transmission_ns"):
            same &= table[name][1:] == table[name][:-1]
    first = np.concatenate([np.ones(min(len(order), 1), bool), ~same])
    table = {name: column[first] for name, column in table.items()}
    return BroadcastMessages(**table, columns=parts[0].columns)


def joined_orientation(parts):
    """Return several Earth orientation files as one; of a day in two files the first counts."""
    names = [f.name for f in fields(EarthOrientation) if f.name not in ("files", "passed_over")]
    table = {name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    _, first = np.unique(table["time_utc_ns"], return_index=True)
    return EarthOrientation(
        **{name: column[first] for name, column in table.items()},
        files=tuple(name for part in parts for name in part.files),
        passed_over=tuple(note for part in parts for note in part.passed_over),
    )


def loading_of(paths, station, position_m):
    """Return the ocean loading of a station: by name, else the nearest site within 10 km.

    None where no site fits; ``position_m`` may hold NaN.
    """
    sites = _loading_sites(tuple(paths))
    named = [site for site in sites if site.site.strip().upper()[:4] == station.upper()[:4]]
    if named:
        return named[0]
    if not sites or not np.isfinite(position_m).all():
        return None
    place = [
        xyz_from_geodetic(np.radians(s.latitude_deg), np.radians(s.longitude_deg), 0.0)
        for s in sites
    ]
    distance_m = np.linalg.norm(np.array(place) - np.asarray(position_m), axis=1)
    nearest = int(np.argmin(distance_m))
    return sites[nearest] if distance_m[nearest] < NEAREST_LOADING_M else None


def load_products(files, station, position_m):
    """Return the :class:`Products` for a station from the files of a :class:`ProductFiles`.

    Raises
    ------
    ProductError
        Where neither precise orbits nor broadcast navigation are given.
    FormatError
        Where a file cannot be read.
    """
    if not files.orbits and not files.navigation:
        raise ProductError(
            f"{station}: neither orbits nor broadcast navigation cover its days; give SP3 orbits "
            "with clocks, or RINEX navigation"
        )
    return Products(
        orbits=_orbits(files.orbits),
        clocks=_clocks(files.clocks),
        broadcast=_broadcast(files.navigation),
        antennas=_antennas(files.antennas, files.offsets),
        loading=loading_of(files.loading, station, position_m),
        orientation=_orientation(files.orientation),
        wide_lanes=wide_lanes_of(files.clocks),
        biases=biases_at(files.biases, _middle_ns(files)),
    )


def wide_lanes_of(clock_paths):
    """Return {satellite: (cycles, bands)} of clock files' comments; None where they hold none."""
    clocks = _clocks(clock_paths)
    return (rinex_clk.wide_lane_biases(clocks.comments) or None) if clocks else None


@functools.lru_cache(maxsize=2)
def _biases(paths):
    return tuple(bias for path in paths for bias in sinex_bias.read_biases(path)[0])


def _middle_ns(files):
    """Return the middle of the clocks, else of the orbits; None without either. [ns]"""
    table = _clocks(files.clocks) or _orbits(files.orbits)
    return None if table is None else int(table.time_ns[len(table.time_ns) // 2])


def biases_at(paths, time_ns):
    """Return {(satellite, observable): metres to take off} valid at a time; None without any.

    Of one observable each (OSB) only; cycles are turned by the wavelength of the carrier.
    """
    found = {}
    for bias in _biases(paths) if time_ns is not None else ():
        begun = bias.from_ns is None or bias.from_ns <= time_ns
        if bias.kind != "OSB" or not begun or (bias.until_ns or time_ns) < time_ns:
            continue
        band = SYSTEMS[bias.satellite // 100] + bias.first[1:2]
        if bias.unit == "ns":
            found[bias.satellite, bias.first] = SPEED_OF_LIGHT_M_S * bias.value
        elif band in FREQUENCY_HZ:
            wave_m = SPEED_OF_LIGHT_M_S / FREQUENCY_HZ[band]
            found[bias.satellite, bias.first] = wave_m * bias.value
    return found or None


def station_antenna(files, station):
    """Return the antenna model a SINEX file gives for a station; blank where none does."""
    for content in _sinex(files.offsets):
        for code, model in content.station_antennas.items():
            if code.strip().upper()[:4] == station.upper()[:4]:
                return model
    return ""
