"""Terrestrial frames: the same point in another realisation, at another epoch.

Every frame is tied to ITRF2014 by fourteen published parameters. Velocities are the user's or, on
rock, those of a plate; ice moves on its own and its epoch must not be shifted by a plate.
"""

import numpy as np

from ..errors import SettingsError
from ..time import decimal_year

# Parameters from ITRF2014 to each frame: translations [mm], scale [1e-9], rotations [mas], their
# rates a year, reference epoch. Sources: ITRF2020 from Altamimi et al. (2023), J. Geod. 97, 47,
# table 9, reversed; ITRF2008 to ITRF88 from Altamimi et al. (2016), J. Geophys. Res. 121, 6109,
# and the list "Transfo-ITRF2014_ITRFs" of the ITRF centre; ETRF2000 and ETRF2014 from EUREF
# Technical Note 1, version 2020, tables 1 and 3.
_NONE = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
_LONG = (0.1, -0.5, -3.3, 0.12, 0.0, 0.0, 0.02)
_FROM_ITRF2014 = {
    #            tx    ty     tz     s     rx    ry   rz      rates                     epoch
    "ITRF2014": ((0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0), _NONE, 2010.0),
    "ITRF2020": ((1.4, 0.9, -1.4, 0.42, 0.0, 0.0, 0.0), (0.0, 0.1, -0.2, 0, 0, 0, 0), 2015.0),
    "ITRF2008": ((1.6, 1.9, 2.4, -0.02, 0.0, 0.0, 0.0), (0, 0, -0.1, 0.03, 0, 0, 0), 2010.0),
    "ITRF2005": ((2.6, 1.0, -2.3, 0.92, 0.0, 0.0, 0.0), (0.3, 0, -0.1, 0.03, 0, 0, 0), 2010.0),
    "ITRF2000": ((0.7, 1.2, -26.1, 2.12, 0, 0, 0), (0.1, 0.1, -1.9, 0.11, 0, 0, 0), 2010.0),
    "ITRF97": ((7.4, -0.5, -62.8, 3.80, 0.0, 0.0, 0.26), _LONG, 2010.0),
    "ITRF96": ((7.4, -0.5, -62.8, 3.80, 0.0, 0.0, 0.26), _LONG, 2010.0),
    "ITRF94": ((7.4, -0.5, -62.8, 3.80, 0.0, 0.0, 0.26), _LONG, 2010.0),
    "ITRF93": (
        (-50.4, 3.3, -60.2, 4.29, -2.81, -3.38, 0.40),
        (-2.8, -0.1, -2.5, 0.12, -0.11, -0.19, 0.07),
        2010.0,
    ),
    "ITRF92": ((15.4, 1.5, -70.8, 3.09, 0.0, 0.0, 0.26), _LONG, 2010.0),
    "ITRF91": ((27.4, 15.5, -76.8, 4.49, 0.0, 0.0, 0.26), _LONG, 2010.0),
    "ITRF90": ((25.4, 11.5, -92.8, 4.79, 0.0, 0.0, 0.26), _LONG, 2010.0),
    "ITRF89": ((30.4, 35.5, -130.8, 8.19, 0.0, 0.0, 0.26), _LONG, 2010.0),
    "ITRF88": ((25.4, -0.5, -154.8, 11.29, 0.10, 0.0, 0.26), _LONG, 2010.0),
    "ETRF2000": (
        (54.7, 52.2, -74.1, 2.12, 1.701, 10.290, -16.632),
        (0.1, 0.1, -1.9, 0.11, 0.081, 0.490, -0.792),
        2010.0,
    ),
    "ETRF2014": (_NONE, (0, 0, 0, 0, 0.085, 0.531, -0.770), 1989.0),
}
_SAME_AS = {  # frames that agree with an ITRF by definition, to a millimetre globally
    **{"IGS20": "ITRF2020", "IGB20": "ITRF2020", "IGS14": "ITRF2014", "IGB14": "ITRF2014"},
    **{"IGS08": "ITRF2008", "IGB08": "ITRF2008", "IGS05": "ITRF2005", "IGS00": "ITRF2000"},
    **{"IGB00": "ITRF2000", "IGS97": "ITRF97", "ETRS89": "ETRF2000", "ITRF00": "ITRF2000"},
    **{"ITRF05": "ITRF2005", "ITRF08": "ITRF2008", "ITRF14": "ITRF2014", "ITRF20": "ITRF2020"},
    **{"WGS84": "ITRF2014", "WGS84(G1762)": "ITRF2008", "WGS84(G2139)": "ITRF2014"},
    **{"WGS84(G2296)": "ITRF2020"},  # WGS 84 as broadcast: within a few centimetres
}

_PLATES = {  # rotation about x, y, z [mas/a], by frame: Altamimi et al. (2017) and (2023), table 2
    "ITRF2014": {
        **{"Antarctica": (-0.248, -0.324, 0.675), "Arabia": (1.154, -0.136, 1.444)},
        **{"Australia": (1.510, 1.182, 1.215), "Eurasia": (-0.085, -0.531, 0.770)},
        **{"India": (1.154, -0.005, 1.454), "Nazca": (-0.333, -1.544, 1.623)},
        **{"North America": (0.024, -0.694, -0.063), "Nubia": (0.099, -0.614, 0.733)},
        **{"Pacific": (-0.409, 1.047, -2.169), "South America": (-0.270, -0.301, -0.140)},
        "Somalia": (-0.121, -0.794, 0.884),
    },
    "ITRF2020": {
        **{"Antarctica": (-0.269, -0.312, 0.678), "Arabia": (1.129, -0.146, 1.438)},
        **{"Australia": (1.487, 1.175, 1.223), "Eurasia": (-0.085, -0.519, 0.753)},
        **{"India": (1.137, 0.013, 1.444), "Nazca": (-0.327, -1.561, 1.605)},
        **{"North America": (0.045, -0.666, -0.098), "Nubia": (0.090, -0.585, 0.717)},
        **{"Pacific": (-0.404, 1.021, -2.154), "South America": (-0.261, -0.282, -0.157)},
        **{"Somalia": (-0.081, -0.719, 0.864), "Amur": (-0.131, -0.551, 0.837)},
        "Caribbean": (0.207, -1.422, 0.726),
    },
}
_MAS = np.radians(1.0 / 3.6e6)


def frame_name(frame):
    """Return the frame that a name stands for: ``IGb14`` is ITRF2014.

    Raises
    ------
    SettingsError
        For a name that is not known; it lists those that are.
    """
    key = str(frame).upper().replace(" ", "").replace("_", "").replace("-", "")
    key = _SAME_AS.get(key, key)
    if key not in _FROM_ITRF2014:
        known = ", ".join([*_FROM_ITRF2014, *_SAME_AS])
        raise SettingsError(f"frame '{frame}' is not known; known are {known}")
    return key


def transform(xyz, frame, epoch_ns, to_frame, to_epoch_ns=None, velocity_m_a=None):
    """Return coordinates in another frame, and at another epoch where a velocity is given. [m]

    Parameters
    ----------
    xyz : array, shape (..., 3)
        Earth-fixed coordinates in ``frame`` at ``epoch_ns``. [m]
    frame, to_frame : str
        Such as IGb14, ITRF2020, ETRF2000.
    epoch_ns, to_epoch_ns : int
        GPS time; ``to_epoch_ns`` None keeps the epoch. [ns]
    velocity_m_a : array, shape (..., 3), optional
        Velocity in ``frame``; without it the point does not move (and the epochs may differ only
        in the name). [m/a]

    Notes
    -----
    Seven parameters and their rates, IERS Conventions (2010), equations 4.13 and 4.14, linear form
    (it differs from the exact rotation by less than 0.01 mm here).
    """
    source, target = frame_name(frame), frame_name(to_frame)
    xyz = np.asarray(xyz, float)
    to_epoch_ns = epoch_ns if to_epoch_ns is None else to_epoch_ns
    year, to_year = (float(decimal_year(np.int64(t))) for t in (epoch_ns, to_epoch_ns))
    if velocity_m_a is not None:
        xyz = xyz + np.asarray(velocity_m_a, float) * (to_year - year)
        year = to_year
    if source == target:
        return xyz.copy()
    return _apply(_parameters(target, year), _undo(_parameters(source, year), xyz))


def transform_rows(xyz, frame, time_ns, to_frame):
    """Return coordinates (n, 3) in another frame, each row at its own time; nothing moves. [m]

    Parameters
    ----------
    xyz : array, shape (n, 3)
        Earth-fixed coordinates in ``frame``. [m]
    frame, to_frame : str
    time_ns : int64 array, shape (n,)
        GPS time. [ns]

    Notes
    -----
    :func:`transform` at the first and the last time; between these shifts are linear in time, as
    the parameters are.
    """
    xyz, time_ns = np.asarray(xyz, float), np.asarray(time_ns, np.int64)
    if not len(xyz) or frame_name(frame) == frame_name(to_frame):
        return xyz.copy()
    ends = int(time_ns.min()), int(time_ns.max())
    first, last = (transform(xyz, frame, end, to_frame) for end in ends)
    share = (time_ns - ends[0]) / max(ends[1] - ends[0], 1)
    return first + share[:, None] * (last - first)


def _parameters(frame, year):
    """Return (translation [m], scale [-], rotation [rad]) from ITRF2014 to a frame."""
    value, rate, epoch = _FROM_ITRF2014[frame]
    now = np.asarray(value, float) + np.asarray(rate, float) * (year - epoch)
    return now[:3] * 1e-3, now[3] * 1e-9, now[4:] * _MAS


def _apply(parameters, xyz):
    translation, scale, rotation = parameters
    return xyz + translation + scale * xyz + np.cross(rotation, xyz)


def _undo(parameters, xyz):
    """Return what ``_apply`` turns into ``xyz``; three rounds leave less than 1e-9 m."""
    first = xyz
    for _ in range(3):
        first = xyz - (_apply(parameters, first) - first)
    return first


def plate_velocity(xyz, plate, frame="ITRF2014"):
    """Return the velocity of a point that rides on a plate, shape (..., 3). [m/a]

    Parameters
    ----------
    xyz : array, shape (..., 3)
        Earth-fixed coordinates. [m]
    plate : str
        Such as ``North America``, ``Eurasia``, ``Antarctica``. It must be named: at a plate's edge
        no rule from coordinates is safe.
    frame : str
        A realisation equal to ITRF2014 or ITRF2020.

    Notes
    -----
    Rotation poles of Altamimi et al. (2017), Geophys. J. Int. 209, 1906 (ITRF2014, no origin rate)
    and Altamimi et al. (2023), Geophys. Res. Lett. 50, e2023GL106373 (ITRF2020, origin rate left
    out). Rebound after the ice ages, up to 1 cm/a upwards, is not in it. Rock only: never ice.
    """
    frame = frame_name(frame)
    if frame not in _PLATES:
        raise SettingsError(
            f"plate motion is known in {', '.join(_PLATES)}, not in {frame}; transform first"
        )
    plates = {name.lower(): name for name in _PLATES[frame]}
    name = plates.get(str(plate).lower().replace("_", " "))
    if name is None:
        known = ", ".join(sorted(plates.values()))
        raise SettingsError(f"plate '{plate}' is not known; known are {known}")
    return np.cross(np.array(_PLATES[frame][name]) * _MAS, np.asarray(xyz, float))
