"""Which slope a station's height budget takes: given, of a grid, of its own path, or none."""

from dataclasses import dataclass

import numpy as np

from ..errors import SolutionError
from .slopes import PathSlope, slope_from_path
from .surface_slope import GRID, grid_term
from .vertical import slope_term

OWN, GIVEN, NONE = "own path", "given", "none"
ORDER = {
    "automatic": (GIVEN, GRID, OWN),
    GIVEN: (GIVEN,),
    GRID: (GRID, OWN),
    OWN: (OWN,),
    NONE: (),
}
"""Sources by setting; the first that is there is taken."""


@dataclass(frozen=True)
class SlopeSources:
    """All slopes that are known of one station.

    ``known``: by source a pair (slope, sigma), or a Term. ``own`` the slope of the own path, None
    where there is none; ``name`` that of the grid, blank where none covers the station. ``chosen``:
    the source taken, ``none`` where there is none. ``said``: sentences.
    """

    known: dict
    own: PathSlope | None
    name: str
    chosen: str
    said: tuple

    def terms(self, travel_m):
        """Return the term of the source taken, in a tuple; an empty one where there is none."""
        if self.chosen == NONE:
            return ()
        known = self.known[self.chosen]
        return (known,) if self.chosen == GRID else (slope_term(travel_m, *known, self.chosen),)


def slope_sources(grid_ns, travel_m, known_m, settings, surfaces, path_rad):
    """Return the :class:`SlopeSources` of a station.

    Parameters
    ----------
    grid_ns : array (m,)
        [ns]
    travel_m : array (m,)
        Along the flow since the first time. [m]
    known_m : array (m,)
        Height with all known terms but the slope taken off. [m]
    settings : MotionSettings
    surfaces : sequence of SurfaceGrid
    path_rad : pair of arrays (m,), or None
        Latitude and longitude of the path; None where it is not known where the station stands.
    """
    known, said, name = {}, [], ""
    wanted = ORDER[settings.slope_source]
    if np.isfinite(settings.slope):
        known[GIVEN] = (settings.slope, settings.slope_sigma)
    try:
        name, known[GRID] = _of_grid(settings, surfaces, path_rad)
    except SolutionError as problem:
        if GRID in wanted[:1] or (surfaces and GRID in wanted and GIVEN not in known):
            said.append(f"slope of a grid: {problem}; the own path is taken")
    try:
        own = slope_from_path(grid_ns, travel_m, known_m)
        known[OWN] = (own.slope, own.sigma)
    except SolutionError:
        own = None
    chosen = next((source for source in wanted if source in known), NONE)
    if chosen == OWN and own.confounded:
        said.append(f"slope of the own path: {own.caution}")
    return SlopeSources(known, own, name, chosen, tuple(said))


def _of_grid(settings, surfaces, path_rad):
    """Return (name, Term) of a grid; SolutionError where there is none for this station."""
    if path_rad is None:
        raise SolutionError("latitude and longitude of the station are not known")
    extra = 0.0 if np.isfinite(settings.slope) else settings.slope_sigma
    return grid_term(surfaces, *path_rad, settings.slope_length_m, extra)
