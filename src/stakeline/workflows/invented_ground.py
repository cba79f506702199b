"""Maps and altimetry of an invented campaign: what stands in no receiver."""

import numpy as np

from ..campaign.folders import RAW
from ..formats.grids import Grids, write_grids
from ..formats.outlines import Outline, write_outlines
from ..formats.plain_table import write_plain_table
from ..simulate.altimetry import passes
from ..simulate.bridging import surface_change_m
from ..simulate.products import FRAME
from ..time import utc_from_gps

MAPS = "maps"
ALTIMETRY = f"{RAW}/altimetry/passes.csv"
DATUM = f"""# What the heights of passes.csv are counted from
[datum]
height_above = "ellipsoid"
tide_system = "tide-free"
frame = "{FRAME}"
"""
_GRID_M = 500.0  # m, as published maps of the bed have
_DECIMALS = {"latitude_deg": 6, "longitude_deg": 6, "height_m": 3, "sigma_m": 3}
_WORDS = {"surface": "height of the surface above the ellipsoid"}
_WORDS |= {"bed": "height of the bed above the ellipsoid", "thickness": "thickness of the ice"}


def ground_files(invented):
    """Return {path: bytes} of grids, lake outlines and satellite passes with their datum."""
    glacier = invented.glacier
    drawn = glacier.maps(_GRID_M)
    fields = {name: getattr(drawn, f"{name}_m") for name in _WORDS}
    grids = Grids(drawn.x_m, drawn.y_m, 3413, fields, dict.fromkeys(fields, "m"), _WORDS)
    outlines = [Outline(lake.name, glacier.outline(lake)) for lake in glacier.lakes]
    return {
        f"{MAPS}/halvard.nc": write_grids(grids, "Halvard Glacier, invented"),
        f"{MAPS}/lakes.geojson": write_outlines(outlines),
        ALTIMETRY: write_plain_table(_passes(invented), _DECIMALS),
        ALTIMETRY.replace(".csv", ".toml"): DATUM.encode("ascii"),
    }


def _passes(invented):
    """Return the table of satellite passes, times in UTC."""
    water, glacier = invented.water, invented.glacier

    def change_m(flow_m, side_m, time_s):
        return surface_change_m(water, glacier.lakes, flow_m, side_m, time_s)

    chance = invented.stream("altimetry")
    table = passes(chance, glacier, invented.start_ns, invented.days, change_m)
    time_utc = utc_from_gps(np.asarray(table["time_ns"]))
    return {"time_utc": time_utc} | {k: v for k, v in table.items() if k != "time_ns"}
