"""How ice above a lake answers when the roof of the lake sinks: bending at once, flow later.

A *share* is what the surface does at a place for 1 m of mean change of the roof (volume over area).

- Flow (weeks to years): of a wave of vertical motion at the bed, wave number k under ice of
  thickness h, the surface takes over T(kh), and levels itself at the rate rho g h / (2 eta) R(kh).
  With q = kh, C = cosh q, S = sinh q, and s = 2 k L / (1 + 2 k L), L = viscosity over drag of the
  bed (0: stuck, infinite: sliding freely),

      T = ((1 - s)(C + q S) + s (q C + S)) / ((1 - s)(C^2 + q^2) + s (S C + q))
      R = ((1 - s)(S C - q) + s S^2) / q / (same denominator):

  Stokes flow of a linear viscous layer with a free surface, linear in the change; of the kind in
  Gudmundsson (2003, J. Geophys. Res. 108(B5), 2253), and in this form, brought from exponentials
  to hyperbolic functions, the transfer functions of Stubblefield et al. (2021, Geophys. Res. Lett.
  48, e2021GL094658), from memory; the tests solve the equations of flow anew.
- Bending (hours to days): a thin elastic plate on the water (Timoshenko & Woinowsky-Krieger 1959,
  Theory of Plates and Shells), surface and roof moving together. The truth lies between two
  surrounds: as soft as the water (a wave passes by 1 / (1 + D k^4 / (rho g)), chapter 8), and rigid
  (the plate is clamped at the margin, section 16).

Between the two, a Maxwell body relaxes with the time viscosity over shear modulus.
"""

import functools
from dataclasses import dataclass

import numpy as np
from scipy.special import bei, beip, ber, berp, j1

from ..errors import SettingsError

ICE_KG_M3 = 917.0  # kg/m3; Cuffey & Paterson (2010), section 2.2
FRESH_KG_M3 = 1000.0  # kg/m3; Cuffey & Paterson (2010), section 2.2
SEA_KG_M3 = 1028.0  # kg/m3; Cuffey & Paterson (2010), section 2.2
GRAVITY_M_S2 = 9.81  # m/s2, conventional, rounded; BIPM SI Brochure
YOUNG_PA = 0.88e9  # Pa, effective; Vaughan (1995), J. Geophys. Res. 100, 6213
POISSON = 0.3  # -; Vaughan (1995)
VISCOSITY_PA_S = 1.0e14  # Pa s, at strain rates of 0.01 1/a near 0 degC; from memory

FLOWS = ("flow, stuck bed", "flow, sliding bed")
PLATES = ("plate, soft surround", "plate, rigid surround")
UNIFORM = "surface as roof"
METHODS = (*FLOWS, *PLATES, UNIFORM)

_REACH = 40.0  # -, radii of discs, in lengths of the ice's answer, up to which shares are made
_WAVES = np.linspace(0.0, 25.0, 3751)[1:]  # -, wave numbers times length; T is 0 beyond
_RADII = np.concatenate([np.linspace(0.0, 6.0, 121), np.linspace(6.0, _REACH, 86)[1:]])
_AGES = np.append(0.0, np.geomspace(1e-3, 1e3, 181))  # -, of a table of levelling; choice
_TURNS = j1(np.outer(_RADII, _WAVES)) * _RADII[:, None] * (_WAVES[1] - _WAVES[0])


@dataclass(frozen=True)
class Ice:
    """The ice above a lake.

    ``water_kg_m3``: below a plate.
    """

    thickness_m: float
    viscosity_Pa_s: float = VISCOSITY_PA_S
    young_Pa: float = YOUNG_PA
    poisson: float = POISSON
    water_kg_m3: float = FRESH_KG_M3

    def __post_init__(self):
        numbers = (self.thickness_m, self.viscosity_Pa_s, self.young_Pa, self.water_kg_m3)
        if not (all(0.0 < v < np.inf for v in numbers) and 0.0 <= self.poisson <= 0.5):
            raise SettingsError(
                f"{self}: expected positive finite numbers and a Poisson's ratio of 0 to 0.5"
            )

    @property
    def stiffness_N_m(self):
        """Flexural rigidity D = E h^3 / (12 (1 - nu^2)); Timoshenko, equation 3. [N m]"""
        return self.young_Pa * self.thickness_m**3 / (12.0 * (1.0 - self.poisson**2))

    @property
    def foundation_Pa_m(self):
        """Weight of the water that a rise displaces, rho g. [Pa/m]"""
        return self.water_kg_m3 * GRAVITY_M_S2

    @property
    def bending_length_m(self):
        """Length l = (D / (rho g))^(1/4) over which a plate on water bends. [m]"""
        return (self.stiffness_N_m / self.foundation_Pa_m) ** 0.25

    @property
    def relaxation_s(self):
        """Maxwell time: viscosity over shear modulus E / (2 (1 + nu)). [s]"""
        return self.viscosity_Pa_s * 2.0 * (1.0 + self.poisson) / self.young_Pa

    def unrelaxed(self, age_s):
        """Return the share of a change that is still elastic, parts of which are so old (n,)."""
        return float(np.mean(np.exp(-np.asarray(age_s, float) / self.relaxation_s)))


def viscous_passes(wave_rad_m, thickness_m, slip_length_m=0.0):
    """Return T: the share of a wave of motion at the bed that the surface takes over.

    ``wave_rad_m`` any shape; ``slip_length_m`` 0: stuck bed; ``inf``: no drag.
    """
    q = np.asarray(wave_rad_m, float) * thickness_m
    free = _free(wave_rad_m, slip_length_m)
    cosine, sine, small = _halves(q)
    top = (1.0 - free) * (cosine + q * sine) + free * (q * cosine + sine)
    bottom = _bottom(q, free, cosine, sine, small)
    return np.where(q > 0.0, small * top / np.where(q > 0.0, bottom, 1.0), 1.0)


def levelling_rate_per_s(wave_rad_m, thickness_m, viscosity_Pa_s, slip_length_m=0.0):
    """Return the rate at which a wave of the surface sinks by its own weight. [1/s]"""
    q = np.maximum(np.asarray(wave_rad_m, float) * thickness_m, 1e-3)
    free = _free(q / thickness_m, slip_length_m)
    cosine, sine, small = _halves(q)
    top = (1.0 - free) * (sine * cosine - q * small**2) + free * sine**2
    rate = top / q / _bottom(q, free, cosine, sine, small)
    return ICE_KG_M3 * GRAVITY_M_S2 * thickness_m / (2.0 * viscosity_Pa_s) * rate


def _free(wave, slip_length_m):
    """Return s: 0 where the bed is stuck, 1 where it slides freely."""
    if np.isinf(slip_length_m):
        return np.ones(np.shape(wave))
    slip = 2.0 * np.asarray(wave, float) * slip_length_m
    return slip / (1.0 + slip)


def _halves(q):
    """Return cosh q, sinh q and 1, all times exp(-q)."""
    small = np.exp(-np.minimum(q, 700.0))
    return 0.5 * (1.0 + small**2), 0.5 * (1.0 - small**2), small


def _bottom(q, free, cosine, sine, small):
    stuck = cosine**2 + (q * small) ** 2
    return (1.0 - free) * stuck + free * (sine * cosine + q * small**2)


def plate_passes(wave_rad_m, ice):
    """Return what a plate on water everywhere passes on of a load's wave: 1 / (1 + (k l)^4)."""
    return 1.0 / (1.0 + (np.asarray(wave_rad_m, float) * ice.bending_length_m) ** 4)


def clamped_plate_m(distance_m, radius_m, load_Pa, stiffness_N_m):
    """Return the deflection of a clamped circular plate under even load. [m]

    w = q (a^2 - r^2)^2 / (64 D); Timoshenko & Woinowsky-Krieger (1959), equation 62.
    """
    rest = np.maximum(radius_m**2 - np.asarray(distance_m, float) ** 2, 0.0)
    return load_Pa * rest**2 / (64.0 * stiffness_N_m)


def clamped_plate_on_water(distance_m, radius_m, ice):
    """Return rise over that of free water for a circular plate on water, clamped at its margin.

    1 - c1 ber(r / l) - c2 bei(r / l), with no rise and no slope at the margin; the equation is
    that of Timoshenko & Woinowsky-Krieger (1959), section 58. At most 40 bending lengths wide.
    """
    length = ice.bending_length_m
    x, edge = np.asarray(distance_m, float) / length, radius_m / length
    if edge > _REACH:
        raise SettingsError(
            f"radius {radius_m:g} m is {edge:.0f} bending lengths; the formula holds to {_REACH:g}:"
            " take beam_on_water from the margin"
        )
    matrix = np.array([[ber(edge), bei(edge)], [berp(edge), beip(edge)]])
    first, second = np.linalg.solve(matrix, [1.0, 0.0])
    return np.where(x < edge, 1.0 - first * ber(x) - second * bei(x), 0.0)


def beam_on_water(from_margin_m, ice):
    """Return rise over that of free water at a distance inside a straight clamped margin.

    1 - exp(-b x)(cos b x + sin b x), b = (rho g / (4 D))^(1/4); Holdsworth (1969), J. Glaciol. 8.
    """
    x = np.asarray(from_margin_m, float) / (np.sqrt(2.0) * ice.bending_length_m)
    return np.where(x > 0.0, 1.0 - np.exp(-np.abs(x)) * (np.cos(x) + np.sin(np.abs(x))), 0.0)


def transfer(ice, method, wave_rad_m, lag_s=0.0):
    """Return the share of a roof's wave at the surface, ``lag_s`` after the roof has moved.

    Several lags: the mean over them.

    Raises SettingsError for a method that is no filter; it lists those there are.
    """
    wave = np.asarray(wave_rad_m, float)
    if method == UNIFORM:
        return np.ones(wave.shape)
    if method == PLATES[0]:
        return plate_passes(wave, ice)
    if method not in FLOWS:
        raise SettingsError(
            f"'{method}' is no filter; there are {', '.join((*FLOWS, PLATES[0], UNIFORM))}"
        )
    slip = 0.0 if method == FLOWS[0] else np.inf
    passed = viscous_passes(wave, ice.thickness_m, slip)
    if not np.any(lag_s):
        return passed
    rate = levelling_rate_per_s(wave, ice.thickness_m, ice.viscosity_Pa_s, slip)
    return passed * np.exp(-np.multiply.outer(np.atleast_1d(lag_s), rate)).mean(axis=0)


def disc_shares(radius_m, ice, method, lag_s=0.0):
    """Return the share above the centre of circular lakes whose roof moves as a block (n,).

    r times the integral of T(k) J1(k r) over k: the Hankel transform of a disc (Bracewell 1965,
    The Fourier Transform and Its Applications, chapter 12). What a ring of roof from one radius
    to the next adds is the difference of two discs. Several lags: the mean over them, from a table
    (good to 1e-3).
    """
    radius = np.asarray(radius_m, float)
    if method == UNIFORM:
        return (radius > 0.0).astype(float)
    length = ice.bending_length_m if method == PLATES[0] else ice.thickness_m
    if np.ndim(lag_s):
        table = _mean_of_ages(ice, method, lag_s)
    elif lag_s == 0.0 and method in (*FLOWS, PLATES[0]):
        table = _sudden(method)
    else:
        table = _TURNS @ transfer(ice, method, _WAVES / length, lag_s)
    return np.interp(radius / length, _RADII, table)


@functools.cache
def _sudden(method):
    """Return the shares of discs at once: in lengths of the ice's answer the same for all ice."""
    ice = Ice(1.0)
    length = ice.bending_length_m if method == PLATES[0] else ice.thickness_m
    return _TURNS @ transfer(ice, method, _WAVES / length)


def _mean_of_ages(ice, method, lag_s):
    """Return the shares of discs, mean over lags (n,), by radii in lengths of the ice's answer."""
    if method not in FLOWS:
        return _sudden(method)
    age = ICE_KG_M3 * GRAVITY_M_S2 * ice.thickness_m / ice.viscosity_Pa_s * np.asarray(lag_s)
    place = np.interp(age, _AGES, np.arange(len(_AGES)))
    below = np.minimum(place.astype(int), len(_AGES) - 2)
    weight = np.bincount(below, 1.0 - (place - below), len(_AGES))
    weight += np.bincount(below + 1, place - below, len(_AGES))
    return weight @ _levelled(method) / len(place)


@functools.cache
def _levelled(method):
    """Return the shares of discs (ages, radii) at ages in units of viscosity over rho g h."""
    ice = Ice(1.0, ICE_KG_M3 * GRAVITY_M_S2)
    slip = 0.0 if method == FLOWS[0] else np.inf
    rate = levelling_rate_per_s(_WAVES, ice.thickness_m, ice.viscosity_Pa_s, slip)
    return (transfer(ice, method, _WAVES) * np.exp(-np.outer(_AGES, rate))) @ _TURNS.T


def lake_share(radius_m, ice, method):
    """Return the share above the centre of a circular lake: how far it can be judged at all."""
    if method == PLATES[1]:
        inner = radius_m * (np.arange(400) + 0.5) / 400
        shape = clamped_plate_on_water(inner, radius_m, ice)
        mean = 2.0 * np.sum(shape * inner) * radius_m / 400 / radius_m**2
        return float(clamped_plate_on_water(0.0, radius_m, ice) / mean)
    return float(disc_shares(radius_m, ice, method))
