"""An antenna's height read three ways, so that no single slip of the tape stays unseen."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError

AGREE_M = 0.005  # m; between ways, own choice: a tape at a pole in the cold holds 1 to 2 mm
TAPE_SIGMA_M = 0.0015  # m; of one reading along the pole, common practice, no source
SLOPE_SIGMA_M = 0.0020  # m; of one reading to the rim, common practice, no source
LONGEST_M = 20.0  # m; no pole is longer
INCH_M, FOOT_M = 0.0254, 0.3048  # m; definition, ISO 31-1
TRAPS = (  # factor from what was meant to what was typed, what then happened
    (1.0 / INCH_M, "inches typed as metres"),
    (1.0 / FOOT_M, "feet typed as metres"),
    (100.0, "centimetres typed as metres"),
    (1000.0, "millimetres typed as metres"),
    (0.1, "a tape read in decimetres, or a decimal point misplaced"),
    (10.0, "a decimal point misplaced"),
)


@dataclass(frozen=True)
class Rim:
    """Where slope readings end, and where they begin.

    Attributes
    ----------
    from_axis_m : float
        Radius of the antenna's rim about its axis.
    above_reference_m : float
        Of the rim over the antenna reference point.
    mark_off_axis_m : float
        Of the marker from the pole's axis: the pole's radius for a punch mark in its side.
    """

    from_axis_m: float
    above_reference_m: float = 0.0
    mark_off_axis_m: float = 0.0

    def __post_init__(self):
        if not (self.from_axis_m >= 0.0 and self.mark_off_axis_m >= 0.0):
            raise SettingsError(
                f"rim {self.from_axis_m:g} m and mark {self.mark_off_axis_m:g} m from the axis: "
                "expected 0 or more"
            )


@dataclass(frozen=True)
class AntennaHeight:
    """The height of the reference point over the marker, and whether the ways agree.

    ``ways``: pairs of name and height [m]; ``height_m``, ``sigma_m``: weighted mean of those given,
    NaN where none is; ``agree``: all within :data:`AGREE_M` of each other and more than one;
    ``sentence``: what to do.
    """

    height_m: float
    sigma_m: float
    ways: tuple
    agree: bool
    sentence: str


def reduce_slope(slopes_m, rim):
    """Return marker to reference point along the pole from slope readings. [m]

    Parameters
    ----------
    slopes_m : sequence of float
        From the marker to the rim, at evenly spaced places round it, the first above the marker.
    rim : Rim

    Raises
    ------
    SettingsError
        For a slope shorter than its distance from the axis.

    Notes
    -----
    Each reading obeys s^2 = z^2 + r^2 + p^2 - 2 r p cos(turn); over two or more evenly spaced turns
    the cosine averages out: z = sqrt(mean s^2 - r^2 - p^2). One reading stands above the marker:
    z = sqrt(s^2 - (r - p)^2). The rim's height over the reference point is taken off (Pythagoras).
    """
    slopes = np.asarray(slopes_m, float)
    radius, off = rim.from_axis_m, rim.mark_off_axis_m
    level = radius**2 + off**2 if slopes.size > 1 else (radius - off) ** 2
    along = np.mean(slopes**2) - level
    if not along > 0.0:
        raise SettingsError(
            f"slope {slopes.mean():g} m: shorter than its distance from the axis, "
            f"{np.sqrt(level):g} m; look at the reading, or at the rim"
        )
    return float(np.sqrt(along)) - rim.above_reference_m


def height_of(tape_m, slopes_m, second_m, rim):
    """Return the :class:`AntennaHeight` of a tape along the pole, slopes, and a second tape.

    Parameters
    ----------
    tape_m, second_m : float
        Marker to reference point along the pole, by two people, the second in inches; NaN for none.
    slopes_m : sequence of float
        Empty for none.
    rim : Rim
    """
    ways, sigmas = [], []
    if np.isfinite(tape_m):
        ways.append(("tape", float(tape_m)))
        sigmas.append(TAPE_SIGMA_M)
    if len(slopes_m):
        reduced = reduce_slope(slopes_m, rim)
        steep = float(np.mean(slopes_m)) / max(reduced + rim.above_reference_m, 1e-3)
        ways.append(("slope, reduced", reduced))
        sigmas.append(SLOPE_SIGMA_M * steep / np.sqrt(len(slopes_m)))
    if np.isfinite(second_m):
        ways.append(("second tape", float(second_m)))
        sigmas.append(TAPE_SIGMA_M)
    if not ways:
        return AntennaHeight(np.nan, np.nan, (), False, "antenna height: no reading; take three")
    values, weights = np.array([value for _, value in ways]), np.array(sigmas) ** -2.0
    mean = float(np.sum(weights * values) / np.sum(weights))
    sigma = float(np.sum(weights) ** -0.5)
    apart = float(np.ptp(values))
    agree = len(ways) > 1 and apart <= AGREE_M
    sentence = _sentence(ways, mean, sigma, apart, agree, slopes_m, rim)
    return AntennaHeight(mean, max(sigma, 0.5 * apart), tuple(ways), agree, sentence)


def _sentence(ways, mean, sigma, apart, agree, slopes_m, rim):
    shown = ", ".join(f"{name} {value:.4f} m" for name, value in ways)
    if agree:
        return (
            f"antenna height {mean:.4f} m above the marker: {len(ways)} ways within "
            f"{apart * 1e3:.1f} mm ({shown})"
        )
    if len(ways) == 1:
        return f"antenna height: one way only ({shown}); read it a second way before you leave"
    told = f"antenna height: {shown}: {apart * 1e3:.1f} mm apart, expected within "
    return f"{told}{AGREE_M * 1e3:.0f} mm; {_trap(ways, slopes_m, rim)}"


def _trap(ways, slopes_m, rim):
    """Return the mistake that would explain ways that differ."""
    known = dict(ways)
    for name in ("tape", "second tape"):
        if name not in known:
            continue
        others = [value for other, value in ways if other != name]
        near = float(np.median(others))
        slope = float(np.mean(slopes_m)) if len(slopes_m) else np.nan
        if len(slopes_m) and abs(known[name] - slope) < 0.5 * AGREE_M:
            return f"{name} is the slope reading, not reduced to the vertical"
        if abs(known[name] - near - rim.above_reference_m) < AGREE_M and rim.above_reference_m:
            return f"{name} fits if it ended at the rim, not at the antenna reference point"
        if abs(known[name]) < LONGEST_M * 1e3:
            for factor, what in TRAPS:
                if abs(known[name] / factor - near) < 0.01 * near:
                    return f"{name} fits with {what}"
    return "read all three again, each to the antenna reference point"
