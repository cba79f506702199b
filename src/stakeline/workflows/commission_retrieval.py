"""The parts of a field sheet for taking a station away: data, power, digging, lowering, what stays.

The order is common practice, no source: what is measured and copied comes before what is
touched, rotor and panels before the bank they charge, all wires before the mast they hold.
"""

from dataclasses import replace

from ..station.expected_site import tightening_order
from .commission_parts import antenna, data_kept, photographs
from .sheet_parts import NUMBER, RETRIEVAL_KIND, TEXT, Item, Part, tick

PHOTOS = (
    ("photo_north", "as found, from the north"),
    ("photo_east", "as found, from the east"),
    ("photo_south", "as found, from the south"),
    ("photo_west", "as found, from the west"),
    ("photo_antenna", "antenna with tape held to it"),
    ("photo_marker", "marker and snow, with a scale"),
    ("photo_box", "box as opened: water, rime, wiring"),
    ("photo_damage", "what broke, bent or wore"),
    ("photo_serials", "serial numbers taken home"),
    ("photo_after", "the place after, with what is left"),
)
OPTIONAL_PHOTOS = ("photo_damage",)


def retrieval_parts(described, found):
    """Return the parts of a retrieval's sheet in the order of the work.

    Parameters
    ----------
    described : StationDescription
    found : dict of Item
        Expected readings by key; those of a standing bank may be taken, none must be.
    """
    return [
        _arrival(found),
        _final_height(described),
        data_kept(),
        _power_off(described),
        _digging(described),
        _lowering(described),
        _taken(),
        _left(),
        _photographs(),
        _leaving(),
    ]


def _arrival(found):
    bank = [replace(found[key], must=False) for key in ("battery_rest_V",) if key in found]
    return Part(
        "On arrival",
        (
            tick("ground_probed", "Ground probed, work area flagged, roped as your operator says"),
            tick("pickup_known", "Pick-up time and radio check agreed"),
            tick("lift_known", "Loads and masses known to the carrier, batteries declared"),
            tick("seen_before_touched", "Photographs before anything is touched"),
            Item("found_lean_deg", NUMBER, "Mast's lean as found", "deg", must=False),
            Item("found_lean_toward_deg", NUMBER, "  toward azimuth", "deg", must=False),
            *bank,
        ),
        "Rotor: stay clear until it is braked and tied",
    )


def _final_height(described):
    keys = ("antenna_north", "antenna_type", "antenna_serial")
    whole = antenna(described, RETRIEVAL_KIND)
    items = tuple(item for item in whole.items if item.key not in keys)
    note = "The last height, as found: nothing after it can put it right. Snow off, pole not moved"
    return replace(whole, items=items, note=note)


def _power_off(described):
    design = described.design
    items = []
    if design.turbine is not None:
        items.append(tick("rotor_braked", "Rotor braked and tied before anybody is under it"))
    items.append(tick("receiver_stopped", "Logging ended, receiver and logger shut down"))
    if design.panels:
        items.append(tick("panels_parted", "Panels covered, parted as the maker says, taped"))
    if design.turbine is not None:
        items.append(tick("rotor_parted", "Rotor's cable parted as its maker says, still tied"))
    items += [
        tick("battery_aired", "Box aired before it is touched: hydrogen; no flame, no spark"),
        tick("battery_parted", "Fuses out, batteries parted one terminal at a time"),
        tick("terminals_capped", "Each terminal capped, each cable end taped, at once"),
        tick("batteries_whole", "Batteries looked at: cracked, bulging or leaking ones set apart"),
    ]
    return Part("Power off", tuple(items), "In this order: what charges the bank before the bank")


def _digging(described):
    items = [tick("dug_free", "Box, cables and feet dug free by hand, nothing pulled")]
    items.append(tick("pits_safe", "Pits wide, sides sloped, nobody alone in one, edges flagged"))
    if described.design.box_depth_m is not None:
        deep = f"{described.design.box_depth_m:g} m at building"
        items.append(tick("box_up", f"Buried box ({deep}) up by hoist or many hands"))
    return Part("Digging", tuple(items))


def _lowering(described):
    count = len(described.guys)
    items = [
        tick("antenna_off", "Antenna off first, capped, in its case"),
        tick("fields_down", "Panels and rotor down while the mast still stands firm"),
    ]
    note = ""
    if count:
        order = " - ".join(str(number) for number in reversed(tightening_order(count)))
        note = f"Slacken in order {order}: all by half, then all; one belayed until the mast lies"
        items.append(tick("guys_slackened", "Guys slackened in order, nobody in line of a wire"))
    items += [
        tick("mast_down", "Mast lowered by belay, nobody below, no wind that moves it"),
        tick("lifted_together", "Heavy parts lifted by as many as the plan says, or a hoist"),
    ]
    return Part("Lowering", tuple(items), note)


def _taken():
    return Part(
        "Taken home",
        (
            Item("receiver_serial", TEXT, "Receiver's serial"),
            Item("antenna_serial", TEXT, "Antenna's serial"),
            Item("firmware", TEXT, "Firmware", must=False),
            tick("batteries_packed", "Batteries packed as the carrier says, damaged ones apart"),
            tick("list_counted", "All parts counted against the plan's list"),
            tick("waste_home", "All waste: wire, tape, foam, spilled acid and its snow"),
        ),
    )


def _left():
    return Part(
        "Left behind",
        (
            Item("left_what", TEXT, 'What stays, or "nothing"'),
            Item("left_where", TEXT, "Where: position, how deep its top"),
            tick("left_allowed", "Permit allows what stays; it is reported to who gave it"),
            tick("left_flagged", "What stands out is flagged or cut low; pits filled"),
        ),
        "Melt brings it up again: cable, pole and anchor are found by somebody's machine",
    )


def _photographs():
    part = photographs(PHOTOS)
    items = [replace(item, must=item.key not in OPTIONAL_PHOTOS) for item in part.items]
    return replace(part, items=tuple(items))


def _leaving():
    return Part(
        "Before you leave",
        (
            tick("copied", "Sheet photographed, entries copied twice"),
            tick("carriers_apart", "The two carriers of data travel apart"),
            tick("tools_counted", "Tools counted, place walked over once more"),
        ),
    )
