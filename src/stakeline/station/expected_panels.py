"""What a meter at a panel should show: open voltage, short-circuit current, strings, cables."""

import re
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from .diode import at, diode_of, open_V, short_A
from .expectation import Expectation, Sign, metered
from .light_band import light_band
from .panel import cell_degC
from .shading import lost_beam

MAKER_V, MAKER_A = 0.03, 0.05  # -; what a panel may differ from its sheet, common practice
COLD_K = 4.0  # K; how far the air at the cells may be from the thermometer, own choice
TOLD_SHADOW = 0.05  # -; of the beam, from which a shadow is told of, own choice
COVERED = 0.03  # -; share of the expected reading below which there is none, own choice
ALIKE = 0.20  # -; how far equal panels may differ within minutes, own choice
COPPER_OHM_M, COPPER_PER_K = 1.7241e-8, 0.00393  # ohm m at 20 degC, 1/K; IEC 60028

HOW_OPEN = "Panel unplugged, red lead on plus, black on minus, V DC"
HOW_SHORT = (
    "Cover the panel, set 10 A DC, clamp both leads, uncover, read, cover again, then take off"
)
SHADOW = "own shadows are reckoned to take {share:.0f} % of the sunlight; "
DARK = "the Sun is {elevation:.0f} deg high: too low for a reading to tell anything"
LOW_LIGHT = (
    "shade, snow or rime on the glass, tilt or facing not as planned, a sky less clear than said, "
    "or a bad connector"
)
HIGH_LIGHT = (
    "a sky brighter than said (beside a cloud, over fresh snow), a panel turned nearer to the Sun, "
    "or another panel than planned"
)
LOW_VOLTS = (
    "part of the cells shaded or snowed in, a shorted bypass diode, or a panel of another kind"
)
HIGH_VOLTS = (
    "more cells in series than planned: hold it against the controller's highest input first"
)
NOTHING = "no voltage: covered, plug or cable open; measure at the panel's own terminals"
NO_CURRENT = "no current: covered, plug, cable or the meter's fuse open"


@dataclass(frozen=True)
class Conditions:
    """When and in what weather a person measures.

    Attributes
    ----------
    place : light_band.Place
    air_degC, wind_m_s : float
    battery_degC : float
        Of the battery's case; that of the air where nobody knows better.
    """

    place: object
    air_degC: float
    wind_m_s: float
    battery_degC: float


def slug(name):
    """Return a name as a key of a file of readings."""
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")


def panel_expectations(design, group, conditions):
    """Return the :class:`Expectation` of each panel of a ``design.PlacedPanel``, and of strings.

    Parameters
    ----------
    design : design.Design
        Its other panels, mast and box throw shadows.
    group : design.PlacedPanel
        One of the design's.
    conditions : Conditions
    """
    light = light_band(
        conditions.place, np.radians(group.tilt_deg), np.radians(group.azimuth_deg),
        design.site.horizon, partial(lost_beam, design, group),
    )  # fmt: skip
    volts, amps = panel_bounds(group.panel, light, conditions)
    why = (
        "" if light.worth_measuring else DARK.format(elevation=np.degrees(light.sun_elevation_rad))
    )
    found = []
    for number in range(1, group.count + 1):
        name = group.name if group.count == 1 else f"{group.name} {number}"
        found += _one_panel(name, group, volts, amps, why)
    if group.count > 1:
        found += _strings(group, volts, amps, why)
    if light.shadow < TOLD_SHADOW:
        return tuple(found)
    note = SHADOW.format(share=100.0 * light.shadow)
    return tuple(replace(one, low=note + one.low) if one.unit == "A" else one for one in found)


def panel_bounds(panel, light, conditions):
    """Return (least, expected, most) of open voltage [V] and short-circuit current [A] of a panel.

    The open voltage is least in the weakest light with the warmest cells, most in the brightest
    with cells as cold as the air less ``COLD_K``; the maker's tolerance is on top, the meter's not.
    """
    diode = diode_of(panel)
    wind, air = conditions.wind_m_s, conditions.air_degC
    bright = np.array([light.least_W_m2, light.expected_W_m2, light.most_W_m2])
    warmest = cell_degC(air + COLD_K, bright, 0.5 * wind)
    usual = cell_degC(air, bright, wind)
    coldest = np.full(3, air - COLD_K)
    pairs = [(bright[0], warmest[0]), (bright[1], usual[1]), (bright[2], coldest[2])]
    volts = np.array([float(open_V(at(diode, *pair))) for pair in pairs])
    pairs = [(bright[0], coldest[0]), (bright[1], usual[1]), (bright[2], warmest[2])]
    amps = np.array([float(short_A(at(diode, *pair))) for pair in pairs])
    spread = np.array([-1.0, 0.0, 1.0])
    return np.sort(volts * (1.0 + MAKER_V * spread)), np.sort(amps * (1.0 + MAKER_A * spread))


def _one_panel(name, group, volts, amps, why):
    key, must = slug(name), not why
    halves = (Sign(-COVERED, COVERED, NOTHING),)
    if group.panel.cells >= 36:
        halves += (
            Sign(
                0.42,
                0.62,
                "about half: one half of the cells is dark, or a bypass diode is shorted",
            ),
        )
    return [
        Expectation(
            f"{key}_open_V", name, "nothing connected", "V", *metered(*volts, "V"),
            HOW_OPEN, LOW_VOLTS, HIGH_VOLTS, halves, polar=True, must=must, why_not=why,
        ),
        Expectation(
            f"{key}_short_A", name, "shorted through the meter", "A", *metered(*amps, "A"),
            HOW_SHORT, LOW_LIGHT, HIGH_LIGHT, (Sign(-COVERED, COVERED, NO_CURRENT),),
            polar=True, must=must, why_not=why,
        ),
    ]  # fmt: skip


def _strings(group, volts, amps, why):
    """Return what all panels of a group together show at the controller's terminals."""
    key, name = slug(group.name), f"{group.name}, all"
    side = group.count // group.series
    signs = [Sign(-COVERED, COVERED, NOTHING)]
    for lost in range(1, group.series):
        share = lost / group.series
        what = "one panel of the string is missing or shorted"
        if group.series - lost == 2:
            what = "one panel of the string is reversed, or two are missing"
        signs.append(Sign(share - 0.12 / group.series, share + 0.12 / group.series, what))
    weak = [Sign(-COVERED, COVERED, NO_CURRENT)]
    for lost in range(1, side):
        share, half = lost / side, 0.35 / side
        count = "one string is" if side - lost == 1 else f"{side - lost} strings are"
        weak.append(Sign(share - half, share + half, f"{count} open, shaded or reversed"))
    return [
        Expectation(
            f"{key}_all_open_V", name, "at the controller, unplugged", "V",
            *metered(*(group.series * volts), "V"),
            HOW_OPEN, LOW_VOLTS, HIGH_VOLTS, tuple(signs), polar=True, must=not why, why_not=why,
        ),
        Expectation(
            f"{key}_all_short_A", name, "at the controller, shorted", "A",
            *metered(*(side * amps), "A"),
            HOW_SHORT, LOW_LIGHT, HIGH_LIGHT, tuple(weak), polar=True, must=not why, why_not=why,
        ),
    ]  # fmt: skip


def alike_sentence(group, values):
    """Return what currents of one group that do not fit each other mean, or ''.

    Panels that look the same way stand in the same light, whatever the sky: each is held against
    their median, and all strings together against the sum of what the panels give alone.

    Parameters
    ----------
    group : design.PlacedPanel
    values : dict of str to float
        Readings by their keys.
    """
    key, side = slug(group.name), group.count // group.series
    numbers = range(1, group.count + 1)
    alone = {
        n: values[k] for n in numbers if (k := f"{slug(f'{group.name} {n}')}_short_A") in values
    }
    if not alone or min(alone.values()) <= 0.0:
        return ""
    median = float(np.median(list(alone.values())))
    if len(alone) > 1:
        number, worst = min(alone.items(), key=lambda one: one[1])
        if worst < (1.0 - ALIKE) * median:
            return (
                f"{group.name} {number} gives {worst:.2f} A, the others in the same light "
                f"{median:.2f} A: shade, snow on it, or a bad cell or plug"
            )
    together = values.get(f"{key}_all_short_A")
    if together is None or together >= (1.0 - ALIKE) * side * median:
        return ""
    return (
        f"{group.name}, all: {together:.2f} A together, {side * median:.2f} A by what the panels "
        f"give alone: {side - round(together / median)} of {side} strings open, or a plug or fuse"
    )


def cable_ohm(length_m, area_mm2, temperature_degC):
    """Return the resistance of a copper cable there and back. [ohm]

    2 L rho / A with 1.7241e-8 ohm m at 20 degC and 0.393 % for each kelvin, IEC 60028.
    """
    warm = 1.0 + COPPER_PER_K * (temperature_degC - 20.0)
    return 2.0 * length_m * COPPER_OHM_M * warm / (area_mm2 * 1e-6)


def cable_expectation(group, air_degC):
    """Return the :class:`Expectation` of a group's cable, far end joined."""
    ohm = group.panel.cable_ohm * (1.0 + COPPER_PER_K * (air_degC - 20.0))
    least, expected, most = metered(0.6 * ohm, ohm, 1.5 * ohm, "ohm")
    return Expectation(
        f"{slug(group.name)}_cable_ohm", f"{group.name}, cable", "far end joined", "ohm",
        max(least, 0.0), expected, most,
        "Unplugged, its two wires joined at the panel's end; take off what the leads show",
        "joined before its end: pinched or wet",
        "longer or thinner than planned, a bad crimp, or open",
        must=False,
    )  # fmt: skip
