"""Settings, histories and a plan of an invented campaign, as its people would have written them."""

import re

import numpy as np

from ..campaign.folders import RAW, plan_example
from ..simulate.antenna import MODEL
from ..time import iso, utc_from_gps

RECEIVER = "HALVARD INVENTED"
PLAN_YEARS = 40  # of weather, for the plan of one station
_COMPASS = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west",
)  # fmt: skip


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
    """Return ``plans/NAME.toml``: the example of a station file, with what the invention has there.

    Fewer years of weather than by default: the demonstration is to be quick. Box, mast and what
    else the invention's simpler station lacks are those of the example; nothing saves power there.
    """
    place = invented.sites[name].place
    design = invented.supply(name).design
    parts = plan_example().split("\n\n")
    panels = [k for k, part in enumerate(parts) if part.startswith("[[panel]]")]
    parts[panels[0] : panels[-1] + 1] = _panel_parts(design)
    if not design.turbine_W:
        parts = [part for part in parts if not part.startswith("[turbine]")]
    built = iso(invented.start_ns)[:10]
    written = {
        ("note = ", "name"): f'"{name}"',
        ("note = ", "note"): '"as it was built"',
        ("[site]", "latitude_deg"): f"{np.degrees(place.latitude_rad):.4f}",
        ("[site]", "longitude_deg"): f"{np.degrees(place.longitude_rad):.4f}",
        ("[site]", "elevation_m"): f"{place.height_m:.0f}",
        ("[turbine]", "rated_W"): f"{design.turbine_W:.0f}",
        ("[battery]", "block_Ah"): "50",
        ("[battery]", "parallel"): f"{design.bank_Ah / 50.0:.0f}",
        ("[controller]", "disconnect_V"): f"{design.disconnect_V:.1f}",
        ("[controller]", "reconnect_V"): f"{design.reconnect_V:.1f}",
        ('name = "receiver"', "power_W"): f"{design.receiver_W + design.logger_W:.2f}",
        ('name = "modem"', "power_W"): f"{design.modem_W:.1f}",
        ('name = "modem"', "duty"): f"{design.modem_share / 24.0:.4f}",
        ("[heater]", "power_W"): f"{design.heater_W:.1f}",
        ("[heater]", "on_degC"): f"{design.heater_degC:.0f}",
        ("[heater]", "off_degC"): f"{design.heater_degC + 5.0:.0f}",
        ("[heater]", "least_V"): f"{design.heater_V:.1f}",
        ("[aim]", "survival"): f"0.95\nyears = {PLAN_YEARS}",
        ("[aim]", "built"): built,
        ("[aim]", "visit"): f"{int(built[:4]) + 1}{built[4:]}",
    }
    for (part, key), value in written.items():
        parts = [_written(text, key, value) if part in text else text for text in parts]
    parts = [re.sub(r"^save[sd]_\w+ = .*\n?", "", part, flags=re.MULTILINE) for part in parts]
    return "\n\n".join(part.rstrip("\n") for part in parts) + "\n"


def _panel_parts(design):
    """Return the parts of a station file that describe the panels of an invented station."""
    parts = []
    for facing_rad in design.panel_facing_rad:
        azimuth = np.degrees(facing_rad)
        lines = ["[[panel]]", f'name = "panel {_COMPASS[round(azimuth / 45.0) % 8]}"']
        lines += [f"rated_W = {design.panel_W:.0f}", "tilt_deg = 90"]
        lines += [f"azimuth_deg = {azimuth:.0f}", f"bottom_m = {design.panel_bottom_m:.2f}"]
        parts.append("\n".join(lines))
    return parts


def _written(text, key, value):
    """Return the part of a station file with another value, its remark kept."""
    text = re.sub(rf"^{key} = [^#\n]*", f"{key} = {value}  ", text, count=1, flags=re.MULTILINE)
    return re.sub(r" +$", "", text, flags=re.MULTILINE)


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
