"""Observables of RINEX 2 as the three-character codes of RINEX 3; the rules stand in SPEC.md."""

from ...tables import SYSTEMS

_LETTERS = "CLDSP"
_LETTERED_BANDS = {"A": "1C", "B": "1X", "C": "2X", "D": "2C"}
_ATTRIBUTES = {
    "E": {"1": "1X", "5": "5X", "6": "6X", "7": "7X", "8": "8X"},
    "C": {"1": "1X", "2": "2I", "5": "5X", "6": "6I", "7": "7I", "8": "8X"},
    "J": {"1": "1C", "2": "2X", "5": "5X", "6": "6X"},
    "S": {"1": "1C", "5": "5X"},
    "I": {"5": "5A", "9": "9A"},
    "G": {"5": "5X"},
    "R": {"3": "3X"},
}


def translate(types, system):
    """Return the codes of RINEX 2 observables for one system.

    Parameters
    ----------
    types : sequence of str
        Two-character observables in the order of the header, such as ``L1``.
    system : str
        System letter.

    An observable that RINEX 3 does not know keeps its two characters, so does one whose code is
    taken already by another observable of the header.
    """
    codes = []
    for observable in types:
        code = _code(observable, set(types), system)
        codes.append(observable if code in codes else code)
    return tuple(codes)


def _code(observable, present, system):
    letter, band = observable[:1], observable[1:2]
    if letter not in _LETTERS or len(observable) != 2:
        return observable
    kind = "C" if letter == "P" else letter
    if band in _LETTERED_BANDS:
        return kind + _LETTERED_BANDS[band] if system in "GRJS" else observable
    if system in "GR" and band in "12":
        return kind + band + _dual_attribute(letter, band, present, system)
    if letter == "P" or band not in _ATTRIBUTES.get(system, {}):
        return observable
    return kind + _ATTRIBUTES[system][band]


def _dual_attribute(letter, band, present, system):
    """Return the attribute in bands 1 and 2 of GPS and GLONASS, which have two signals each."""
    civil = "C" if band == "1" or system == "R" else "X"
    precise = "W" if system == "G" else "P"
    if letter in "CP":
        return civil if letter == "C" else precise
    if band == "1":
        own_civil_phase = "LA" in present
        return civil if "C1" in present and not own_civil_phase else precise
    return civil if "C2" in present and "P2" not in present else precise


def modern(codes, system, version):
    """Return the codes of a RINEX 3 header in the names of 3.05.

    BeiDou's B1I was band 1 in version 3.02 and is band 2 in all others.
    """
    if system != "C" or version >= 3.025:
        return tuple(codes)
    renamed = [f"{c[0]}2{c[2]}" if c[1:] in ("1I", "1Q", "1X") else c for c in codes]
    return tuple(renamed) if len(set(renamed)) == len(renamed) else tuple(codes)


def index_of(system):
    """Return the index of a system letter, -1 where it is none."""
    return SYSTEMS.find(system) if system else -1
