"""Is a file's date right? Its own ranges against satellite positions tell."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S, SPEED_OF_LIGHT_M_S
from ..earth.ellipsoid import geodetic_from_xyz
from ..satellites.states import satellite_states
from ..tables import SYSTEMS

WEEK_NS = 7 * NS_PER_DAY
SHIFTS_WEEKS = (0, 1, -1, 1024, -1024, 2048)
"""Shifts looked at: as written, the week before or after, one or two turns of the week counter."""

FITS_M = 100.0
"""Ranges of one frequency with precise or broadcast orbits fit a place on Earth to this. [m]

Ionosphere and multipath stay below it; a week's shift misses by 100 km and more (common practice,
no source; both are measured in the tests).
"""

_EPOCHS = 4
_FEWEST = 6
_MARK_NS = 900 * NS_PER_S


@dataclass(frozen=True)
class DateFit:
    """How well code ranges fit the satellites when the file's date is moved by whole weeks."""

    shift_weeks: int
    misfit_m: float | None  # None: no satellite positions for that date

    @property
    def fits(self):
        """Say whether the ranges agree with the date."""
        return self.misfit_m is not None and self.misfit_m < FITS_M


def code_misfit_m(observations, products, shift_ns):
    """Return the median rms of code ranges about a best place and clock. [m]

    Parameters
    ----------
    observations : Observations
    products : Products
        Orbits or broadcast messages around the shifted date.
    shift_ns : int
        Added to every epoch. [ns]

    Returns
    -------
    float or None
        None where fewer than six satellites of one system have positions then. inf where the
        ranges meet nowhere on Earth.
    """
    misfits = []
    for epoch in _epochs_to_try(observations):
        satellites, code_m = _codes(observations, epoch)
        misfit = _fit(int(observations.time_ns[epoch]) + shift_ns, satellites, code_m, products)
        if misfit is not None:
            misfits.append(misfit)
    return float(np.median(misfits)) if misfits else None


def _epochs_to_try(observations):
    """Return epochs spread over the file, at quarter hours where clocks of wide tables stand."""
    time_ns = observations.time_ns
    offset = np.abs((time_ns + _MARK_NS // 2) % _MARK_NS - _MARK_NS // 2)
    at_mark = np.flatnonzero(offset <= max(offset.min(), NS_PER_S // 2))
    return at_mark[np.unique(np.linspace(0, len(at_mark) - 1, _EPOCHS).round().astype(int))]


def _codes(observations, epoch):
    """Return (satellites, code on the first band) of the system seen most at an epoch."""
    rows = slice(observations.row_start[epoch], observations.row_start[epoch + 1])
    satellites = observations.satellite[rows]
    best = (np.zeros(0, np.int16), np.zeros(0))
    for letter in "GEC":
        codes = observations.codes.get(letter, ())
        columns = [j for j, code in enumerate(codes) if code[0] == "C" and code[1] in "12"]
        own = satellites // 100 == SYSTEMS.index(letter)
        if not columns or not own.any():
            continue
        values = observations.value[rows][own][:, columns]
        first = np.argmax(np.isfinite(values), axis=1)
        code_m = values[np.arange(len(first)), first]
        seen = np.isfinite(code_m) & (code_m > 1e6)
        if seen.sum() > len(best[0]):
            best = (satellites[own][seen], code_m[seen])
    return best


def _fit(time_ns, satellites, code_m, products):
    """Return the rms of codes about the best place and clock at one epoch; None with too few."""
    place, clock_m = np.zeros(3), 0.0
    time = np.array([time_ns], np.int64)
    for _ in range(10):
        clock_s = np.clip(clock_m / SPEED_OF_LIGHT_M_S, -0.1, 0.1)
        states = satellite_states(products, satellites, time, place, clock_s)
        good = states.valid[0]
        if good.sum() < _FEWEST:
            return None
        line = states.position_m[0, good] - place
        distance = np.linalg.norm(line, axis=1)
        rest = code_m[good] + SPEED_OF_LIGHT_M_S * states.clock_s[0, good] - distance - clock_m
        design = np.column_stack([-line / distance[:, None], np.ones(good.sum())])
        step = np.linalg.lstsq(design, rest, rcond=None)[0]
        place, clock_m = place + step[:3], clock_m + step[3]
        if np.linalg.norm(step[:3]) < 1.0:
            break
    height_m = geodetic_from_xyz(place)[2]
    if not -1000.0 < height_m < 10_000.0:
        return float("inf")
    spare = good.sum() - 4
    return float(np.sqrt(np.sum((rest - design @ step) ** 2) / spare))


def date_fits(observations, products_at):
    """Return a :class:`DateFit` for each shift of :data:`SHIFTS_WEEKS`, up to the first that fits.

    ``products_at(first_ns, last_ns)`` returns Products or None. The date as written comes first.
    """
    first, last = int(observations.time_ns[0]), int(observations.time_ns[-1])
    fits = []
    for weeks in SHIFTS_WEEKS:
        shift = weeks * WEEK_NS
        products = products_at(first + shift, last + shift)
        misfit = None if products is None else code_misfit_m(observations, products, shift)
        fits.append(DateFit(weeks, misfit))
        if fits[-1].fits:
            break
    return fits
