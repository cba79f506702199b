"""The force of a storm on each part of a station, bare and under rime, and their moment.

Drag of bodies F = C q A; of a plate at an angle the force stands normal to it and may lift as well.
Coefficients are of handbooks and carry ten to twenty percent of doubt; nothing shelters anything.
"""

from dataclasses import dataclass, field

import numpy as np

from ..errors import SettingsError
from .cautions import ESTIMATE, STORM
from .storm import GRAVITY_M_S2, ZERO_DEGC_K, dynamic_pressure, speed_at_height

BODIES = {
    "box": 1.05,  # -, cube, face on; Hoerner (1965), Fluid-Dynamic Drag, chapter 3, from memory
    "antenna": 0.8,  # -, low dome on a disc, seen from the side; common practice, no source
    "rotor running": 0.889,  # -, on the swept disc: 8/9, at the limit of Betz; momentum theory
    "rotor stopped": 0.2,  # -, on the swept disc, few narrow blades; common practice, no source
}
PLATE = 1.2  # -, square to the wind, handbooks 1.1 to 1.4; Hoerner (1965): 1.17, from memory
CYLINDER = 1.2  # -, below the drag crisis; Hoerner (1965), chapter 3, from memory
CYLINDER_FAST = 0.7  # -, smooth, above it; handbooks 0.6 to 0.7, from memory
CRISIS = (2.0e5, 5.0e5)  # -, Reynolds numbers between which it falls; Hoerner (1965), from memory
LATTICE = {  # force on the solid area, by solidity e: a e^2 - b e + c; ANSI/TIA-222, from memory
    "lattice square": (4.0, 5.9, 4.0),
    "lattice triangle": (3.4, 4.7, 3.4),
}
LATTICE_MEMBER_M = 0.02  # m, width of members that rime thickens; common practice, no source
SHAPES = (*BODIES, *LATTICE, "cylinder", "plate")
RIME_KG_M3 = 600.0  # kg/m3, between soft and hard rime; ISO 12494:2017, table 1, from memory

_PLATE_RISE = (0.222, 0.283)  # -, long plate; Hoerner (1965), chapter 3, from memory
_SUTHERLAND = (1.458e-6, 110.4)  # kg/(m s K^0.5), K; ISO 2533, equation 21


@dataclass(frozen=True)
class Part:
    """One part that stands in the wind.

    ``shape`` of :data:`SHAPES`; ``width_m`` and ``length_m``: what the wind sees of a body (of a
    cylinder diameter and length, of a rotor its diameter twice), both sides of a plate. [m]
    ``position_m``: middle, east, north, up from the foot of the mast at the snow, shape (3,).
    ``mass_kg``: bare. ``tilt_deg`` of a plate from level, 90 upright; ``facing_deg``: azimuth of
    its front, from north by east. ``solidity``: of a lattice mast, solid over whole area of a face.
    """

    name: str
    shape: str
    width_m: float
    length_m: float
    position_m: tuple
    mass_kg: float = 0.0
    tilt_deg: float = 90.0
    facing_deg: float = 180.0
    solidity: float = 1.0

    def __post_init__(self):
        if self.shape not in SHAPES:
            raise SettingsError(
                f"part {self.name}: shape {self.shape!r} is not known; "
                f"known are {', '.join(SHAPES)}"
            )
        sizes = (self.width_m, self.length_m)
        if not all(0.0 < size < np.inf for size in sizes) or not 0.0 <= self.mass_kg < np.inf:
            raise SettingsError(
                f"part {self.name}: {self.width_m} m by {self.length_m} m and {self.mass_kg} kg; "
                "expected positive sizes and a mass of 0 or more"
            )
        if not 0.0 < self.solidity <= 1.0:
            raise SettingsError(
                f"part {self.name}: solidity {self.solidity}; expected more than 0 and 1 at most"
            )
        if np.shape(self.position_m) != (3,) or not self.position_m[2] > 0.0:
            raise SettingsError(
                f"part {self.name}: position {self.position_m}; expected east, north and a "
                "positive height above the snow [m]"
            )

    @property
    def normal(self):
        """Unit vector out of the front of a plate: east, north, up."""
        tilt, facing = np.radians(self.tilt_deg), np.radians(self.facing_deg)
        level = np.sin(tilt)
        return np.array([level * np.sin(facing), level * np.cos(facing), np.cos(tilt)])


@dataclass(frozen=True)
class WindLoad:
    """Forces on the parts and their sum about the foot of the mast.

    ``forces_N`` (n, 3), ``force_N`` (3,), ``moment_Nm`` (3,): east, north, up; of the wind alone.
    ``weight_N``: of parts and rime. ``mass_kg`` (n,): with rime.
    """

    names: tuple
    forces_N: np.ndarray
    force_N: np.ndarray
    moment_Nm: np.ndarray
    mass_kg: np.ndarray
    weight_N: float
    cautions: tuple = field(default=(STORM, ESTIMATE))

    @property
    def overturning_Nm(self):
        """Size of the level part of the moment. [N m]"""
        return float(np.hypot(*self.moment_Nm[:2]))


def reynolds_number(speed_m_s, diameter_m, density_kg_m3, temperature_degC):
    """Return v d rho / mu, mu by Sutherland's law (ISO 2533, equation 21); no unit."""
    kelvin = temperature_degC + ZERO_DEGC_K
    viscosity = _SUTHERLAND[0] * kelvin**1.5 / (kelvin + _SUTHERLAND[1])
    return np.asarray(speed_m_s) * diameter_m * density_kg_m3 / viscosity


def cylinder_drag(reynolds, rimed=False):
    """Return the drag coefficient of a round tube; no unit.

    1.2 below the drag crisis, 0.7 beyond, straight in the logarithm between; a rimed one is rough
    and stays at 1.2 (common practice, no source).
    """
    share = np.clip(np.log(np.asarray(reynolds) / CRISIS[0]) / np.log(CRISIS[1] / CRISIS[0]), 0, 1)
    return CYLINDER if rimed else CYLINDER + (CYLINDER_FAST - CYLINDER) * share


def plate_coefficient(attack_rad):
    """Return the coefficient of the force normal to a plate that meets the wind at an angle.

    PLATE (0.222 + 0.283) / (0.222 + 0.283 / sin a), a = pi/2 square to the wind: the form that
    Hoerner (1965), chapter 3 gives for long plates (from memory), scaled to :data:`PLATE`.
    """
    sine = np.abs(np.sin(attack_rad))
    a, b = _PLATE_RISE
    return PLATE * (a + b) * sine / (a * sine + b)


def lattice_coefficient(shape, solidity):
    """Return the coefficient of a lattice mast of flat members, on the solid area of one face.

    4 e^2 - 5.9 e + 4 for a square, 3.4 e^2 - 4.7 e + 3.4 for a triangle (ANSI/TIA-222, from
    memory); all faces are in it.
    """
    a, b, c = LATTICE[shape]
    return a * solidity**2 - b * solidity + c


def rimed(part, thickness_m, density_kg_m3=RIME_KG_M3):
    """Return (width, length, mass) of a part under rime. [m], [m], [kg]

    All sides grow by the thickness. The mass is a coat all round a cylinder or an antenna (as a
    cylinder), and one windward face of all else.
    """
    if not 0.0 <= thickness_m < np.inf:
        raise SettingsError(f"rime of {thickness_m} m: expected 0 or more")
    t, width, length = thickness_m, part.width_m, part.length_m
    if part.shape in ("cylinder", "antenna"):
        volume = np.pi * t * (width + t) * length
    else:
        volume = t * width * length
    grown = 0.0 if part.shape.startswith("rotor") else 2.0 * t
    return width + grown, length + grown, part.mass_kg + density_kg_m3 * volume


def part_force(part, speed_m_s, from_deg, density_kg_m3, *, temperature_degC=-40.0, rime_m=0.0):
    """Return the force of a level wind on one part: east, north, up. [N]

    Parameters
    ----------
    speed_m_s : float
        At the height of the part [m/s].
    from_deg : float
        Azimuth the wind comes from [deg].
    density_kg_m3, temperature_degC, rime_m : float
        Of the air [kg/m3], [degC]; thickness of rime [m].
    """
    width, length, _ = rimed(part, rime_m)
    pressure = dynamic_pressure(speed_m_s, density_kg_m3)
    azimuth = np.radians(from_deg)
    along = -np.array([np.sin(azimuth), np.cos(azimuth), 0.0])
    if part.shape == "plate":
        sine = float(np.dot(along, part.normal))
        size = plate_coefficient(np.arcsin(np.clip(sine, -1.0, 1.0))) * pressure * width * length
        return np.sign(sine) * size * part.normal
    if part.shape == "cylinder":
        reynolds = reynolds_number(max(speed_m_s, 1e-9), width, density_kg_m3, temperature_degC)
        return cylinder_drag(reynolds, rime_m > 0.0) * pressure * width * length * along
    if part.shape in LATTICE:
        solid = min(1.0, part.solidity * (1.0 + 2.0 * rime_m / LATTICE_MEMBER_M))
        size = lattice_coefficient(part.shape, solid) * solid * width * length
        return size * pressure * along
    area = np.pi / 4.0 * width * length if part.shape.startswith("rotor") else width * length
    return BODIES[part.shape] * pressure * area * along


def wind_load(
    parts,
    speed_m_s,
    from_deg,
    density_kg_m3,
    *,
    measured_at_m=None,
    temperature_degC=-40.0,
    rime_m=0.0,
):
    """Return the :class:`WindLoad` of a gust from one side on all parts.

    ``measured_at_m``: height of the speed given; each part then has its own by the logarithmic law
    (``storm.speed_at_height``). None: one speed for all. Parts do not shelter each other.

    Raises
    ------
    SettingsError
        Without parts, or for numbers that are no weather.
    """
    if not parts or not 0.0 <= speed_m_s < np.inf or not 0.0 < density_kg_m3 < np.inf:
        raise SettingsError(
            f"{len(parts)} parts in {speed_m_s} m/s of air of {density_kg_m3} kg/m3: expected at "
            "least one part, a speed of 0 or more and a positive density"
        )
    places = np.array([part.position_m for part in parts], float)
    speeds = np.full(len(parts), float(speed_m_s))
    if measured_at_m is not None:
        speeds = speed_at_height(speed_m_s, measured_at_m, places[:, 2])
    weather = {"temperature_degC": temperature_degC, "rime_m": rime_m}
    pairs = zip(parts, speeds, strict=True)
    forces = np.array([part_force(p, v, from_deg, density_kg_m3, **weather) for p, v in pairs])
    mass = np.array([rimed(part, rime_m)[2] for part in parts])
    return WindLoad(
        names=tuple(part.name for part in parts),
        forces_N=forces,
        force_N=forces.sum(axis=0),
        moment_Nm=np.cross(places, forces).sum(axis=0),
        mass_kg=mass,
        weight_N=float(GRAVITY_M_S2 * mass.sum()),
    )


def worst_load(parts, speed_m_s, density_kg_m3, *, step_deg=10.0, **weather):
    """Return (azimuth the wind comes from [deg], :class:`WindLoad`) of the largest overturning."""
    sides = np.arange(0.0, 360.0, step_deg)
    loads = [wind_load(parts, speed_m_s, side, density_kg_m3, **weather) for side in sides]
    worst = int(np.argmax([load.overturning_Nm for load in loads]))
    return float(sides[worst]), loads[worst]
