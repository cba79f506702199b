"""What people can be hurt by, as data: every result that someone acts on carries its sentences.

Written for this project from what is common practice in the field; no source. They replace neither
a local code nor a person with a licence.
"""

ESTIMATE = (
    "Figures are engineering estimates: confirm with licensed practice and local codes. These, the "
    "carrier's rules and the maker's instructions decide."
)
LIFTING = (
    "Lifting: weigh before lifting, two or more people or a hoist for what is heavy, no lifting "
    "alone, in gloves that grip, never over somebody else; cold and altitude take strength."
)
DRILLING = (
    "Drilling: hair, cords and scarves tied away; brace against the drill catching; two hands or a "
    "torque bar; eyes and ears covered; steam and hot water scald; know what lies below."
)
GUY_WIRES = (
    "Guy wires: stay out of the line of a wire under tension, tighten opposite guys in turn, "
    "gloves and eye protection, mark every wire and anchor against tripping and vehicles."
)
FRAMES = (
    "Frames and masts: nobody below while one is raised or lowered; keep one guy belayed until all "
    "hold; do not climb; do not raise in wind; check bolts at each visit, metal is brittle in cold."
)
ROTORS = (
    "Rotors: stop and tie the blades before coming near, short-circuit only as the maker says; "
    "blades throw ice; a rotor can start at any time."
)
BATTERIES = (
    "Batteries: they give hydrogen, hold acid and can weld tools; ventilate, cover terminals, no "
    "flame; lithium is not charged below 0 degC and burns if damaged."
)
AIR_CARGO = (
    "Air cargo: batteries, fuel and gas are dangerous goods; ask the carrier before packing, "
    "declare all, follow its packing and marking."
)
TAKING_DOWN = (
    "Taking down: panels covered and parted first; batteries parted one terminal at a time, each "
    "capped and each cable end taped at once, tools insulated, no ring or watch; a bank that was "
    "cold or empty for long may have frozen, burst or leaked."
)
DIGGING = (
    "Digging: pits wide with sloped sides, never alone in one, none below a mast or a guyed leg "
    "that still stands; by hand near cables and wires; frozen-in parts are freed, not pulled."
)
GROUND = (
    "Ground: snow bridges hide crevasses; probe the work site, rope up by your operator's rules; "
    "melt and drained lakes open new ones."
)
STORM = (
    "Storm: nothing is mended in the wind that breaks it; flying parts and cold injure. Leave and "
    "come back."
)

BRIEF = {  # by the word before the colon: what a page says where there is no room for the whole
    "Lifting": "weigh first, enough people or a hoist, never alone, never over somebody.",
    "Drilling": "nothing loose near the drill, brace it, know what lies below.",
    "Guy wires": "out of the line of a wire under tension; opposite ones tightened in turn.",
    "Frames and masts": "nobody below, not in wind, one guy belayed until all hold.",
    "Rotors": "stopped and tied before anybody comes near; blades throw ice.",
    "Batteries": "gas, acid, fire: ventilate, cover terminals, no lithium charged in frost.",
    "Heaters": "a second cut-out and a fuse; nothing that burns beside one.",
    "Air cargo": "batteries, fuel and gas are dangerous goods: ask the carrier first.",
    "Taking down": "panels parted first, batteries one terminal at a time, tools insulated.",
    "Digging": "wide pits, sloped sides, never alone, none below what still stands.",
    "Ground": "snow bridges hide crevasses: probe, rope up, melt opens new ones.",
    "Storm": "nothing is mended in the wind that breaks it.",
}


def brief(caution):
    """Return a caution in one short line; whole where it has no shorter form."""
    about, colon, _ = caution.partition(":")
    return f"{about}{colon} {BRIEF[about]}" if about in BRIEF else caution
