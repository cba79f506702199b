"""The parts of a field sheet for a station that stays, in the order of the work."""

from ..station.expected_site import tightening_order
from .sheet_parts import (
    NUMBER,
    PHOTO,
    RAISE_KIND,
    SET_UP_KIND,
    SWAP_KIND,
    TEXT,
    Item,
    Part,
    tick,
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


def take(found, *names):
    """Return the items whose keys begin with one of some names, in the order of the work."""
    return tuple(item for key, item in found.items() if key.startswith(names))


def arrival(kind):
    """Return what is done first; at a station that stands, before anything is touched."""
    items = [
        tick("ground_probed", "Ground probed, work area flagged, roped as your operator says"),
        tick("place_checked", "Place is the planned one (receiver or hand-held)"),
        tick("pickup_known", "Pick-up time and radio check agreed"),
    ]
    if kind != SET_UP_KIND:
        items += [
            tick("seen_before_touched", "Photographs before anything is touched"),
            Item("found_tape_m", NUMBER, "Antenna height as found, marker to reference point", "m",
                 how="Before anything is touched", must=kind in (RAISE_KIND, SWAP_KIND)),
            Item("found_lean_deg", NUMBER, "Mast's lean as found", "deg", must=False),
            Item("found_lean_toward_deg", NUMBER, "  toward azimuth", "deg", must=False),
        ]  # fmt: skip
    return Part("On arrival", tuple(items))


def frame(described, found):
    """Return frame and mast."""
    items = []
    frame, mast = described.settings.frame, described.settings.mast
    if frame is not None:
        deep = f"{frame.embedded_m:g} m deep" if frame.embedded_m else "standing firm"
        items.append(tick("legs_set", f"{frame.legs} legs {deep}, bolts tight"))
    items.append(tick("mast_set", f"Mast {mast.embedded_m:g} m deep, {mast.free_m:g} m free"))
    toward = Item("mast_lean_toward_deg", NUMBER, "Mast leans toward azimuth", "deg", must=False)
    return Part("Frame and mast", (*items, *take(found, "mast_lean"), toward))


def guys(described, found):
    """Return the guys in their order of tightening."""
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
    return Part("Guys", (*take(found, "guy_"), done), note)


def box(described):
    """Return the box."""
    items = [
        tick("box_dry", "Box dry, seals whole, cables strain-relieved"),
        tick("box_vents", "Vents open: batteries give hydrogen"),
        tick("fuses_right", "Fuses as in the plan, spares inside"),
    ]
    if described.design.box_depth_m is not None:
        items.append(tick("box_flagged", "Buried box: corner flags and depth written down"))
    return Part("Box", tuple(items))


def battery(found):
    """Return the batteries' readings."""
    done = tick("terminals_covered", "Terminals tight, greased, covered")
    return Part("Batteries", (*take(found, "battery_"), done))


def wiring(found):
    """Return panels and wiring: insulation first, then volts, then currents."""
    rest = take(found, "plus_", "turbine_", "controller_", "heater_", "fuse_")
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


def antenna(described, kind):
    """Return the antenna with the three ways to its height."""
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
        Item("antenna_type", TEXT, "Antenna, 20 characters", must=kind in (SET_UP_KIND, SWAP_KIND)),
        Item("antenna_serial", TEXT, "Antenna's serial"),
    ]  # fmt: skip
    return Part("Antenna", tuple(items))


def receiver(described, found, kind):
    """Return the receiver and its first fix."""
    settings = described.settings
    currents = tuple(
        item for key, item in found.items() if key.endswith("_A") and "_short_" not in key
    )
    cable = take(found, "antenna_shield", "antenna_core", "antenna_port")
    systems = ", ".join(settings.recording.systems)
    items = [
        *cable,
        *currents,
        tick("marker_name", f"Marker name in the receiver is {described.name}"),
        tick("recording_set", f"Every {settings.recording.interval_s:g} s: {systems}"),
        tick("log_on_boot", "Logs by itself after power comes back"),
        tick("clock_right", "Clock and date are right (UTC or GPS)"),
        Item("receiver_type", TEXT, "Receiver", must=kind == SWAP_KIND),
        Item("receiver_serial", TEXT, "Receiver's serial"),
        Item("firmware", TEXT, "Firmware", must=False),
        *take(found, "satellites", "strength_", "place_off"),
    ]
    return Part("Receiver and first fix", tuple(items))


def restart(found):
    """Return cut-off and restart."""
    items = [
        *take(found, "disconnect_V", "reconnect_V"),
        tick("restarted_alone", "Power cut and given back: all came back untouched"),
        *take(found, "file_grows"),
        tick("logged_after_cut", "File grows after the cut, size read twice"),
        tick("message_sent", "Message sent and seen at home", must=False),
    ]
    return Part("Cut-off and restart", tuple(items))


def photographs(rows=PHOTOS):
    """Return the photographs."""
    return Part("Photographs", tuple(Item(key, PHOTO, label) for key, label in rows))


def leaving():
    """Return what is done last."""
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


def data_kept():
    """Return the last data: copied and proven before any power goes."""
    return Part(
        "Last data",
        (
            Item("last_epoch", TEXT, "Last epoch logged, UTC"),
            tick("data_copied", "All files copied, to two carriers"),
            tick("data_verified", "Each copy: number, sizes and sums of files as on the station"),
            tick("last_file_opened", "Last file of each copy opened and read to its end"),
            tick("settings_kept", "Settings of receiver and logger saved with the data"),
            Item("clock_off_s", NUMBER, "Logger's clock less UTC", "s", must=False),
        ),
        "Before any power goes: what is only on the station is lost with it",
    )


def changing(kind):
    """Return what a raise or a swap adds before it begins; no item at another visit."""
    if kind == RAISE_KIND:
        return Part(
            "Raise",
            (
                tick("old_height_read", "Height as found read twice, by two people, and written"),
                Item("raised_by_m", NUMBER, "Pole grows by", "m", how="Tape along the pole"),
                tick("same_marker", "Marker is the same, or its shift is under [marker_moved]"),
                tick("guys_slackened", "Guys slackened in order, one belayed; nobody below"),
            ),
            "Height after: under Antenna, three ways again",
        )
    if kind == SWAP_KIND:
        return Part(
            "Swap",
            (
                Item("old_receiver_serial", TEXT, "Receiver taken out: serial"),
                Item("old_antenna_serial", TEXT, "Antenna taken out or left: serial"),
                tick("ports_dead", "Power off before an antenna or receiver is parted"),
                tick("old_labelled", "What was taken out labelled: station, date, why"),
            ),
            "New serials under Antenna and Receiver; height after: three ways again",
        )
    return Part("Changes", ())
