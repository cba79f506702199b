"""From a station's plan to its field sheet: the order of the work, with what to expect."""

import math
from dataclasses import dataclass, replace

import numpy as np

from ..station.cautions import (
    BATTERIES,
    DRILLING,
    ESTIMATE,
    FRAMES,
    GROUND,
    GUY_WIRES,
    LIFTING,
    ROTORS,
    STORM,
)
from ..station.expectation import band_text, number_text
from ..station.expected_panels import Conditions
from ..station.expected_power import charge_table
from ..station.expected_site import readings_of, tightening_order
from ..station.light_band import UNKNOWN, Place, light_band
from ..time import gps_from_utc, iso
from .plan_description import StationDescription
from .sheet_parts import (
    NUMBER,
    PHOTO,
    SET_UP_KIND,
    TEXT,
    VISIT_KIND,
    Item,
    Part,
    Sheet,
    tick,
)

COLD = (
    "Cold: two people look after each other's face and hands; metal burns bare skin; readings in "
    "turns, warm up between."
)
HEATED = "Panels: light makes them live; cover them before you join or part wires."
SHORTED = "Shorting a panel draws an arc when it is taken off: cover first, 10 A input only."
HOWS = (  # the end of a reading's key, and what it is called where its handling is told
    ("guy_1_N", "Guys"),
    ("battery_rest_V", "Battery"),
    ("plus_to_frame_ohm", "Insulation"),
    ("_cable_ohm", "Cables"),
    ("_open_V", "Open voltage"),
    ("_short_A", "Shorted panel"),
    ("heater_ohm", "Heater"),
    ("turbine_open_V", "Turbine"),
    ("fuse_drop_V", "Fuse"),
    ("disconnect_V", "Cut-off"),
)
PHOTOS = (
    ("photo_north", "from the north, all of it"),
    ("photo_east", "from the east"),
    ("photo_south", "from the south"),
    ("photo_west", "from the west"),
    ("photo_antenna", "antenna with tape held to it"),
    ("photo_marker", "marker and snow, with a scale"),
    ("photo_box", "box open, wiring"),
    ("photo_serials", "serial numbers"),
)


@dataclass(frozen=True)
class Moment:
    """When a sheet is for and in what weather; ``utc_ns``, ``battery_degC`` None as the air."""

    utc_ns: int
    sky: str = UNKNOWN
    temperature_degC: float = -20.0
    wind_m_s: float = 5.0
    battery_degC: float | None = None
    assumed: tuple = ()

    @property
    def time_ns(self):
        """Return GPS time. [ns]"""
        return int(gps_from_utc(self.utc_ns))


def conditions_of(described: StationDescription, moment, *, latitude_deg=None, time_ns=None):
    """Return the :class:`~stakeline.station.expected_panels.Conditions` of a station then.

    ``latitude_deg`` and ``time_ns`` stand in for the true ones, to ask what another hemisphere or
    season would show.
    """
    site = described.design.site
    latitude = site.latitude_deg if latitude_deg is None else latitude_deg
    place = Place(
        moment.time_ns if time_ns is None else time_ns,
        math.radians(latitude),
        math.radians(site.longitude_deg),
        site.elevation_m,
        moment.sky,
        site.albedo,
    )
    battery = moment.battery_degC
    air = moment.temperature_degC
    return Conditions(place, air, moment.wind_m_s, air if battery is None else battery)


def expectations(described, moment, **instead):
    """Return every expected reading of a station at a :class:`Moment`."""
    return readings_of(
        described.design,
        described.guys,
        conditions_of(described, moment, **instead),
        compensated=described.settings.controller.compensated,
    )


def build_sheet(described, moment, history=None, expected=None):
    """Return the :class:`Sheet` of a station.

    Parameters
    ----------
    described : StationDescription
    moment : Moment
    history : StationHistory, optional
        Where there is one, the sheet is a visit's: what is found is read before it is touched.
    expected : tuple of Expectation, optional
        Of :func:`expectations`, where somebody has them already.
    """
    found = {e.key: reading_item(e) for e in expected or expectations(described, moment)}
    kind = SET_UP_KIND if history is None else VISIT_KIND
    if kind == VISIT_KIND:
        # the ice has carried it away from the planned place; how far is no fault
        found["place_off_m"] = replace(found["place_off_m"], band="", expected="", must=False)
    parts = [_arrival(kind), _frame(described, found), _guys(described, found)]
    parts += [_box(described), _battery(found), _wiring(found), _antenna(described, kind)]
    parts += [_receiver(described, found), _restart(found), _photographs(), _leaving()]
    return Sheet(
        station=described.name,
        kind=kind,
        facts=_facts(described, history),
        conditions=_conditions(described, moment),
        parts=tuple(part for part in parts if part.items),
        charge=_charge(described, moment),
        rim=(described.settings.antenna.width_m / 2.0, 0.0, described.settings.mast.diameter_m / 2),
        cautions=_cautions(described),
        hows=tuple(
            (what, item.how)
            for ending, what in HOWS
            if (item := next((i for i in found.values() if i.key.endswith(ending)), None))
        ),
    )


def reading_item(expectation):
    """Return an expected reading as an item of a sheet."""
    e = expectation
    return Item(
        key=e.key,
        kind=NUMBER,
        label=f"{e.part}, {e.what}",
        unit=e.unit,
        band=band_text(e) if not e.why_not else "",
        expected=number_text(e.expected) if math.isfinite(e.most) else "",
        how=e.how,
        must=e.must,
        why_not=e.why_not,
    )


def _take(found, *names):
    """Return the items whose keys begin with one of some names, in the order of the work."""
    return tuple(item for key, item in found.items() if key.startswith(names))


def _arrival(kind):
    items = [
        tick("ground_probed", "Ground probed, work area flagged, roped as your operator says"),
        tick("place_checked", "Place is the planned one (receiver or hand-held)"),
        tick("pickup_known", "Pick-up time and radio check agreed"),
    ]
    if kind == VISIT_KIND:
        items += [
            tick("seen_before_touched", "Photographs before anything is touched"),
            Item("found_tape_m", NUMBER, "Antenna height as found, marker to reference point", "m",
                 how="Before anything is touched", must=False),
            Item("found_lean_deg", NUMBER, "Mast's lean as found", "deg", must=False),
            Item("found_lean_toward_deg", NUMBER, "  toward azimuth", "deg", must=False),
        ]  # fmt: skip
    return Part("On arrival", tuple(items))


def _frame(described, found):
    items = []
    frame, mast = described.settings.frame, described.settings.mast
    if frame is not None:
        deep = f"{frame.embedded_m:g} m deep" if frame.embedded_m else "standing firm"
        items.append(tick("legs_set", f"{frame.legs} legs {deep}, bolts tight"))
    items.append(tick("mast_set", f"Mast {mast.embedded_m:g} m deep, {mast.free_m:g} m free"))
    toward = Item("mast_lean_toward_deg", NUMBER, "Mast leans toward azimuth", "deg", must=False)
    return Part("Frame and mast", (*items, *_take(found, "mast_lean"), toward))


def _guys(described, found):
    count = len(described.guys)
    if not count:
        return Part("Guys", ())
    order = " - ".join(str(number) for number in tightening_order(count))
    share = described.settings.guys.pretension_share
    note = (
        f"Order {order}: all hand-tight, then half, then full. Target {share:.0%} of the breaking "
        f"load; plumb the mast between rounds"
    )
    done = tick("guys_marked", "Shackles moused, wires and anchors flagged")
    return Part("Guys", (*_take(found, "guy_"), done), note)


def _box(described):
    items = [
        tick("box_dry", "Box dry, seals whole, cables strain-relieved"),
        tick("box_vents", "Vents open: batteries give hydrogen"),
        tick("fuses_right", "Fuses as in the plan, spares inside"),
    ]
    if described.design.box_depth_m is not None:
        items.append(tick("box_flagged", "Buried box: corner flags and depth written down"))
    return Part("Box", tuple(items))


def _battery(found):
    done = tick("terminals_covered", "Terminals tight, greased, covered")
    return Part("Batteries", (*_take(found, "battery_"), done))


def _wiring(found):
    rest = _take(found, "plus_", "turbine_", "controller_", "heater_", "fuse_")
    panels = tuple(
        item
        for key, item in found.items()
        if key.endswith(("_open_V", "_short_A", "_cable_ohm")) and item not in rest
    )
    first = tuple(item for item in rest if item.key.startswith("plus_"))
    return Part(
        "Panels and wiring",
        (*first, *panels, *(item for item in rest if item not in first)),
        "Insulation first, then open voltages with polarity, then currents",
    )


def _antenna(described, kind):
    width = described.settings.antenna.width_m
    items = [
        Item("height_tape_m", NUMBER, "A  tape, marker to reference point", "m",
             how="Along the pole, to the millimetre"),
        *(Item(f"height_slope_{i}_m", NUMBER, f"B{i}  slope, marker to rim", "m",
               how="Three places round the rim, the first above the marker") for i in (1, 2, 3)),
        Item("height_second_in", NUMBER, "C  second person, in inches", "in",
             how="As A, by somebody who has not seen A"),
        Item("rim_from_axis_m", NUMBER, f"Radius of the rim (plan {width / 2:g})", "m", must=False),
        Item("rim_above_reference_m", NUMBER, "Rim above reference point", "m", must=False),
        Item("mark_off_axis_m", NUMBER, "Marker from the pole's axis", "m", must=False),
        Item("mark_above_snow_m", NUMBER, "Marker above snow (buried: minus)", "m"),
        tick("antenna_north", "North mark of the antenna to true north"),
        Item("antenna_type", TEXT, "Antenna, 20 characters", must=kind == SET_UP_KIND),
        Item("antenna_serial", TEXT, "Antenna's serial"),
    ]  # fmt: skip
    return Part("Antenna", tuple(items))


def _receiver(described, found):
    settings = described.settings
    currents = tuple(
        item for key, item in found.items() if key.endswith("_A") and "_short_" not in key
    )
    cable = _take(found, "antenna_shield", "antenna_core", "antenna_port")
    systems = ", ".join(settings.recording.systems)
    items = [
        *cable,
        *currents,
        tick("marker_name", f"Marker name in the receiver is {described.name}"),
        tick("recording_set", f"Every {settings.recording.interval_s:g} s: {systems}"),
        tick("log_on_boot", "Logs by itself after power comes back"),
        tick("clock_right", "Clock and date are right (UTC or GPS)"),
        Item("receiver_type", TEXT, "Receiver", must=False),
        Item("receiver_serial", TEXT, "Receiver's serial"),
        Item("firmware", TEXT, "Firmware", must=False),
        *_take(found, "satellites", "strength_", "place_off"),
    ]
    return Part("Receiver and first fix", tuple(items))


def _restart(found):
    items = [
        *_take(found, "disconnect_V", "reconnect_V"),
        tick("restarted_alone", "Power cut and given back: all came back untouched"),
        *_take(found, "file_grows"),
        tick("logged_after_cut", "File grows after the cut, size read twice"),
        tick("message_sent", "Message sent and seen at home", must=False),
    ]
    return Part("Cut-off and restart", tuple(items))


def _photographs():
    return Part("Photographs", tuple(Item(key, PHOTO, label) for key, label in PHOTOS))


def _leaving():
    return Part(
        "Before you leave",
        (
            tick("copied", "Sheet photographed, entries copied twice"),
            tick("tools_counted", "Tools and rubbish counted, nothing loose"),
            tick("box_closed", "Box closed, lid strapped, switch on"),
            tick("rotor_free", "Rotor untied, people clear", must=False),
            tick("waypoint", "Waypoint and flags noted for the next visit"),
        ),
    )


def _facts(described, history):
    site, design = described.design.site, described.design
    latitude, longitude = _degrees(site.latitude_deg, "NS"), _degrees(site.longitude_deg, "EW")
    rows = [
        ("Planned place", f"{latitude}  {longitude}"),
        ("Height", f"{site.elevation_m:.0f} m, on {site.surface}"),
        ("Battery", _battery_words(design.bank)),
        ("Panels", _panel_words(design)),
        ("Loads", f"{design.mean_W:.1f} W mean"),
    ]
    if design.turbine is not None:
        rows.append(("Turbine", f"{design.turbine.rated_W:.0f} W, {design.turbine.diameter_m:g} m"))
    if history is not None:
        last = history.content.visit[-1]
        up = history.height_at(last.time_ns)[0]
        rows.append(("Last visit", f"{last.time:%Y-%m-%d}, antenna left at {up:.3f} m"))
    return tuple(rows)


def _degrees(angle, letters):
    """Return degrees and decimal minutes, as hand-helds show them, and the degrees."""
    size = abs(angle)
    degrees = int(size)
    return f"{degrees}° {(size - degrees) * 60.0:06.3f}' {letters[angle < 0]}"


def _battery_words(bank):
    blocks = bank.series * bank.parallel
    return f"{blocks} x {bank.block_V:g} V {bank.block_Ah:g} A h, {bank.chemistry}"


def _panel_words(design):
    return (
        ", ".join(
            f"{group.count} x {group.panel.rated_W:g} W toward {group.azimuth_deg:.0f}°"
            for group in design.panels
        )
        or "none"
    )


def _conditions(described, moment):
    where = conditions_of(described, moment)
    sun = light_band(where.place, 0.0, 0.0, described.design.site.horizon)
    elevation, azimuth = np.degrees([sun.sun_elevation_rad, sun.sun_azimuth_rad])
    mark = {name: " (assumed)" for name in moment.assumed}
    place = f"{elevation:.1f}° high, azimuth {azimuth:.0f}°" if elevation > 0 else "below horizon"
    return (
        ("Time", f"{iso(moment.utc_ns)[:16].replace('T', ' ')} UTC{mark.get('time', '')}"),
        ("Sun", place),
        ("Sky", f"{moment.sky}{mark.get('sky', '')}"),
        ("Air", f"{moment.temperature_degC:g} °C{mark.get('temperature', '')}"),
        ("Wind", f"{moment.wind_m_s:g} m/s{mark.get('wind', '')}"),
    )


def _charge(described, moment):
    degrees = conditions_of(described, moment).battery_degC
    return tuple(
        (f"{charge:.0%}", f"{volts:.2f} V", "-" if freezes != freezes else f"{freezes:.0f} °C")
        for charge, volts, freezes in charge_table(described.design.bank, degrees)
    )


def _cautions(described):
    design = described.design
    found = [GROUND, COLD, LIFTING, FRAMES, BATTERIES]
    found += [HEATED, SHORTED] if design.panels else []
    found += [GUY_WIRES] if described.guys else []
    found += [ROTORS] if design.turbine is not None else []
    found += [DRILLING] if described.drilled else []
    return (*found, STORM, ESTIMATE)
