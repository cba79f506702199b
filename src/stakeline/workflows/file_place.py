"""Whose a receiver file is, and where its antenna stood to some kilometres."""

import numpy as np

from ..campaign.folders import STATIONS
from ..earth.ellipsoid import xyz_from_geodetic
from .reading import name_in_file_name


def station_of_file(campaign, path, marker_name):
    """Return the station a receiver file belongs to: by its folder, its marker, its name; or ''.

    Parameters
    ----------
    campaign : Campaign
    path : str
        From the campaign's folder.
    marker_name : str
        Of the header.
    """
    station = campaign.station_of(path)
    if station:
        return station
    known = [part.name for part in campaign.settings.station]
    marker = marker_name.strip().upper()[:4]
    return next((name for name in (marker, name_in_file_name(path)) if name in known), "")


def history_place(history):
    """Return where a history has its station, Earth-fixed (3,); None where it does not say. [m]"""
    content = history.content
    if content.latitude_deg is None or content.longitude_deg is None:
        return None
    angles = np.radians([content.latitude_deg, content.longitude_deg])
    return xyz_from_geodetic(*angles, content.height_m or 0.0)


def places_for(campaign, path, histories):
    """Return {station: (x, y, z)} of the histories that may have to stand in for a file's header.

    That of its folder's station; all of them where no folder says whose the file is. [m]
    """
    station = campaign.station_of(path)
    asked = [station] if station else sorted(histories)
    found = {name: history_place(histories[name]) for name in asked if name in histories}
    return {name: tuple(place.tolist()) for name, place in found.items() if place is not None}


def place_of_file(campaign, path, header, places):
    """Return (place (3,) [m], a sentence on where it is from or '').

    Of the header; else of ``places`` of :func:`places_for`; NaN where neither says.
    """
    place = np.asarray(header.approximate_position_m, float)
    if np.isfinite(place).all():
        return place, ""
    station = station_of_file(campaign, path, header.marker_name)
    if station not in places:
        return np.full(3, np.nan), ""
    said = f"the header has no position: elevations are by that of {STATIONS}/{station}.toml"
    return np.array(places[station]), said
