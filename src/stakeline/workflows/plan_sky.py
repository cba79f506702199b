"""Satellites over a described station: from the campaign's orbits, or by their constellations."""

from dataclasses import dataclass

import numpy as np

from ..constants import EARTH_ROTATION_RAD_S, NS_PER_DAY, NS_PER_S
from ..errors import StakelineError
from ..formats import rinex_nav, sp3
from ..satellites.broadcast import broadcast_orbits
from ..satellites.dilution import SkyView, sky_view
from ..satellites.nominal import LETTERS, nominal_orbits
from ..satellites.orbits import turn_about_z
from ..tables import SYSTEMS
from .plan_lines import at_least, at_most

STEP_S = 300.0  # s
DAY_S = 86_400.0
MASK_DEG = 5.0  # deg; lowest elevation used, as the verb position does
LEAST_SEEN = 8  # satellites, common practice, no source
MOST_DOP = 4.0  # -; of position, common practice, no source
NOMINAL = "nominal constellations"


@dataclass(frozen=True)
class SkyOutcome:
    """A day of satellites.

    ``time_s``: (n,) since the first epoch; ``source``: file or constellation.
    """

    time_s: np.ndarray
    view: SkyView
    source: str
    mask_deg: float
    lines: tuple

    def share_above(self, most):
        """Return the share of the day with a dilution above a number, or none at all."""
        dop = self.view.dop[:, 0]
        return float(np.mean(~(dop <= most)))


@dataclass(frozen=True)
class Orbits:
    """Earth-fixed positions (n, m, 3) of satellites (m,), and where they are from. [m]"""

    time_s: np.ndarray
    satellites: np.ndarray
    position_m: np.ndarray
    source: str


def nominal_day(systems):
    """Return a day of :class:`Orbits` by the constellations' definitions."""
    time = np.arange(0.0, DAY_S, STEP_S)
    letters = "".join(LETTERS[name] for name in systems if name in LETTERS)
    return Orbits(time, *nominal_orbits(letters, time), NOMINAL)


def orbits_in(campaign, entries):
    """Return the :class:`Orbits` of the first file of orbits or messages; None where there is none.

    Parameters
    ----------
    campaign : Campaign
    entries : sequence of ProductEntry
        As :func:`.product_index.scan` finds them. A file that cannot be read is passed over.
    """
    for kind, read in (("sp3", _from_sp3), ("navigation", _from_messages)):
        for entry in sorted((e for e in entries if e.kind == kind), key=lambda e: e.path):
            try:
                return read(campaign.root / entry.path, entry.path)
            except StakelineError:
                continue
    return None


def _from_sp3(path, name):
    table = sp3.read_sp3(path)
    first = int(table.time_ns[0])
    day = table.time_ns < first + NS_PER_DAY
    time = (table.time_ns[day] - first) / NS_PER_S
    return Orbits(time, np.asarray(table.satellites), table.position_m[day], name)


def _from_messages(path, name):
    broadcast = rinex_nav.read_navigation(path)
    times = [broadcast.kepler.time_of_ephemeris_ns, broadcast.state_vector.time_of_ephemeris_ns]
    every = np.concatenate(times)
    tables = (broadcast.kepler.satellites, broadcast.state_vector.satellites)
    satellites = np.unique(np.concatenate(tables))
    first = int(every.min())
    span = min((int(every.max()) - first) / NS_PER_S, DAY_S - STEP_S)
    time = np.arange(0.0, span + 1.0, STEP_S)
    position, _, _ = broadcast_orbits(
        broadcast, satellites, first + (time * NS_PER_S).astype(np.int64), first
    )
    fixed = turn_about_z(position, -EARTH_ROTATION_RAD_S * time[:, None])
    return Orbits(time, satellites, fixed, name)


def sky_of(description, orbits=None):
    """Return the :class:`SkyOutcome` of a described station.

    Parameters
    ----------
    description : StationDescription
    orbits : Orbits, optional
        Nominal constellations where not given.
    """
    systems = description.settings.recording.systems
    orbits = nominal_day(systems) if orbits is None else orbits
    wanted = {LETTERS[name] for name in systems if name in LETTERS}
    used = np.array([SYSTEMS[s // 100] in wanted for s in orbits.satellites], bool)
    site = description.design.site
    view = sky_view(
        orbits.satellites[used],
        orbits.position_m[:, used],
        (np.radians(site.latitude_deg), np.radians(site.longitude_deg), site.elevation_m),
        mask_rad=np.radians(MASK_DEG),
        skyline=site.horizon.at,
    )
    worst = view.dop[:, 0]
    largest = float(np.nanmax(worst)) if np.isfinite(worst).all() else np.inf
    lines = (
        at_least("sky", "satellites seen at the worst minute", float(view.count.min()), LEAST_SEEN,
                 "", words=orbits.source),
        at_most("sky", "dilution of position at the worst minute", largest, MOST_DOP, ""),
    )  # fmt: skip
    return SkyOutcome(orbits.time_s, view, orbits.source, MASK_DEG, lines)
