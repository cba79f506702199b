"""Places where no station stands yet: those of the plans, and the best one on each lake."""

from dataclasses import dataclass

import numpy as np

from ..campaign.folders import LAKES
from ..earth.projection import projection
from .lakes_placement import planned_places
from .lakes_placement_tables import BEST
from .motion_results import csv_rows, station_results

PLANNED_STATION, BEST_PLACE = "planned station", "best place"


@dataclass(frozen=True)
class Site:
    """A place for a station: ``kind`` is planned station or best place. [deg]"""

    name: str
    latitude_deg: float
    longitude_deg: float
    kind: str

    def map_m(self, epsg):
        """Return the place on a map (2,). [m]"""
        place = np.radians([self.latitude_deg, self.longitude_deg])
        return np.array(projection(epsg).forward(*place), float)


def sites(campaign):
    """Return a tuple of :class:`Site`: plans of stations without motion, then best places.

    Best places are those of ``placement.csv`` of each lake, as it stands.
    """
    standing = {result.station for result in station_results(campaign)}
    found = [
        Site(name, *(round(float(v), 6) for v in np.degrees(place)), PLANNED_STATION)
        for name, *place in planned_places(campaign)
        if name not in standing
    ]
    for path in sorted(campaign.folder(LAKES).glob("*/placement.csv")):
        found += [
            Site(f"best place on {row['lake']}", float(row["latitude_deg"]),
                 float(row["longitude_deg"]), BEST_PLACE)
            for row in csv_rows(path) if row["role"] == BEST
        ]  # fmt: skip
    return tuple(found)
