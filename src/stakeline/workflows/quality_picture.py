"""A picture of one receiver file's quality, on demand."""

from pathlib import Path

import numpy as np

from ..campaign.folders import INTAKE, open_campaign
from ..campaign.store import write_bytes
from ..errors import SettingsError
from ..formats.rinex_obs import read_observations
from ..report.quality_figures import StationDayFigure, draw_station_day
from ..report.style import svg_bytes
from ..signals.quality import multipath_of
from ..signals.tracks import build_tracks
from ..tables import satellite_name
from ..time import iso
from .examine import products_of
from .file_place import place_of_file, places_for
from .product_index import scan
from .quality import elevations


def draw_file(campaign, name):
    """Write ``3-intake/pictures/NAME.svg`` of a receiver file; return its path.

    Parameters
    ----------
    campaign : path
    name : str
        Of the file, as the manifest has it.

    Raises
    ------
    SettingsError
        Where there is no such file, no pair of signals, or no orbit for its day.
    """
    campaign = open_campaign(campaign)
    path = campaign.root / name
    if not path.is_file():
        raise SettingsError(f"{name}: no such file in {campaign.root}; see 3-intake/manifest.csv")
    observations = read_observations(path)
    tracks, _ = build_tracks(observations)
    places = places_for(campaign, name, campaign.histories())
    place, said = place_of_file(campaign, name, observations.header, places)
    span = int(observations.time_ns[0]), int(observations.time_ns[-1])
    products, _ = products_of(campaign, scan(campaign), *span)
    if products is None or not tracks.satellites.size or not np.isfinite(place).all():
        raise SettingsError(
            f"{name}: a picture needs orbits of its day, a position in its header or in its "
            "station's history, and satellites with code and phase on two bands"
        )
    elevation = elevations(products, place, tracks.satellites, tracks.time_ns)
    paths, slips = multipath_of(tracks, elevation)
    record = StationDayFigure(
        title=f"{observations.header.marker_name.strip()}, {iso(span[0])[:10]}",
        time_ns=tracks.time_ns,
        names=tuple(satellite_name(s) for s in tracks.satellites),
        elevation_deg=np.degrees(elevation),
        multipath_m=paths,
        strength=tracks.strength,
        slip=slips,
        note=f"{name}. Multipath: code less phase freed of the ionosphere, arc means taken off."
        + (f" {said[:1].upper()}{said[1:]}." if said else ""),
    )
    out = campaign.folder(INTAKE) / "pictures" / f"{Path(name).name.split('.')[0]}.svg"
    write_bytes(out, svg_bytes(draw_station_day(record)))
    return out
