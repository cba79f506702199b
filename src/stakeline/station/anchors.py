"""What an anchor holds in snow, firn, ice or rock: buried plate, picket, ice screw, leg, bolt.

Strength of snow at one density differs by a factor of two to three from place to place, and falls
with warmth and with lasting load: capacities here take the low end of what is quoted. A pull test
on the day, with nobody in line of the wire, is worth more than any number of this page.
"""

from dataclasses import dataclass, field

import numpy as np

from ..errors import SettingsError
from .cautions import DRILLING, ESTIMATE, GROUND, GUY_WIRES
from .checks import positive
from .storm import GRAVITY_M_S2

STRENGTH = (  # kg/m3 and Pa, unconfined strength under a quick load, low end of what is quoted
    (300.0, 0.10e6),  # Bogie, snow stakes: 100 kPa
    (400.0, 0.20e6),  # CRREL Special Report 115 type curves, 0.2 to 0.4 MPa, from memory, low trust
    (500.0, 0.50e6),  # the same, 0.5 to 1 MPa
    (600.0, 1.50e6),  # the same, 1.5 to 2.5 MPa
    (917.0, 1.50e6),  # ice, not above that of firn; common practice, no source
)
SHEAR_SHARE = 0.25  # -, of the unconfined strength; a half by theory; common practice, no source
STEEPEST_DEG = 30.0  # deg, flatter pulls break out no longer a path; common practice, no source
SCREW_N = 10e3  # N, radial, of a sound screw; EN 568, from memory
SCREW_LENGTH_M = 0.16  # m, from which it is reached; common practice, no source
BOND_PA = {"ice": 30e3, "firn": 5e3}  # Pa, leg frozen in, lasting; common practice, no source
ICE_FROM_KG_M3 = 830.0  # kg/m3, pores close; Cuffey & Paterson (2010), chapter 2
BOLT_N = (25e3, 15e3)  # N, radial and axial, in sound rock; EN 959, from memory
GUST_SAFETY = 3.0  # -, for snow and ice; common practice, no source
LASTING_SAFETY = 10.0  # -, snow and firn creep: a tenth or less; CRREL SR 115 type, from memory
SOUND_SAFETY = (3.0, 5.0)  # -, gust and lasting, of ice and rock; common practice, no source


@dataclass(frozen=True)
class Holding:
    """What an anchor holds along its pull.

    ``capacity_N``: at which it fails under a quick load; ``governs``: by what. ``gust_N``,
    ``lasting_N``: what it may be asked for in a storm and all year, capacity over safety factor.
    ``notes``: what else to look after.
    """

    kind: str
    capacity_N: float
    governs: str
    gust_safety: float
    lasting_safety: float
    notes: tuple = ()
    cautions: tuple = field(default=(GUY_WIRES, GROUND, ESTIMATE))

    @property
    def gust_N(self):
        """Working load in a storm. [N]"""
        return self.capacity_N / self.gust_safety

    @property
    def lasting_N(self):
        """Working load that lasts, such as the pretension. [N]"""
        return self.capacity_N / self.lasting_safety

    def enough(self, gust_N, lasting_N=0.0):
        """Return whether the anchor may be asked for both."""
        return bool(gust_N <= self.gust_N and lasting_N <= self.lasting_N)


def snow_strength(density_kg_m3):
    """Return the unconfined strength of snow, firn or ice under a quick load, low end. [Pa]

    Straight in the logarithm between the rows of :data:`STRENGTH`.

    Raises
    ------
    SettingsError
        Outside 300 to 917 kg/m3: looser snow is to be packed and left to harden first.
    """
    density, strength = np.array(STRENGTH).T
    if not np.all((density[0] <= np.asarray(density_kg_m3)) & (density_kg_m3 <= density[-1])):
        raise SettingsError(
            f"snow of {density_kg_m3} kg/m3: expected 300 to 917; pack looser snow and let it "
            "harden for hours before it is loaded"
        )
    return np.exp(np.interp(density_kg_m3, density, np.log(strength)))


def buried_plate(area_m2, depth_m, density_kg_m3, elevation_deg=45.0, width_m=None):
    """Return the :class:`Holding` of a plate, picket or bag buried across its pull (deadman).

    The lesser of bearing, strength times area (100 kPa on 0.04 m2 hold 4 kN: Bogie), and breaking
    out of the block towards the surface: shear strength on its four sides, along the pull, plus
    the part of its weight that acts against it (our own, rough).

    Parameters
    ----------
    area_m2, width_m : float
        Seen along the pull; width across it, a square's where None [m2], [m].
    depth_m : float
        Of the middle, at the end of the time in question: less what melts until then [m].
    density_kg_m3 : float
        Of what lies around it [kg/m3].
    elevation_deg : float
        Of the wire above level, 0 to 90 [deg].
    """
    positive(area_m2=area_m2, depth_m=depth_m, density_kg_m3=density_kg_m3)
    if not 0.0 <= elevation_deg <= 90.0:
        raise SettingsError(f"a wire at {elevation_deg} deg: expected 0 to 90 above level")
    strength = float(snow_strength(density_kg_m3))
    width = np.sqrt(area_m2) if width_m is None else width_m
    path = depth_m / np.sin(np.radians(max(elevation_deg, STEEPEST_DEG)))
    sides = 2.0 * (width + area_m2 / width) * path
    weight = density_kg_m3 * GRAVITY_M_S2 * area_m2 * path
    bearing = strength * area_m2
    breaking_out = SHEAR_SHARE * strength * sides + weight * np.sin(np.radians(elevation_deg))
    return Holding(
        "buried plate",
        float(min(bearing, breaking_out)),
        "bearing" if bearing <= breaking_out else "breaking out",
        GUST_SAFETY,
        LASTING_SAFETY,
        (
            "pack the snow in layers and let it harden before loading",
            "cut a slot for the wire",
        ),
    )


def picket(width_m, length_m, density_kg_m3, clip_m=0.0):
    """Return the :class:`Holding` of an upright picket pulled level at a depth along it.

    A stiff pole in ground of one strength: with strength times width p and the wire at depth c of
    length D, capacity p (sqrt((D - 2c)^2 + D^2) - (D - 2c)), the inverse of ``frame.embedment``;
    at the middle the whole area bears, at the top 0.41 of it. An upward part of the pull draws a
    picket: lean it back, or bury it.
    """
    positive(width_m=width_m, length_m=length_m, density_kg_m3=density_kg_m3)
    if not 0.0 <= clip_m <= length_m / 2.0:
        raise SettingsError(
            f"a wire at {clip_m} m of a picket of {length_m} m: expected 0 to the middle"
        )
    rest = length_m - 2.0 * clip_m
    bearing_length = np.hypot(rest, length_m) - rest
    return Holding(
        "picket",
        float(snow_strength(density_kg_m3) * width_m * bearing_length),
        "bearing",
        GUST_SAFETY,
        LASTING_SAFETY,
        ("lean it back from the pull", "metal in sun melts its hole wider: bury it for long"),
    )


def ice_screw(length_m, density_kg_m3=917.0):
    """Return the :class:`Holding` of one screw in sound cold ice.

    10 kN from 16 cm on, in proportion below (EN 568 asks for it of the screw; from memory). In sun
    or under lasting load a screw melts loose within days: for a season it is drilled in deep and
    covered, and looked at.
    """
    positive(length_m=length_m)
    _ice(density_kg_m3, "an ice screw")
    return Holding(
        "ice screw",
        SCREW_N * min(1.0, length_m / SCREW_LENGTH_M),
        "ice around the screw",
        *SOUND_SAFETY,
        ("cover against sun", "melts loose under lasting load: not for a season that melts"),
        (DRILLING, GUY_WIRES, GROUND, ESTIMATE),
    )


def drilled_leg(diameter_m, embedded_m, density_kg_m3, melting=False):
    """Return the :class:`Holding` of a leg frozen in, pulled upwards: bond on its skin.

    pi d L times a lasting bond of 30 kPa in ice, 5 kPa in firn (common practice, no source);
    nothing while the ground around it melts. The bond lasts, so the storm's factor is the lasting.
    """
    positive(diameter_m=diameter_m, embedded_m=embedded_m)
    snow_strength(density_kg_m3)  # refuses what is no ground for it
    bond = 0.0 if melting else BOND_PA["ice" if density_kg_m3 >= ICE_FROM_KG_M3 else "firn"]
    return Holding(
        "drilled leg",
        np.pi * diameter_m * embedded_m * bond,
        "melting" if melting else "bond",
        GUST_SAFETY,
        GUST_SAFETY,
        ("fill the hole with water or slush and let it freeze", "drill deeper than the melt"),
        (DRILLING, GROUND, ESTIMATE),
    )


def rock_bolt(elevation_deg):
    """Return the :class:`Holding` of a sound bolt in sound level rock.

    25 kN across and 15 kN along it (EN 959 asks for these of the bolt; from memory), an ellipse
    between. Frost-shattered rock holds what it holds: test it.
    """
    if not 0.0 <= elevation_deg <= 90.0:
        raise SettingsError(f"a wire at {elevation_deg} deg: expected 0 to 90 above level")
    angle = np.radians(elevation_deg)
    across, along = BOLT_N
    return Holding(
        "rock bolt",
        float(1.0 / np.hypot(np.cos(angle) / across, np.sin(angle) / along)),
        "bolt",
        *SOUND_SAFETY,
        ("tap the rock: hollow rock holds nothing",),
        (DRILLING, GUY_WIRES, ESTIMATE),
    )


@dataclass(frozen=True)
class Margin:
    """An anchor against its guy: working load over what is asked, in the storm and all year.

    Infinite where nothing is asked; from 1 on it is enough.
    """

    name: str
    gust: float
    lasting: float

    @property
    def enough(self):
        """Whether both are from 1 on."""
        return self.gust >= 1.0 and self.lasting >= 1.0


def margins(guys, load, holdings):
    """Return the :class:`Margin` of the anchor of each guy in a load, the weakest first.

    Parameters
    ----------
    guys : list of guys.Guy
        Their pretension is what lasts [N].
    load : guys.GuyedLoad
        Of a mast that stands.
    holdings : dict of Holding
        By the name of the guy, made for the elevation of its wire.
    """
    missing = [name for name in load.names if name not in holdings]
    if missing or not load.stands:
        raise SettingsError(
            f"anchors without a holding: {', '.join(missing)}; give one for each guy"
            if missing
            else "the mast falls, no anchor is asked for a known load; add or move guys"
        )
    lasting = {guy.name: guy.pretension_N for guy in guys}
    found = [
        Margin(
            name,
            _share(holdings[name].gust_N, float(tension)),
            _share(holdings[name].lasting_N, lasting[name]),
        )
        for name, tension in zip(load.names, load.tensions_N, strict=True)
    ]
    return sorted(found, key=lambda one: min(one.gust, one.lasting))


def _share(working_N, asked_N):
    return working_N / asked_N if asked_N > 0.0 else np.inf


def _ice(density_kg_m3, what):
    if not ICE_FROM_KG_M3 <= density_kg_m3 <= STRENGTH[-1][0]:
        raise SettingsError(
            f"{what} in {density_kg_m3} kg/m3: expected ice, {ICE_FROM_KG_M3} to 917; in snow and "
            "firn bury a plate"
        )
