"""The invented network on Halvard Glacier: who stands where, and what for."""

import numpy as np

from ..errors import SettingsError
from .ground import Place
from .site import Site

YEAR_D = 365.25  # d/a; definition of the Julian year
STEP_M = 50.0  # m; half the base of the difference that gives the stretching

# name: (flow, side from the water route or - with "rock" - from the centre line, purpose); invented
STATIONS = {
    "HV01": (14000.0, 0.0, "placebo: up-glacier of the upper lake"),
    "HV02": (22000.0, 0.0, "centre of the upper lake"),
    "HV03": (22800.0, 1050.0, "upper lake, near its margin"),
    "HV04": (22500.0, -5200.0, "control: beside the upper lake, off the water"),
    "HV05": (31000.0, 0.0, "on the water route between the lakes"),
    "HV06": (39500.0, 0.0, "on the water route between the lakes"),
    "HV07": (48000.0, 0.0, "centre of the lower lake"),
    "HV08": (47200.0, -850.0, "lower lake, off its centre"),
    "HV09": (48500.0, 4800.0, "control: beside the lower lake, off the water"),
    "HV10": (56000.0, 0.0, "on the water route below the lower lake"),
    "HV11": (64000.0, 0.0, "on the water route below the lower lake"),
    "HV12": (72500.0, 0.0, "on the water route, some km above the grounding line"),
    "HV13": (81500.0, 0.0, "floating, where the tongue bends with the tide"),
    "HV14": (86000.0, 0.0, "floating freely"),
}
USEFULNESS = (2, 7, 5, 10, 4, 13, 11, 1, 9, 6, 3, 12, 8, 14)  # numbers, the most useful first
BASE = ("HB01", 45000.0, 9900.0, "base on rock beside the glacier")  # invented


def chosen_names(count=None, names=None):
    """Return names of stations in order: all, the ``count`` most useful, or those named.

    Raises SettingsError for a count outside 1 to 14 or a name that is not there.
    """
    if names is None:
        count = len(USEFULNESS) if count is None else count
        if not 1 <= count <= len(USEFULNESS):
            raise SettingsError(
                f"{count} stations: the glacier has 1 to {len(USEFULNESS)} on ice, beside the base"
            )
        names = [f"HV{number:02d}" for number in USEFULNESS[:count]]
    unknown = sorted(set(names) - set(STATIONS))
    if unknown:
        raise SettingsError(f"no station {', '.join(unknown)}; there are {', '.join(STATIONS)}")
    return tuple(sorted(set(names)))


def make_site(glacier, name, flow_m, side_m, purpose):
    """Return the :class:`Site` at glacier coordinates, its numbers taken from the fields."""
    latitude, longitude = glacier.place(flow_m, side_m)
    thickness = float(glacier.thickness_m(flow_m, side_m))
    arc = float(glacier.arc_scale(flow_m, side_m))
    below, above = glacier.speed_m_d(flow_m + np.array([STEP_M, -STEP_M]), np.full(2, side_m))
    return Site(
        name=name,
        place=Place(float(latitude), float(longitude), float(glacier.surface_m(flow_m, side_m))),
        flow_m=flow_m,
        side_m=float(side_m),
        speed_m_d=float(glacier.speed_m_d(flow_m, side_m)),
        azimuth_rad=float(glacier.azimuth_rad(flow_m, side_m)),
        stretch_a=float(below - above) / (2.0 * STEP_M * arc) * YEAR_D,
        turn_rad_m=-float(glacier.line.curvature(flow_m)) / arc if thickness else 0.0,
        thickness_m=thickness,
        grounding_m=flow_m - glacier.grounding_flow_m,
        accumulation_m_a=float(glacier.accumulation_m_a(flow_m)),
        purpose=purpose,
    )


def make_sites(glacier, count=None, names=None):
    """Return chosen stations on ice (:func:`chosen_names`) as :class:`Site`, in order of names."""
    sites = []
    for name in chosen_names(count, names):
        flow, off, purpose = STATIONS[name]
        sites.append(make_site(glacier, name, flow, glacier.route_side_m(flow) + off, purpose))
    return tuple(sites)


def make_base(glacier):
    """Return the base on rock."""
    return make_site(glacier, *BASE)
