"""A frame on legs: when it tips over, what each leg carries, and how deep a leg must be drilled."""

from dataclasses import dataclass, field

import numpy as np

from ..errors import SettingsError
from .cautions import DRILLING, ESTIMATE, FRAMES, LIFTING
from .checks import not_negative, positive
from .mast import MATERIALS
from .storm import GRAVITY_M_S2

SAFETY = 1.5  # -, against tipping; common practice, no source
USUAL_EMBEDMENT_M = 1.5  # m, drilled leg; common practice, no source
FRICTION = 0.1  # -, of feet on snow, low; common practice, no source


@dataclass(frozen=True)
class Standing:
    """How a frame stands that is held by its weight alone.

    ``safety``: least holding over overturning moment about an edge of the base, infinite without
    wind. ``edge``: its two legs. ``ballast_kg``: mass to add in the middle for :data:`SAFETY`.
    ``friction``: level force over what presses on the ground, infinite where nothing does; where it
    is above :data:`FRICTION`, feet that nothing pins slide on snow.
    """

    safety: float
    edge: tuple
    ballast_kg: float
    friction: float
    cautions: tuple = field(default=(FRAMES, LIFTING, ESTIMATE))

    @property
    def enough(self):
        """Whether it stands with the usual safety, its feet pinned against sliding."""
        return self.safety >= SAFETY

    @property
    def slides(self):
        """Whether feet that nothing pins would slide on snow."""
        return self.friction > FRICTION


@dataclass(frozen=True)
class Leg:
    """What one leg must hold in ice or firn.

    ``moment_Nm``: largest bending moment, ``at_m`` below the surface; ``stress_Pa`` there,
    ``safety`` of the tube; ``embedment_m``: least length in the ground.
    """

    moment_Nm: float
    at_m: float
    stress_Pa: float
    safety: float
    embedment_m: float
    cautions: tuple = field(default=(DRILLING, FRAMES, ESTIMATE))


def _base(legs_m):
    """Return the legs in order round the base (n, 2), and that order; no leg may lie inside."""
    legs = np.asarray(legs_m, float)
    if legs.ndim != 2 or legs.shape[1] != 2 or len(legs) < 3 or not np.isfinite(legs).all():
        raise SettingsError(
            f"legs of shape {legs.shape}: expected three or more of east, north [m]"
        )
    about = legs - legs.mean(axis=0)
    order = np.argsort(np.arctan2(about[:, 1], about[:, 0]))
    edges = np.roll(legs[order], -1, axis=0) - legs[order]
    ahead = np.roll(edges, -1, axis=0)
    if not np.all(edges[:, 0] * ahead[:, 1] - edges[:, 1] * ahead[:, 0] > 0.0):
        raise SettingsError(
            f"legs at {legs.tolist()}: expected the corners of a base that bulges outwards"
        )
    return legs[order], order


def standing(legs_m, force_N, moment_Nm, mass_kg, centre_m=(0.0, 0.0), safety=SAFETY):
    """Return the :class:`Standing` of a frame that nothing holds down but its weight.

    Parameters
    ----------
    legs_m : array (n, 2)
        East and north of the legs [m].
    force_N, moment_Nm : array (3,)
        Wind, and its moment about the origin of the legs (``wind_load.WindLoad``).
    mass_kg, centre_m : float, (2,)
        Of the frame with all that rests on it; its middle, east and north [m].
    safety : float
        That the ballast is for.
    """
    corners, order = _base(legs_m)
    force, moment = np.asarray(force_N, float), np.asarray(moment_Nm, float)
    middle = corners.mean(axis=0)
    edges = np.roll(corners, -1, axis=0) - corners
    along = edges / np.linalg.norm(edges, axis=1)[:, None]
    # moment about an edge through corner c, positive where it tips outwards over that edge
    shifted = moment - np.cross(np.column_stack([corners, np.zeros(len(corners))]), force)
    tipping = np.einsum("ij,ij->i", shifted[:, :2], along)

    def inwards(place):
        arm = np.asarray(place, float) - corners
        return along[:, 0] * arm[:, 1] - along[:, 1] * arm[:, 0]

    holding = mass_kg * GRAVITY_M_S2 * inwards(centre_m)
    tips = tipping > 0.0
    ratio = np.full(len(corners), np.inf)
    ratio[tips] = holding[tips] / tipping[tips]
    ratio[~tips & (holding < 0.0)] = 0.0
    worst = int(np.argmin(ratio))
    missing = (safety * np.maximum(tipping, 0.0) - holding) / (GRAVITY_M_S2 * inwards(middle))
    ends = (int(order[worst]), int(np.roll(order, -1)[worst]))
    pressing = mass_kg * GRAVITY_M_S2 - force[2]
    friction = np.hypot(*force[:2]) / pressing if pressing > 0.0 else np.inf
    return Standing(float(ratio[worst]), ends, float(max(0.0, missing.max())), float(friction))


def leg_forces(legs_m, force_N, moment_Nm, mass_kg, centre_m=(0.0, 0.0)):
    """Return what the ground does upwards on each leg, negative where it must hold it down. [N]

    The frame is stiff and the legs are alike: forces lie on a plane over the base and balance force
    and moment, the smallest such in the sum of squares (as for bolts in a group). Shape (n,).
    """
    legs = np.asarray(legs_m, float)
    _base(legs)
    down = mass_kg * GRAVITY_M_S2
    force, moment = np.asarray(force_N, float), np.asarray(moment_Nm, float)
    balance = np.vstack([np.ones(len(legs)), legs[:, 1], -legs[:, 0]])
    wanted = np.array(
        [
            down - force[2],
            down * centre_m[1] - moment[0],
            -down * centre_m[0] - moment[1],
        ]
    )
    return np.linalg.lstsq(balance, wanted, rcond=None)[0]


def embedment(push_N, above_m, diameter_m, bearing_Pa):
    """Return the least length of a stiff leg in the ground under a push above it. [m]

    The ground gives ``bearing_Pa`` on the diameter, against the push down to some depth and with
    it below: balance of force and moment gives h + sqrt(2 h^2 + 4 h e), h = push / (bearing
    diameter), e the height of the push (rigid pole, even pressure; derived here).
    """
    positive(push_N=push_N, diameter_m=diameter_m, bearing_Pa=bearing_Pa)
    not_negative(above_m=above_m)
    h = push_N / (bearing_Pa * diameter_m)
    return h + np.sqrt(2.0 * h * h + 4.0 * h * above_m)


def leg(tube, push_N, above_m, bearing_Pa, melt_m=0.0):
    """Return the :class:`Leg` for a level push at a height above today's surface.

    ``tube`` of :class:`~stakeline.station.mast.Tube`, its ``free_m`` not used; ``melt_m``: surface
    lost until the next visit, which lengthens the lever and must be drilled too (it is part of
    ``embedment_m``). The largest moment is where the push is used up: P (e + h / 2), at depth h.
    """
    lever = above_m + melt_m
    least = embedment(push_N, lever, tube.diameter_m, bearing_Pa) + melt_m
    h = push_N / (bearing_Pa * tube.diameter_m)
    moment = push_N * (lever + h / 2.0)
    stress = moment * tube.diameter_m / (2.0 * tube.second_moment_m4)
    return Leg(moment, h + melt_m, stress, MATERIALS[tube.material][1] / stress, float(least))
