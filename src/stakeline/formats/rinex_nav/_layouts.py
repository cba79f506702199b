"""Where each quantity stands in each kind of message: RINEX 4.02, tables A11 to A33.

A place is (line of the record, field of the line), both from 0; on line 0 fields 1-3 follow the
epoch. Numbers of the file are in the units wanted, but state vectors are in km.
"""

from ...tables import KEPLER_COLUMNS, STATE_COLUMNS

REQUIRED_KEPLER = KEPLER_COLUMNS[:18]
REQUIRED_STATE = STATE_COLUMNS[:11]

_ORBIT = {
    "af0": (0, 1),
    "af1": (0, 2),
    "af2": (0, 3),
    "crs": (1, 1),
    "delta_n": (1, 2),
    "m0": (1, 3),
    "cuc": (2, 0),
    "eccentricity": (2, 1),
    "cus": (2, 2),
    "sqrt_a": (2, 3),
    "cic": (3, 1),
    "omega0": (3, 2),
    "cis": (3, 3),
    "i0": (4, 0),
    "crc": (4, 1),
    "omega": (4, 2),
    "omega_dot": (4, 3),
    "i_dot": (5, 0),
}
_LEGACY = _ORBIT | {"iode": (1, 0), "toe_sow": (3, 0), "week": (5, 2), "accuracy_m": (6, 0)}
_LEGACY |= {"health": (6, 1), "tgd": (6, 2), "transmission": (7, 0)}
_LNAV = _LEGACY | {"iodc": (6, 3)}
_GALILEO = _LEGACY | {"tgd2": (6, 3), "source": (5, 1)}
_BEIDOU = _LEGACY | {"tgd2": (6, 3), "iodc": (7, 1)}
_CIVIL = _ORBIT | {"a_dot": (1, 0), "delta_n_dot": (5, 1)}
_CNAV = _CIVIL | {"health": (6, 1), "tgd": (6, 2), "transmission": (8, 0)}
_CNV_BEIDOU = _CIVIL | {"toe_sow": (3, 0)}
_CNV12 = _CNV_BEIDOU | {"tgd": (7, 2), "tgd2": (7, 3), "health": (8, 1), "iodc": (8, 3)}
_CNV12 |= {"transmission": (9, 0), "iode": (9, 3)}
_CNV3 = _CNV_BEIDOU | {"health": (7, 1), "tgd": (7, 3), "transmission": (8, 0)}
_L1NV = _CIVIL | {"iode": (3, 0), "health": (6, 1), "tgd": (6, 3), "transmission": (8, 0)}

_STATE = {"af0": (0, 1), "gamma": (0, 2), "transmission": (0, 3)}
_STATE |= {
    f"{kind}{axis}": (line, field)
    for line, axis in enumerate("xyz", start=1)
    for field, kind in enumerate(("", "v", "a"))
}
_GLONASS = _STATE | {"health": (1, 3), "channel": (2, 3), "age": (3, 3)}
_SBAS = _STATE | {"health": (1, 3), "accuracy_m": (2, 3)}

LAYOUTS = {
    ("G", "LNAV"): (8, _LNAV),
    ("J", "LNAV"): (8, _LNAV),
    ("I", "LNAV"): (8, _LEGACY),
    ("E", "INAV"): (8, _GALILEO),
    ("E", "FNAV"): (8, _GALILEO),
    ("C", "D1"): (8, _BEIDOU),
    ("C", "D2"): (8, _BEIDOU),
    ("G", "CNAV"): (9, _CNAV),
    ("J", "CNAV"): (9, _CNAV),
    ("G", "CNV2"): (10, _CNAV | {"transmission": (9, 0)}),
    ("J", "CNV2"): (10, _CNAV | {"transmission": (9, 0)}),
    ("C", "CNV1"): (10, _CNV12),
    ("C", "CNV2"): (10, _CNV12),
    ("C", "CNV3"): (9, _CNV3),
    ("I", "L1NV"): (9, _L1NV),
    ("R", "FDMA"): (4, _GLONASS),
    ("S", "SBAS"): (4, _SBAS),
}
"""(system, kind) -> (lines of a record at least, places)."""

DEFAULT_KIND = {"G": "LNAV", "J": "LNAV", "I": "LNAV", "E": "INAV", "C": "D1"}
DEFAULT_KIND |= {"R": "FDMA", "S": "SBAS"}
"""Kind of message in versions 2 and 3, which do not name it."""
