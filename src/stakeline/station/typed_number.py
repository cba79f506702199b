"""A number as people write it on a sheet: ``12.71``, ``12,71 V``, ``12710 mV``, ``5 ft 2 in``."""

import re

from ..errors import SettingsError
from .antenna_height import FOOT_M, INCH_M

METRIC_M = {"m": 1.0, "cm": 0.01, "mm": 0.001}
LENGTHS_M = METRIC_M | {"in": INCH_M, '"': INCH_M, "ft": FOOT_M, "'": FOOT_M}
FAMILIES = (
    LENGTHS_M,
    {"V": 1.0, "mV": 1e-3, "kV": 1e3},
    {"A": 1.0, "mA": 1e-3},
    {"ohm": 1.0, "kohm": 1e3, "Mohm": 1e6, "mohm": 1e-3, "Ω": 1.0, "kΩ": 1e3, "MΩ": 1e6},
    {"N": 1.0, "kN": 1e3, "daN": 10.0, "kg": 9.80665, "kgf": 9.80665, "lbf": 4.4482216152605},
    {"kB": 1.0, "MB": 1e3, "B": 1e-3},
    {"deg": 1.0, "°": 1.0},
    {"dBHz": 1.0, "dB-Hz": 1.0},
)
_NUMBER = r"[-+−]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?"
_PIECE = re.compile(rf"\s*({_NUMBER})(?:\s+(\d+)/(\d+))?\s*([^\d\s.,+−-][^\d\s]*)?")


def typed_number(given, unit):
    """Return what was typed, in a unit.

    Parameters
    ----------
    given : float, int or str
        A bare number is in ``unit``. A decimal comma is a point. Lengths may have two parts and
        fractions, as inches have.
    unit : str
        '' for a count.

    Raises
    ------
    SettingsError
        For what is no number, or a unit of another kind; the sentence says which there are.
    """
    if isinstance(given, bool):
        raise SettingsError(f"{given}: expected a number{_in(unit)}")
    if isinstance(given, int | float):
        return float(given)
    text = str(given).strip()
    pieces = _pieces(text)
    if not pieces:
        raise SettingsError(f"'{text}' is no number; expected one{_in(unit)}, such as 12.71")
    if len(pieces) > 1 and not all(name in LENGTHS_M and name for _, name in pieces):
        raise SettingsError(f"'{text}': expected one number{_in(unit)}; a space stands between two")
    family = next((f for f in FAMILIES if unit in f), {unit: 1.0})
    total, sign = 0.0, -1.0 if text[0] in "-−" else 1.0
    for value, name in pieces:
        if name and name not in family:
            raise SettingsError(
                f"'{text}': {name} is no unit of this reading; units are {', '.join(family)}"
            )
        total += abs(value) * family[name or unit]
    return sign * total / family[unit]


def _pieces(text):
    """Return [(number, unit)] of a text, empty where something is left over."""
    found, position = [], 0
    while position < len(text):
        match = _PIECE.match(text, position)
        if not match:
            return []
        value = float(match[1].replace(",", ".").replace("−", "-"))
        if match[2]:
            if not int(match[3]):
                return []
            value = abs(value) + int(match[2]) / int(match[3])
        found.append((value, match[4] or ""))
        position = match.end()
    return found


def _in(unit):
    return f" in {unit}" if unit else ""
