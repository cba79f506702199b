"""A mast or frame held by guys: which pull how hard, which go slack, and what if one is lost.

The mast is stiff and stands on a foot that may turn; a guy pulls and never pushes:

    T_i = max(0, P_i + k_i u_i . (t x r_i)),  sum r_i x (-T_i u_i) + M - K t = 0

with pretension P, stiffness k = E A / length, u from the anchor to the top at r, the small turn t,
the moment M of wind and weight about the foot and the foot's own stiffness K. The turn minimises a
convex energy, so that the set of taut guys is one only; Newton's steps find it. Left out: sag of
the wires (light ones under the usual pretension), bending of the mast, and the gust's suddenness.
"""

from dataclasses import dataclass, field

import numpy as np

from ..errors import SettingsError
from .cautions import ESTIMATE, FRAMES, GUY_WIRES

PRETENSION = (0.07, 0.10, 0.15)  # -, of the breaking load: least, usual, most; ANSI/TIA-222, quoted
SAFETY = 2.0  # -, breaking load over tension; EIA-222-E as quoted by practitioners (weak)
MOST_TURN_DEG = 5.0  # deg, beyond it the formulas of small turns do not hold; our choice
FALLEN_RAD = 1.0  # rad, a mast that would turn this far has fallen; our choice

_STEPS = 60
_FAR_RAD = 1e3  # rad, nothing has stopped a step that leads beyond
_WEAK = 1e-6  # -, share of the stiffest turn below which nothing resists


@dataclass(frozen=True)
class Guy:
    """One guy.

    ``top_m``, ``anchor_m``: east, north, up from the foot, each (3,). ``stretch_N``: E A, force
    that would stretch it by its own length. ``breaking_N``: of the weakest of wire, clamp, shackle.
    """

    name: str
    top_m: tuple
    anchor_m: tuple
    stretch_N: float
    breaking_N: float
    pretension_N: float = 0.0

    def __post_init__(self):
        places = np.array([self.top_m, self.anchor_m], float)
        if places.shape != (2, 3) or not np.isfinite(places).all() or self.length_m == 0.0:
            raise SettingsError(
                f"guy {self.name}: top {self.top_m} and anchor {self.anchor_m}; expected two "
                "different places of east, north, up from the foot [m]"
            )
        if not (self.stretch_N > 0.0 and self.breaking_N > 0.0 and self.pretension_N >= 0.0):
            raise SettingsError(
                f"guy {self.name}: stretch {self.stretch_N} N, breaking {self.breaking_N} N, "
                f"pretension {self.pretension_N} N; expected positive numbers, pretension 0 or more"
            )

    @property
    def length_m(self):
        """From anchor to top. [m]"""
        return float(np.linalg.norm(np.subtract(self.top_m, self.anchor_m)))

    @property
    def direction(self):
        """Unit vector from the anchor to the top (3,)."""
        return np.subtract(self.top_m, self.anchor_m) / self.length_m


@dataclass(frozen=True)
class GuyedLoad:
    """What guys, anchors and foot must hold.

    ``stands``: False where nothing stops the turn within :data:`FALLEN_RAD`; all numbers are then
    NaN. ``tensions_N`` (n,); ``anchor_pull_N`` (n, 3): force on each anchor. ``foot_N`` (3,): force
    of the ground on the foot; ``uplift_N``: what the foot must hold down, ``thrust_N``: what
    presses on it. ``turn_rad`` (3,): of the mast about east, north, up; ``turn_deg``: its size.
    ``safety``: least breaking load over tension, of ``weakest``.
    """

    names: tuple
    stands: bool
    tensions_N: np.ndarray
    anchor_pull_N: np.ndarray
    foot_N: np.ndarray
    turn_rad: np.ndarray
    safety: float
    weakest: str
    cautions: tuple = field(default=(GUY_WIRES, FRAMES, ESTIMATE))

    @property
    def slack(self):
        """Names of the guys that carry nothing."""
        return tuple(n for n, t in zip(self.names, self.tensions_N, strict=True) if t == 0.0)

    @property
    def turn_deg(self):
        """How far the mast turns, foot to guys. [deg]"""
        return float(np.degrees(np.linalg.norm(self.turn_rad)))

    @property
    def uplift_N(self):
        """Pull of the foot out of the ground, 0 where it presses. [N]"""
        return max(0.0, -float(self.foot_N[2]))

    @property
    def thrust_N(self):
        """Push of the foot into the ground, 0 where it is lifted. [N]"""
        return max(0.0, float(self.foot_N[2]))

    @property
    def upright(self):
        """Whether it stands, straight enough for the formulas to hold."""
        return self.stands and self.turn_deg <= MOST_TURN_DEG

    @property
    def enough(self):
        """Whether it stands upright, with the usual safety in every guy."""
        return self.upright and self.safety >= SAFETY


def usual_pretension(breaking_N):
    """Return the least, usual and most pretension of a guy (7, 10, 15 % of its breaking load). [N]

    ANSI/TIA-222 as quoted in an industry notice: made for steel strand on towers. Cold shortens
    wires against an aluminium mast less than the mast: look at it again at each visit.
    """
    return tuple(share * breaking_N for share in PRETENSION)


def guyed_load(guys, force_N, moment_Nm, weight_N=0.0, *, foot_Nm_rad=0.0, twist_held=True):
    """Return the :class:`GuyedLoad` of a mast on its foot.

    Parameters
    ----------
    guys : list of Guy
        The guys that are there.
    force_N, moment_Nm : array (3,)
        Wind on all parts, and its moment about the foot (``wind_load.WindLoad``) [N], [N m].
    weight_N : float
        Of mast and parts, taken as standing over the foot [N].
    foot_Nm_rad : float
        How much the foot itself resists a turn [N m/rad]; 0 for a foot that only stands.
    twist_held : bool
        Whether the foot holds against turning about the vertical.

    Raises
    ------
    SettingsError
        Without numbers, or for two guys of one name.
    """
    force, moment = np.asarray(force_N, float), np.asarray(moment_Nm, float)
    names = tuple(guy.name for guy in guys)
    if len(set(names)) != len(names):
        raise SettingsError(f"guys {', '.join(names)}: expected names that differ")
    if force.shape != (3,) or moment.shape != (3,) or not np.isfinite([*force, *moment]).all():
        raise SettingsError(f"force {force_N} and moment {moment_Nm}: expected three numbers each")
    arms, stiffness, pretension = _arms(guys)
    axes = 2 if twist_held else 3
    turn = _turn(arms[:, :axes], stiffness, pretension, moment[:axes], foot_Nm_rad)
    if turn is None:
        return _fallen(names)
    tensions = np.maximum(0.0, pretension + stiffness * (arms[:, :axes] @ turn))
    directions = np.array([guy.direction for guy in guys]).reshape(-1, 3)
    pull = tensions[:, None] * directions
    share = np.array([guy.breaking_N for guy in guys]) / np.where(tensions > 0.0, tensions, np.nan)
    known = bool(np.isfinite(share).any())
    return GuyedLoad(
        names=names,
        stands=True,
        tensions_N=tensions,
        anchor_pull_N=pull,
        foot_N=pull.sum(axis=0) - force + np.array([0.0, 0.0, weight_N]),
        turn_rad=np.pad(turn, (0, 3 - axes)),
        safety=float(np.nanmin(share)) if known else np.inf,
        weakest=names[int(np.nanargmin(share))] if known else "",
    )


def each_lost(guys, force_N, moment_Nm, weight_N=0.0, **foot):
    """Return the :class:`GuyedLoad` with each guy in turn slack or broken, by its name."""
    return {
        lost.name: guyed_load(
            [guy for guy in guys if guy is not lost], force_N, moment_Nm, weight_N, **foot
        )
        for lost in guys
    }


def _arms(guys):
    """Return what a small turn stretches each guy by (n, 3), stiffness (n,), pretension (n,)."""
    arms = [np.cross(guy.top_m, guy.direction) for guy in guys]
    stiffness = [guy.stretch_N / guy.length_m for guy in guys]
    pretension = [guy.pretension_N for guy in guys]
    return np.array(arms).reshape(-1, 3), np.array(stiffness), np.array(pretension)


def _turn(arms, stiffness, pretension, moment, foot):
    """Return the turn at the least energy, or None where nothing stops it."""

    def energy(turn):
        stretched = np.maximum(0.0, pretension + stiffness * (arms @ turn))
        return 0.5 * (np.sum(stretched**2 / stiffness) + foot * turn @ turn) - moment @ turn

    turn = np.zeros(arms.shape[1])
    strong = foot + np.sum(stiffness * np.sum(arms**2, axis=1))
    size = np.abs(moment).max() + np.sum(pretension * np.linalg.norm(arms, axis=1))
    if strong == 0.0:
        return None
    rounding = 1e-12 * size**2 / strong
    for _ in range(_STEPS):
        would = pretension + stiffness * (arms @ turn)
        rest = moment - arms.T @ np.maximum(0.0, would) - foot * turn
        if np.abs(rest).max() <= 1e-9 * size:
            return turn if np.abs(turn).max() <= FALLEN_RAD else None
        taut = would >= 0.0
        stiff = (arms[taut].T * stiffness[taut]) @ arms[taut] + foot * np.eye(turn.size)
        # where the taut guys leave a turn free, a little stiffness lets the step find the others
        step = np.linalg.solve(stiff + _WEAK * strong * np.eye(turn.size), rest)
        here = energy(turn)
        while energy(turn + step) > here + rounding and np.abs(step).max() > 0.0:
            step /= 2.0
        turn = turn + step
        if np.abs(turn).max() > _FAR_RAD:
            return None
    return None


def _fallen(names):
    n = len(names)
    return GuyedLoad(
        names=names,
        stands=False,
        tensions_N=np.full(n, np.nan),
        anchor_pull_N=np.full((n, 3), np.nan),
        foot_N=np.full(3, np.nan),
        turn_rad=np.full(3, np.nan),
        safety=0.0,
        weakest="",
    )
