"""What people can be hurt by, as data: every result that someone acts on carries its sentences.

Written for this project from what is common practice in the field; no source. They replace neither
a local code nor a person with a licence.
"""

ESTIMATE = (
    "Figures are engineering estimates. Local codes, the carrier's rules, the maker's instructions "
    "and licensed practice decide."
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
GROUND = (
    "Ground: snow bridges hide crevasses; probe the work site, rope up by your operator's rules; "
    "melt and drained lakes open new ones."
)
STORM = (
    "Storm: nothing is mended in the wind that breaks it; flying parts and cold injure. Leave and "
    "come back."
)
