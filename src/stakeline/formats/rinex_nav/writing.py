"""Writing :class:`stakeline.tables.Broadcast` as a RINEX 3.05 navigation file."""

import numpy as np

from ...constants import NS_PER_DAY, NS_PER_S
from ...errors import ProductError
from ...tables import SYSTEMS, satellite_name
from ...time import GPS_EPOCH_NS, to_gps, utc_from_gps
from ._layouts import LAYOUTS

_KINDS = ("LNAV", "INAV", "FNAV", "D1", "D2", "FDMA", "SBAS")  # those that version 3 has
_SOURCE = {"INAV": 517.0, "FNAV": 258.0}  # E1, E5b and E5a with their clocks; RINEX 3.05, table A8
_SMALLEST = 1e-99
_KM_COLUMNS = 9  # the first columns of a state vector are in km, km/s, km/s2
_NO_DELAY_S = 999_999_999_999e-3  # s, no group delay known; RINEX 3.05, table A10
_IONOSPHERE = ("GAL", "GPSA", "GPSB", "QZSA", "QZSB", "BDSA", "BDSB", "IRNA", "IRNB")


def write_navigation(broadcast):
    """Return the bytes of a navigation file, version 3.05.

    Numbers are kept to thirteen digits, epochs to 1 s. Reading the file again gives the same
    messages at that resolution, in order of satellite and time. What the record has no place for
    (flags of L2 codes, the length of the fit, nine coefficients of BDGIM) is left blank or out.

    Raises
    ------
    ProductError
        Where there is no message, or one of a kind that version 3 does not have.
    """
    records = _records(broadcast.kepler) + _records(broadcast.state_vector)
    if not records:
        raise ProductError("a navigation file without any message cannot be written")
    letters = {record[0] for record in records}
    lines = _header(broadcast, letters.pop() if len(letters) == 1 else "M")
    return ("\n".join([*lines, *records]) + "\n").encode("latin-1", "replace")


def _header(broadcast, system):
    names = {"G": "GPS", "R": "GLONASS", "E": "GALILEO", "C": "BDS", "M": "MIXED"}
    content = f"{3.05:9.2f}{'':11}{'N: GNSS NAV DATA':<20}{system}: {names.get(system, 'OTHER')}"
    pairs = [(content, "RINEX VERSION / TYPE"), ("stakeline", "PGM / RUN BY / DATE")]
    for name in _IONOSPHERE:
        if name in broadcast.ionosphere:
            numbers = "".join(f"{value:12.4E}" for value in broadcast.ionosphere[name])
            pairs.append((f"{name:<5}{numbers}", "IONOSPHERIC CORR"))
    if broadcast.leap_seconds is not None:
        pairs.append((f"{broadcast.leap_seconds:6d}", "LEAP SECONDS"))
    return [f"{content:<60}{label}" for content, label in [*pairs, ("", "END OF HEADER")]]


def _records(messages):
    """Return the text of each message."""
    letters = np.array(list(SYSTEMS))[messages.satellites // 100]
    unknown = set(messages.kind.tolist()) - set(_KINDS)
    if unknown:
        raise ProductError(
            f"messages of kind {sorted(unknown)[0]} cannot be written: RINEX 3.05 has "
            f"{', '.join(_KINDS)}"
        )
    records = []
    for k in range(len(letters)):
        letter, kind = str(letters[k]), str(messages.kind[k])
        count, places = LAYOUTS[letter, kind]
        values = dict(zip(messages.columns, messages.values[k].tolist(), strict=True))
        if "x" in places:
            values |= {name: values[name] / 1e3 for name in messages.columns[:_KM_COLUMNS]}
        values["transmission"] = _second_of_week(int(messages.transmission_ns[k]), letter)
        values["source"] = _SOURCE.get(kind, np.nan)
        table = np.full((count, 4), np.nan)
        for name, place in places.items():
            table[place] = values[name]
        if letter == "R":
            table = np.vstack([table, [np.nan, _NO_DELAY_S, np.nan, np.nan]])
        head = _epoch(int(messages.satellites[k]), int(messages.time_of_clock_ns[k]), letter)
        records.append(_text(head, table.tolist()))
    return records


def _text(head, table):
    lines = [head + "".join(_number(value) for value in table[0][1:])]
    lines += [f"    {''.join(_number(value) for value in row)}" for row in table[1:]]
    return "\n".join(line.rstrip() for line in lines)


def _number(value):
    """Return 19 columns, blank for what is not known; beyond two digits of exponent is 0."""
    if np.isnan(value):
        return " " * 19
    return f"{value if abs(value) >= _SMALLEST else 0.0:19.12E}"


def _in_system(time_ns, letter):
    """Return GPS time in the time of a system's messages. [ns]"""
    if letter == "R":
        return int(utc_from_gps(time_ns))
    return time_ns - int(to_gps(0, "BDT")) if letter == "C" else time_ns


def _second_of_week(time_ns, letter):
    return (_in_system(time_ns, letter) - GPS_EPOCH_NS) % (7 * NS_PER_DAY) / NS_PER_S


def _epoch(satellite, time_ns, letter):
    whole_ns = (_in_system(time_ns, letter) + NS_PER_S // 2) // NS_PER_S * NS_PER_S
    date = str(np.int64(whole_ns).view("datetime64[ns]").astype("datetime64[s]"))
    return f"{satellite_name(satellite)} {date.translate(str.maketrans('-T:', '   '))}"
