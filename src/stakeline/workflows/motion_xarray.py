"""The motion of a campaign as xarray objects, for work in Python; xarray is optional."""

import numpy as np

from ..campaign.folders import MOTION, open_campaign
from ..campaign.store import read_table
from ..errors import SettingsError
from .motion_together import series_file

try:
    import xarray
except ImportError:  # an optional library
    xarray = None  # type: ignore[assignment]


def open_motion(campaign):
    """Return the motion of all stations of a campaign as one ``xarray.Dataset``.

    Parameters
    ----------
    campaign : path
        Where ``stakeline motion`` has been done.

    Returns
    -------
    xarray.Dataset
        Dimensions ``station`` and ``time`` (GPS time); every variable with its unit.

    Raises
    ------
    SettingsError
        Where xarray is not installed, or no motion has been worked out.

    Examples
    --------
    >>> motion = open_motion("halvard-2031")  # doctest: +SKIP
    >>> motion.speed_m_d.sel(station="HV05").plot()  # doctest: +SKIP
    """
    need_xarray("the Parquet tables and motion.nc in 5-motion/")
    root = open_campaign(campaign).root
    paths = sorted((root / MOTION).glob("*/*_motion.parquet"))
    if not paths:
        raise SettingsError(f"{root}: no motion yet; run 'stakeline motion'")
    return dataset({path.parent.name: read_table(path) for path in paths})


def need_xarray(otherwise):
    """Raise SettingsError where xarray is not installed; ``otherwise``: what may be read."""
    if xarray is None:
        raise SettingsError(
            "xarray is not installed; install it (pip install 'stakeline[xarray]'), or read "
            f"{otherwise}"
        )


def dataset(tables):
    """Return the Dataset of tables, by station (columns, metadata)."""
    return series_dataset(series_file(tables), "station")


def series_dataset(series, one):
    """Return the Dataset of a :class:`StationSeriesFile`, whose stations are called ``one``."""
    variables = {
        name: (
            (one, "time"),
            values,
            {"units": series.units[name], "long_name": series.words[name]},
        )
        for name, values in series.fields.items()
    }
    place = ("latitude_deg", "longitude_deg", "height_m")
    coordinates = {name: (one, getattr(series, name)) for name in place}
    coordinates |= {
        one: np.array(series.stations),
        "time": series.time_ns.view("datetime64[ns]"),
    }
    attributes = {**series.attributes, "time_scale": "GPS time"}
    return xarray.Dataset(variables, coordinates, attributes)
