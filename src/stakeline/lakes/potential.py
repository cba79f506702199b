"""Hydraulic potential below a glacier from the heights of its surface and of its bed.

Heights may be above the ellipsoid or the geoid, but both grids above the same. Water follows the
level surfaces of gravity: with heights above the ellipsoid the potential holds the slope of the
geoid as well (some metres in 100 km), so the geoid's height should be given where it is known.
"""

import numpy as np

from ..constants import FRESH_WATER_KG_M3, GRAVITY_M_S2, ICE_KG_M3, SEA_WATER_KG_M3
from ..errors import SettingsError

_MOST_BELOW = 0.02  # share of the cells in which the surface may lie well below the bed
_WELL_BELOW_M = 10.0  # m; more than grids of rock and ice disagree by


def hydraulic_head_m(
    surface_m,
    bed_m,
    flotation=1.0,
    *,
    geoid_m=None,
    ice_kg_m3=ICE_KG_M3,
    water_kg_m3=FRESH_WATER_KG_M3,
):
    """Return the hydraulic potential over the weight of water, as a height: the head.

    ``head = bed + flotation * ice / water * (surface - bed)``, densities for ice and water.

    Parameters
    ----------
    surface_m, bed_m : arrays of one shape
        Heights; NaN is missing, in either, and stays missing. [m]
    flotation : float
        Water pressure over the weight of the ice above: 1 is water that carries all of it, 0 is
        water at the pressure of the air. Also an array of the grids' shape.
    geoid_m : array or float, optional
        Height of the geoid above the ellipsoid, where the heights are above the ellipsoid: it is
        taken off, so that the head is above the geoid. A constant shifts the head by as much and
        leaves every slope as it was. [m]
    ice_kg_m3, water_kg_m3 : float
        Densities. [kg/m3]

    Returns
    -------
    array
        [m]. Surface slopes weigh ``ice / (water - ice)`` times as much as bed slopes at flotation
        1: 11.05 times for 917 and 1000 kg/m3.

    Raises
    ------
    SettingsError
        For grids of different shapes, a flotation outside 0 to 1, densities that are no such, or a
        surface that lies more than 10 m below the bed in more than 2 % of the cells: a sign of
        heights above the geoid beside heights above the ellipsoid. A bed a little above the
        surface counts as ice of no thickness.

    Notes
    -----
    Shreve (1972), J. Glaciol. 11, equation 3; with a flotation fraction as is common practice
    since then, e.g. Livingstone et al. (2013), The Cryosphere 7, equation 1.
    """
    surface, bed = np.asarray(surface_m, float), np.asarray(bed_m, float)
    check_heights(surface, bed)
    check_flotation(flotation)
    if not 0.0 < ice_kg_m3 < water_kg_m3 < 1.2 * FRESH_WATER_KG_M3:
        raise SettingsError(
            f"densities of ice {ice_kg_m3} and water {water_kg_m3} kg/m3; expected about "
            f"{ICE_KG_M3:.0f} and {FRESH_WATER_KG_M3:.0f}, in that order"
        )
    thickness = np.maximum(surface - bed, 0.0)
    head = bed + flotation * (ice_kg_m3 / water_kg_m3) * thickness
    return head if geoid_m is None else head - geoid_m


def potential_Pa(head_m, water_kg_m3=FRESH_WATER_KG_M3):
    """Return the hydraulic potential of a head. [Pa]"""
    return water_kg_m3 * GRAVITY_M_S2 * np.asarray(head_m, float)


def slope_ratio(flotation=1.0, ice_kg_m3=ICE_KG_M3, water_kg_m3=FRESH_WATER_KG_M3):
    """Return how much more a surface slope weighs than a bed slope: k ice / (water - k ice)."""
    check_flotation(flotation)
    weight = np.asarray(flotation, float) * ice_kg_m3
    return weight / (water_kg_m3 - weight)


def above_geoid_m(height_m, geoid_m):
    """Return heights above the geoid from heights above the ellipsoid and the geoid's own. [m]"""
    return np.asarray(height_m, float) - geoid_m


def afloat(
    surface_m, bed_m, sea_level_m, *, ice_kg_m3=ICE_KG_M3, sea_kg_m3=SEA_WATER_KG_M3, margin_m=1.0
):
    """Return True where ice floats or the sea is open: where the water's way below the ice ends.

    Ice of surface S floats with its base at ``S - (S - sea) / (1 - ice / sea water)``; it is
    afloat where that lies more than ``margin_m`` above the bed, and the bed below the sea.

    Parameters
    ----------
    surface_m, bed_m : arrays of one shape
        The bed is the sea floor where ice floats. [m]
    sea_level_m : float or array
        Above the same as the grids: near 0 above the geoid, the geoid's height above the
        ellipsoid. [m]
    """
    surface, bed = np.asarray(surface_m, float), np.asarray(bed_m, float)
    check_heights(surface, bed)
    base = surface - (surface - sea_level_m) / (1.0 - ice_kg_m3 / sea_kg_m3)
    return (base > bed + margin_m) & (bed < sea_level_m)


def check_heights(surface, bed):
    """Raise SettingsError where surface and bed cannot belong together."""
    if surface.shape != bed.shape:
        raise SettingsError(
            f"the surface has shape {surface.shape}, the bed {bed.shape}: bring both grids to the "
            "same cells first"
        )
    both = np.isfinite(surface) & np.isfinite(bed)
    if not both.any():
        raise SettingsError("surface and bed have no cell in common that holds both heights")
    share = np.count_nonzero(surface - bed < -_WELL_BELOW_M) / np.count_nonzero(both)
    if share > _MOST_BELOW:
        raise SettingsError(
            f"the surface lies more than {_WELL_BELOW_M:.0f} m below the bed in {share:.0%} of the "
            "cells: bring both to heights above the ellipsoid, or both above the geoid, and look "
            "whether the grids were exchanged"
        )


def check_flotation(flotation):
    """Raise SettingsError for a flotation fraction outside 0 to 1."""
    value = np.asarray(flotation, float)
    if not ((value >= 0.0) & (value <= 1.0)).all():
        raise SettingsError(
            f"a flotation fraction of {np.min(value):g} to {np.max(value):g}; water pressure "
            "over the weight of ice is between 0 and 1, commonly 0.8 to 1"
        )
