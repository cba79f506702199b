"""Settings, histories and a plan of an invented campaign, as its people would have written them."""

import re

import numpy as np

from ..campaign.folders import RAW, plan_example
from ..simulate.antenna import MODEL
from ..time import iso, utc_from_gps

RECEIVER = "HALVARD INVENTED"
PLAN_YEARS = 40  # of weather, for the plan of one station


def campaign_text(invented, raw_names):
    """Return ``campaign.toml`` of an :class:`Invented` campaign."""
    lines = [
        "[campaign]",
        f'name = "Halvard Glacier {iso(invented.start_ns)[:4]}, invented"',
        f'note = "Scenario {invented.scenario.name}, seed {invented.seed}; nothing of it is real"',
        "",
        "[position]",
        'systems = "GPS,GAL"',
        "",
    ]
    for name in invented.sites:
        lines += ["[[station]]", f'name = "{name}"']
        lines += [f'raw = ["{RAW}/{name}"]'] if name in raw_names else []
        lines += [f'positions = ["{RAW}/positions/{name}.parquet"]', ""]
    return "\n".join(lines)


def history_text(invented, name):
    """Return ``stations/NAME.toml``: the visits that somebody wrote down."""
    site = invented.sites[name]
    place = site.place
    lines = [
        f'station = "{name}"',
        f'description = "{site.purpose}"',
        f'marker = "{_marker_words(site)}"',
        f"latitude_deg = {np.degrees(place.latitude_rad):.5f}",
        f"longitude_deg = {np.degrees(place.longitude_rad):.5f}",
        f"height_m = {place.height_m:.0f}.0",
        "",
    ]
    for number, visit in enumerate(v for v in invented.visits(name) if v.logged):
        lines += _visit_lines(invented, visit, number == 0)
    return "\n".join(lines)


def plan_text(invented, name):
    """Return ``plans/NAME.toml``: the example of a station file, at a station's place.

    Fewer years of weather than by default: the demonstration is to be quick.
    """
    place = invented.sites[name].place
    written = {
        "name": f'"{name}"',
        "note": '"as it was meant to be built"',
        "latitude_deg": f"{np.degrees(place.latitude_rad):.4f}",
        "longitude_deg": f"{np.degrees(place.longitude_rad):.4f}",
        "elevation_m": f"{place.height_m:.0f}",
        "survival": f"0.95\nyears = {PLAN_YEARS}",
    }
    text = plan_example()
    for key, value in written.items():
        text = re.sub(rf"^{key} = [^#\n]*", f"{key} = {value}  ", text, count=1, flags=re.MULTILINE)
    return text.replace("  \n", "\n")


def _marker_words(site):
    return "bolt in the rock" if site.on_rock else "foot of the pole, at the snow of the set-up"


def _visit_lines(invented, visit, first):
    utc = iso(int(utc_from_gps(int(invented.time_ns(visit.time_s)))))
    kind = {"reset": "visit"}.get(visit.kind, visit.kind)
    lines = ["[[visit]]", f"time = {utc}Z", f'kind = "{kind}"', f'note = "{visit.note}"', ""]
    if first:
        lines += ["[visit.receiver]", f'type = "{RECEIVER}"', 'serial = "1"', 'firmware = "1.0"']
        lines += ["", "[visit.antenna]", f'type = "{MODEL}"', 'serial = "1"', ""]
    lines += ["[visit.height]", f"measured_m = {visit.antenna_height_m:.4f}", 'how = "vertical"']
    lines += ['from = "marker"', 'to = "antenna reference point"', ""]
    if any((visit.east_m, visit.north_m, visit.up_m)):
        moved = zip(("east", "north", "up"), (visit.east_m, visit.north_m, visit.up_m), strict=True)
        lines += ["[visit.marker_moved]", *(f"{axis}_m = {value:.4f}" for axis, value in moved), ""]
    return lines
