"""A mast as an elastic beam on its foot and its guys: turn, bending of both spans, sway.

Beam elements (Hermite's cubics) give nodes exactly under any steady load. The foot stands still and
may turn against a spring; guys hold one height and give way as :mod:`.guys` has it: what they
stretch turns the whole mast, and the spans below and above them bend besides. Left out: the push of
the guys along the mast, little far below :func:`buckling_N`, and the suddenness of a gust.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import eigh

from ..errors import SettingsError
from .guys import GuyedLoad, each_lost, guyed_load
from .mast import DECREMENT, LATERAL, MATERIALS, Bending, sway_at
from .storm import dynamic_pressure
from .wind_load import RIME_KG_M3

ELEMENTS = 12  # -; of each span: the fifth digit of the first frequency, own choice
MODES = 2  # -; of the sway: the lowest of each span, own choice
IN_STEP = 6.0  # -; widths along which vortices keep step; EN 1991-1-4:2005, table E.5, from memory
BELOW, ABOVE, ALONE = "between foot and guys", "above the guys", "as a whole"


@dataclass(frozen=True)
class Pushes:
    """What pushes a mast.

    ``places_m``, ``forces_N``: of parts on it, east, north, up from the foot, (n, 3) each;
    ``even_N_m``: level force of each metre of the tube itself, east and north (2,).
    """

    places_m: np.ndarray
    forces_N: np.ndarray
    even_N_m: np.ndarray

    def couples_Nm(self, length_m):
        """Return what forces beside the axis, or above its end, turn it by (n, 2).

        In the planes of east and north: positive turns the top that way.
        """
        beyond = np.maximum(self.places_m[:, 2] - length_m, 0.0)
        return self.forces_N[:, :2] * beyond[:, None] - self.places_m[:, :2] * self.forces_N[:, 2:]

    def moment_Nm(self, height_m, length_m):
        """Return the bending moment of these alone at heights (h,), (h, 2). [N m]"""
        height = np.asarray(height_m, float)[:, None]
        at = np.minimum(self.places_m[:, 2], length_m)
        arms = np.maximum(at - height, 0.0)
        above = (at >= height).astype(float)
        even = 0.5 * (length_m - height) ** 2 * self.even_N_m
        return arms @ self.forces_N[:, :2] + above @ self.couples_Nm(length_m) + even


@dataclass(frozen=True)
class MastAnswer:
    """How a mast answers a steady wind.

    ``guyed``: tensions and turn, None without guys; ``turned_mm``: how far the turn alone takes the
    top; ``bending``: of turn and both spans together.
    """

    guyed: GuyedLoad | None
    turned_mm: float
    bending: Bending


class _Beam:
    """Nodes, stiffness and mass of a tube; a place and a slope at each node."""

    def __init__(self, tube, guys, foot_Nm_rad):
        if not foot_Nm_rad >= 0.0 or (foot_Nm_rad == 0.0 and not guys):
            raise SettingsError(
                f"a foot of {foot_Nm_rad} N m/rad and {len(guys)} guys: expected 0 or more, and "
                "more than 0 where no guy holds the mast"
            )
        self.tube, self.guys, self.top_m = tube, guys, guys[0].top_m[2] if guys else 0.0
        if self.top_m > tube.free_m:
            raise SettingsError(
                f"guys at {self.top_m} m of a mast of {tube.free_m} m: expected on the mast"
            )
        spans = [(0.0, self.top_m), (self.top_m, tube.free_m)]
        grids = [np.linspace(a, b, ELEMENTS + 1) for a, b in spans if b > a]
        self.z = np.unique(np.concatenate(grids))
        self.held = 2 * int(np.argmin(np.abs(self.z - self.top_m)))
        self.stiffness = self.summed(_bent, tube.stiffness_Nm2)
        self.stands_only, clamped = foot_Nm_rad == 0.0, np.isinf(foot_Nm_rad)
        self.stiffness[1, 1] += 0.0 if clamped else foot_Nm_rad
        self.free = np.arange(2 if clamped else 1, 2 * self.z.size)

    def summed(self, element, size):
        """Return the matrix of all elements (2 n, 2 n)."""
        out = np.zeros((2 * self.z.size,) * 2)
        for i, length in enumerate(np.diff(self.z)):
            some = slice(2 * i, 2 * i + 4)
            out[some, some] += size * element(length)
        return out

    def shape(self, height_m):
        """Return (first row, Hermite's cubics (4,), their slopes (4,)) at a height."""
        i = min(int(np.searchsorted(self.z, height_m, "right")) - 1, self.z.size - 2)
        length = self.z[i + 1] - self.z[i]
        x = (height_m - self.z[i]) / length
        cubics = [1 - 3 * x**2 + 2 * x**3, length * (x - 2 * x**2 + x**3),
                  3 * x**2 - 2 * x**3, length * (x**3 - x**2)]  # fmt: skip
        slopes = [6 * (x**2 - x) / length, 1 - 4 * x + 3 * x**2,
                  6 * (x - x**2) / length, 3 * x**2 - 2 * x]  # fmt: skip
        return 2 * i, np.array(cubics), np.array(slopes)

    def load(self, pushes):
        """Return forces and couples at the nodes (2 n, 2), east and north."""
        out = np.zeros((2 * self.z.size, 2))
        top = self.tube.free_m
        for place, force, couple in zip(
            pushes.places_m, pushes.forces_N, pushes.couples_Nm(top), strict=True
        ):
            row, cubics, slopes = self.shape(min(place[2], top))
            out[row : row + 4] += np.outer(cubics, force[:2]) + np.outer(slopes, couple)
        for i, length in enumerate(np.diff(self.z)):
            share = np.array([length / 2, length**2 / 12, length / 2, -(length**2) / 12])
            out[2 * i : 2 * i + 4] += np.outer(share, pushes.even_N_m)
        return out

    def solved(self, load, held=None):
        """Return places and slopes (2 n, 2) under a load; ``held``: where the guys' height is."""
        free, out = self.free, np.zeros_like(load)
        if held is not None:
            out[self.held] = held
            free = free[free != self.held]
            load = load - self.stiffness @ out
        out[free] = np.linalg.solve(self.stiffness[np.ix_(free, free)], load[free])
        return out


def _bent(length):
    """Return the stiffness of a beam element by its E I (4, 4)."""
    a, b = 6.0 * length, length**2
    rows = [[12, a, -12, a], [a, 4 * b, -a, 2 * b], [-12, -a, 12, -a], [a, 2 * b, -a, 4 * b]]
    return np.array(rows) / length**3


def _swung(length):
    """Return the mass of a beam element by its mass per metre (4, 4)."""
    a, b, c = 22.0 * length, 13.0 * length, length**2
    rows = [[156, a, 54, -b], [a, 4 * c, b, -3 * c], [54, b, 156, -a], [-b, -3 * c, -a, 4 * c]]
    return np.array(rows) * length / 420.0


def _pressed(length):
    """Return how a push of 1 N along a beam element softens it (4, 4)."""
    a, b = 3.0 * length, length**2
    rows = [[36, a, -36, a], [a, 4 * b, -a, -b], [-36, -a, 36, -a], [a, -b, -a, 4 * b]]
    return np.array(rows) / (30.0 * length)


def buckling_N(tube, guys, *, foot_Nm_rad=np.inf):
    """Return the push along a guyed mast, from guys to foot, at which it buckles. [N]

    The lowest push that a small bend needs no wind for, on the guys' spring (Euler's load).
    """
    beam = _Beam(tube, guys, foot_Nm_rad)
    stiffness = beam.stiffness.copy()
    stiffness[beam.held, beam.held] += level_stiffness(guys)
    softer = np.zeros_like(stiffness)
    for i, length in enumerate(np.diff(beam.z[beam.z <= beam.top_m])):
        some = slice(2 * i, 2 * i + 4)
        softer[some, some] += _pressed(length)
    some = np.ix_(beam.free, beam.free)
    return 1.0 / float(eigh(softer[some], stiffness[some], eigvals_only=True)[-1])


def mast_answer(tube, guys, pushes, weight_N=0.0, *, foot_Nm_rad=np.inf):
    """Return the :class:`MastAnswer` of a mast to a steady wind.

    The guys carry what a prop at their height would, less what foot and tube take back as it gives
    way; the tube bends as on that prop, and goes with it.

    Parameters
    ----------
    tube : Tube
        From the foot to the top.
    guys : sequence of Guy
        All at one height; none: a mast that its foot alone holds.
    pushes : Pushes
    weight_N : float
        Of mast and parts, over the foot. [N]
    foot_Nm_rad : float
        How much the foot resists a turn: 0 where it only stands, infinite where it is clamped.

    Raises
    ------
    SettingsError
        For guys above the mast, or a foot that nothing holds.
    """
    beam = _Beam(tube, guys, foot_Nm_rad)
    load = beam.load(pushes)
    if not guys:
        bent = beam.solved(load)
        return MastAnswer(None, 0.0, _bending(beam, pushes, bent, np.zeros(2)))
    force, moment, stiff = _on_guys(beam, pushes, load)
    guyed = guyed_load(guys, force, moment, weight_N, foot_Nm_rad=stiff)
    about_east, about_north = guyed.turn_rad[:2]
    aside = beam.top_m * np.array([about_north, -about_east])
    bent = beam.solved(load, held=aside)
    pull = -guyed.anchor_pull_N.sum(axis=0)[:2]
    turned = 1e3 * tube.free_m * float(np.linalg.norm(guyed.turn_rad[:2]))
    return MastAnswer(guyed, turned, _bending(beam, pushes, bent, pull))


def lost_guys(tube, guys, pushes, weight_N=0.0, *, foot_Nm_rad=np.inf):
    """Return the :class:`~.guys.GuyedLoad` with each guy in turn slack or broken, by its name."""
    beam = _Beam(tube, guys, foot_Nm_rad)
    force, moment, stiff = _on_guys(beam, pushes, beam.load(pushes))
    return each_lost(guys, force, moment, weight_N, foot_Nm_rad=stiff)


def _on_guys(beam, pushes, load):
    """Return (force (3,), moment (3,), foot) of a stiff mast that is to its guys as the tube is."""
    still = beam.solved(load, held=np.zeros(2))
    east, north = -(beam.stiffness @ still - load)[beam.held]  # what a prop there would carry
    unit = beam.solved(np.zeros_like(load), held=np.ones(2))
    stiff = 0.0 if beam.stands_only else float((beam.stiffness @ unit)[beam.held, 0])
    force = pushes.forces_N.sum(axis=0)
    force[:2] += beam.tube.free_m * pushes.even_N_m
    return force, beam.top_m * np.array([-north, east, 0.0]), stiff * beam.top_m**2


def _bending(beam, pushes, bent, pull_N):
    """Return the :class:`~.mast.Bending` of places and slopes (2 n, 2) and the guys' level pull."""
    tube = beam.tube
    height = np.unique(np.concatenate([beam.z, np.minimum(pushes.places_m[:, 2], tube.free_m)]))
    held = np.maximum(beam.top_m - height, 0.0)[:, None] * pull_N
    moment = float(np.linalg.norm(pushes.moment_Nm(height, tube.free_m) + held, axis=1).max())
    stress = moment * tube.diameter_m / (2.0 * tube.second_moment_m4)
    slope2 = np.sum(bent[1::2] ** 2, axis=1)
    return Bending(
        top_mm=1e3 * float(np.linalg.norm(bent[-2])),
        drop_mm=1e3 * float(np.sum(np.diff(beam.z) * (slope2[1:] + slope2[:-1])) / 4.0),
        moment_Nm=moment,
        stress_Pa=stress,
        safety=MATERIALS[tube.material][1] / stress if stress != 0.0 else np.inf,
    )


def level_stiffness(guys):
    """Return how guys that are all taut resist a push at their height, the softer way. [N/m]

    Without pretension only those to windward pull: half as much.
    """
    level = np.array([guy.direction[:2] for guy in guys])
    each = [guy.stretch_N / guy.length_m * (1.0 if guy.pretension_N else 0.5) for guy in guys]
    return float(np.linalg.eigvalsh((level.T * each) @ level)[0])


def mast_sways(tube, guys, masses, density_kg_m3, *, foot_Nm_rad=np.inf, rime_m=0.0):
    """Return the :class:`~.mast.Sway` of a mast's lowest frequencies, the lowest first.

    Parameters
    ----------
    tube, guys, foot_Nm_rad
        As :func:`mast_answer` has them.
    masses : sequence of (float, float)
        Height and mass of each part on the mast; above its end, stiffly on it. [m], [kg]
    density_kg_m3 : float
        Of the air.
    rime_m : float
        Around the tube: makes it wider and heavier, not stiffer.

    Notes
    -----
    Vortices push with :data:`~.mast.LATERAL` in step with the mode, along :data:`IN_STEP` widths
    about where it is largest, against :data:`~.mast.DECREMENT`; a wind that gusts shakes less.
    """
    beam = _Beam(tube, guys, foot_Nm_rad)
    some = np.ix_(beam.free, beam.free)
    stiffness = beam.stiffness.copy()
    if guys:
        stiffness[beam.held, beam.held] += level_stiffness(guys)
    mass = _mass(beam, masses, RIME_KG_M3 * np.pi * rime_m * (tube.diameter_m + rime_m))
    squares, modes = eigh(stiffness[some], mass[some], subset_by_index=[0, MODES - 1])
    out = np.zeros((2 * beam.z.size, MODES))
    out[beam.free] = modes
    width = tube.diameter_m + 2.0 * rime_m
    places = np.abs(out[::2]).T
    return tuple(_sway(beam, *one, width, density_kg_m3)
                 for one in zip(squares, places, strict=True))  # fmt: skip


def _sway(beam, square, place, width_m, density_kg_m3):
    """Return the :class:`~.mast.Sway` of one mode: its (rad/s)^2 and places, of mass 1."""
    most = float(beam.z[int(place.argmax())])
    span = ALONE if not beam.guys else ABOVE if most > beam.top_m else BELOW
    found = sway_at(float(np.sqrt(square)) / (2.0 * np.pi), width_m, span)
    push = LATERAL * width_m * float(dynamic_pressure(found.critical_m_s, density_kg_m3))
    half = 0.5 * IN_STEP * width_m
    along = np.linspace(max(most - half, 0.0), min(most + half, beam.tube.free_m), 201)
    pushed = push * np.trapezoid(np.interp(along, beam.z, place), along)
    grown = pushed * np.pi / (DECREMENT * float(square))
    return replace(found, shaken_mm=1e3 * float(grown * place.max()))


def _mass(beam, masses, coat_kg_m):
    """Return the mass of tube, coat and parts (2 n, 2 n)."""
    out = beam.summed(_swung, beam.tube.mass_kg_m + coat_kg_m)
    for height, one_kg in masses:
        at = min(height, beam.tube.free_m)
        row, cubics, slopes = beam.shape(at)
        moves = cubics + (height - at) * slopes
        out[row : row + 4, row : row + 4] += one_kg * np.outer(moves, moves)
    return out
