"""Observations of a rover and its bases brought to common epochs and satellites, less the model."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..constants import NS_PER_S
from ..earth.ellipsoid import enu_axes, geodetic_from_xyz
from ..errors import SolutionError
from ..signals.clock_jumps import repair_clock_jumps
from ..signals.tracks import build_tracks
from ..tables import Observations
from .coarse import Coarse, locate
from .model import observed_minus_computed

MATCH_NS = NS_PER_S // 2  # epochs of two receivers this near are one; satellite clocks stay steady
FURTHEST_M = 300e3  # m, beyond it too few satellites and too different an air; our choice


@dataclass(frozen=True)
class Base:
    """A receiver whose position is known: on rock, or on ice with a path of its own.

    Attributes
    ----------
    name : str
    observations : Observations
    time_ns : int64 array, shape (k,)
        Of the path; one row for a marker that stands still.
    position_m : array, shape (k, 3)
        The marker, Earth-fixed, in the frame of the orbits. [m]
    antenna_height_m : tuple
        Marker to reference point: up, east, north. [m]
    antenna_model : str
    covariance_m2 : array, shape (3, 3)
        East, north, up of the marker's place or path, as one error of all epochs. [m2]
    """

    name: str
    observations: Observations
    time_ns: np.ndarray
    position_m: np.ndarray
    antenna_height_m: tuple = (0.0, 0.0, 0.0)
    antenna_model: str = ""
    covariance_m2: np.ndarray = field(default_factory=lambda: np.zeros((3, 3)))

    def marker_at(self, time_ns):
        """Return the marker (n, 3) at times, NaN outside a path. [m]"""
        if len(self.time_ns) == 1:
            return np.tile(self.position_m, (len(time_ns), 1))
        at = (np.asarray(time_ns) - self.time_ns[0]) / NS_PER_S
        nodes = (self.time_ns - self.time_ns[0]) / NS_PER_S
        columns = [
            np.interp(at, nodes, column, left=np.nan, right=np.nan) for column in self.position_m.T
        ]
        return np.column_stack(columns)


@dataclass(frozen=True)
class Together:
    """Receivers on common epochs (n) and satellites (m); the first is the pivot, then the rover.

    ``tracks`` and ``coarse`` are by receiver, all with the same satellites; epochs that one lacks
    hold NaN. ``length_m`` are the distances of all receivers from the rover.
    ``pivot_covariance_m2`` (3, 3) is that of the pivot's place, which all positions share.
    """

    time_ns: np.ndarray
    satellites: np.ndarray
    tracks: tuple
    phase_m: tuple
    coarse: tuple
    settings: tuple
    length_m: np.ndarray
    names: tuple
    pivot_covariance_m2: np.ndarray
    notes: tuple


def bring_together(rover, bases, products, settings):
    """Return :class:`Together`; bases in the order of how much they share with the rover.

    Parameters
    ----------
    rover : Observations
    bases : sequence of Base
    products : Products
        Precise orbits, or broadcast messages.
    settings : Settings
        Of the rover; the bases take all but the antenna from them.

    Raises
    ------
    SolutionError
        Where no base shares satellites and epochs with the rover, or all are too far.
    """
    notes = []
    mine = _Receiver.of(rover, products, settings, notes)
    others = [_base(base, products, settings, notes) for base in bases]
    near = _near(mine, [other for other in others if other is not None], notes)
    near.sort(key=lambda other: -_shared(mine, other))
    if not near or _shared(mine, near[0]) == 0:
        raise SolutionError(
            "no base shares epochs and satellites with the rover within "
            f"{FURTHEST_M / 1e3:.0f} km: {'; '.join(notes) or 'check days and intervals'}"
        )
    order = [near[0], mine, *near[1:]]
    satellites = np.intersect1d(near[0].tracks.satellites, mine.tracks.satellites)
    time_ns = mine.tracks.time_ns[_epochs(near[0], mine.tracks.time_ns) >= 0]
    parts = [receiver.at(time_ns, satellites) for receiver in order]
    place = [np.nanmedian(part[2].position_m, axis=0) for part in parts]
    return Together(
        time_ns,
        satellites,
        tuple(part[0] for part in parts),
        tuple(part[1] for part in parts),
        tuple(part[2] for part in parts),
        tuple(receiver.settings for receiver in order),
        np.array([np.linalg.norm(p - place[1]) for p in place]),
        tuple(receiver.name for receiver in order),
        near[0].covariance_m2,
        tuple(notes),
    )


@dataclass(frozen=True)
class _Receiver:
    """One receiver before it is brought to common epochs."""

    name: str
    tracks: object
    phase_m: np.ndarray
    coarse: Coarse
    settings: object
    covariance_m2: np.ndarray | None = None

    @classmethod
    def of(cls, observations, products, settings, notes, name=""):
        tracks, said = build_tracks(observations, settings.systems)
        name = name or observations.header.marker_name or "rover"
        notes.extend(f"{name}: {sentence}" for sentence in said)
        known = known_satellites(products)
        keep = np.flatnonzero(np.isin(tracks.satellites, known))
        if not keep.size:
            raise SolutionError(
                f"{name}: no satellite with code and phase on two bands has an orbit: "
                f"{'; '.join(said) or 'check that orbits are of the day'}"
            )
        tracks = tracks.select(satellites=keep)
        phase, jumps = repair_clock_jumps(tracks)
        if jumps:
            notes.append(f"{name}: {len(jumps)} clock jumps of whole milliseconds repaired")
        return cls(name, tracks, phase, locate(tracks, products), settings)

    def at(self, time_ns, satellites):
        """Return (tracks, phases, coarse) at common epochs and satellites, NaN where missing."""
        epoch = _epochs(self, time_ns)
        column = np.searchsorted(self.tracks.satellites, satellites)
        column = np.minimum(column, len(self.tracks.satellites) - 1)
        tracks = self.tracks.select(np.maximum(epoch, 0), column)
        gone = (epoch < 0)[:, None] | (self.tracks.satellites[column] != satellites)[None, :]
        phase = self.phase_m[:, np.maximum(epoch, 0)][:, :, column]
        tracks = replace(
            tracks,
            time_ns=np.where(epoch < 0, time_ns, tracks.time_ns),
            satellites=satellites,
            code_m=np.where(gone, np.nan, tracks.code_m),
            phase_m=np.where(gone, np.nan, phase),
            lock=np.where(gone, 0, tracks.lock).astype(np.uint8),
        )
        coarse = Coarse(
            self.coarse.position_m[np.maximum(epoch, 0)],
            self.coarse.clock_s[np.maximum(epoch, 0)],
            self.coarse.rms_m,
        )
        return tracks, tracks.phase_m, coarse


def known_satellites(products):
    """Return the satellites that orbits or broadcast messages hold.

    Clocks need not hold them: what all receivers share of a satellite drops out.
    """
    if products.orbits is not None:
        return np.asarray(products.orbits.satellites)
    if products.broadcast is None:
        raise SolutionError("neither orbits nor broadcast messages are given; one is needed")
    messages = (products.broadcast.kepler, products.broadcast.state_vector)
    return np.unique(np.concatenate([part.satellites for part in messages]))


def _base(base, products, settings, notes):
    """Return a base's receiver with its known position; None, with a note, where it has none."""
    own = replace(
        settings,
        antenna_height_m=base.antenna_height_m,
        antenna_model=base.antenna_model,
        steps_ns=(),
    )
    try:
        receiver = _Receiver.of(base.observations, products, own, notes, base.name)
    except SolutionError as problem:
        notes.append(f"base {base.name} left out: {problem}")
        return None
    marker = base.marker_at(receiver.tracks.time_ns)
    known = np.isfinite(marker).all(axis=1)
    if not known.any():
        notes.append(f"base {base.name} left out: its path does not reach these epochs")
        return None
    axes = enu_axes(*geodetic_from_xyz(marker[known][0])[:2])
    up, east, north = base.antenna_height_m
    point = marker[known] + np.array([east, north, up]) @ axes
    coarse = receiver.coarse
    return replace(
        receiver,
        tracks=receiver.tracks.select(np.flatnonzero(known)),
        phase_m=receiver.phase_m[:, known],
        coarse=Coarse(point, coarse.clock_s[known], coarse.rms_m),
        covariance_m2=np.asarray(base.covariance_m2, float),
    )


def _near(mine, others, notes):
    """Return the bases near enough; a note for each that is not."""
    place = np.median(mine.coarse.position_m, axis=0)
    near = []
    for other in others:
        distance = np.linalg.norm(np.median(other.coarse.position_m, axis=0) - place)
        if distance > FURTHEST_M:
            notes.append(f"base {other.name} left out: {distance / 1e3:.0f} km away")
        else:
            near.append(other)
    return near


def _epochs(receiver, time_ns):
    """Return the receiver's epoch (n,) nearest to each time, -1 where none is near."""
    own = receiver.tracks.time_ns
    after = np.clip(np.searchsorted(own, time_ns), 1, max(len(own) - 1, 1))
    before = np.minimum(after - 1, len(own) - 1)
    after = np.minimum(after, len(own) - 1)
    nearest = np.where(np.abs(own[before] - time_ns) <= np.abs(own[after] - time_ns), before, after)
    return np.where(np.abs(own[nearest] - time_ns) <= MATCH_NS, nearest, -1)


def _shared(mine, other):
    """Return how many observations two receivers have in common."""
    satellites = np.intersect1d(mine.tracks.satellites, other.tracks.satellites)
    epoch = _epochs(other, mine.tracks.time_ns)
    columns = [np.searchsorted(r.tracks.satellites, satellites) for r in (mine, other)]
    first = np.isfinite(mine.tracks.phase_m[0][epoch >= 0][:, columns[0]])
    second = np.isfinite(other.tracks.phase_m[0][epoch[epoch >= 0]][:, columns[1]])
    return int((first & second).sum())


def model_all(together, products, coefficients=None):
    """Return the :class:`Model` of every receiver, all about their own positions."""
    return [
        observed_minus_computed(tracks, phase, products, settings, coarse, coefficients)
        for tracks, phase, settings, coarse in zip(
            together.tracks, together.phase_m, together.settings, together.coarse, strict=True
        )
    ]
