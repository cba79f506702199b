"""The curves of a campaign's lakes as xarray objects, for work in Python; xarray is optional."""

from ..campaign.folders import open_campaign
from ..errors import SettingsError
from .lakes_ground import lake_outlines
from .lakes_results import lake_results
from .lakes_together import series_file
from .motion_xarray import need_xarray, series_dataset


def open_lakes(campaign):
    """Return level, water and discharge of all lakes of a campaign as one ``xarray.Dataset``.

    Parameters
    ----------
    campaign : path
        Where ``stakeline lakes`` has been done.

    Returns
    -------
    xarray.Dataset
        Dimensions ``lake`` and ``time`` (GPS time); every variable with its unit.

    Raises
    ------
    SettingsError
        Where xarray is not installed, or no lake has been worked out.

    Examples
    --------
    >>> lakes = open_lakes("halvard-2031")  # doctest: +SKIP
    >>> lakes.level_m_median.sel(lake="Upper Halvard").plot()  # doctest: +SKIP
    """
    need_xarray("the Parquet tables and lakes.nc in 6-lakes/")
    opened = open_campaign(campaign)
    results = lake_results(opened)
    if not results:
        raise SettingsError(f"{opened.root}: no lakes yet; run 'stakeline lakes'")
    return series_dataset(series_file(results, lake_outlines(opened)), "lake")
