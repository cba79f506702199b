"""What must fly: bill of materials, loads of an aircraft, dangerous goods, what people can lift."""

import math
from collections import Counter
from dataclasses import dataclass, field

from ..errors import SettingsError
from .cautions import AIR_CARGO, BATTERIES, ESTIMATE, LIFTING
from .checks import not_negative, positive

DANGEROUS = {  # UN Recommendations on the Transport of Dangerous Goods, list, from memory
    "lead-acid, wet": ("UN 2794", "batteries, wet, filled with acid"),
    "lead-acid, sealed": ("UN 2800", "batteries, wet, non-spillable"),
    "lithium-ion": ("UN 3480", "lithium ion batteries"),
    "lithium-ion in equipment": ("UN 3481", "lithium ion batteries with or in equipment"),
    "lithium metal": ("UN 3090", "lithium metal batteries"),
    "lithium metal in equipment": ("UN 3091", "lithium metal batteries with or in equipment"),
    "fuel, petrol": ("UN 1203", "gasoline or petrol"),
    "fuel, kerosene": ("UN 1223", "kerosene"),
    "gas, butane": ("UN 2037", "gas cartridges"),
}
ASK = "ask the carrier: packing, amount, state of charge and papers are its rules, not ours"
LIFT_ONE_KG = 23.0  # kg, one person, best posture; Waters et al. (1993), NIOSH lifting equation
LIFT_SHARE = 0.67  # -, of the sum, two people together; HSE manual handling guidance, from memory
LIFT_SHARE_MANY = 0.5  # -, three or more; the same, from memory
MOST_LIFTERS = 4  # -, around one box; common practice, no source


@dataclass(frozen=True)
class Item:
    """One line of the bill of materials.

    ``mass_kg``, ``volume_m3``: of one piece as packed. ``dangerous``: of :data:`DANGEROUS`, or
    empty. ``comes_back``: whether it must be taken out at the end.
    """

    name: str
    mass_kg: float
    volume_m3: float
    count: int = 1
    dangerous: str = ""
    comes_back: bool = True

    def __post_init__(self):
        positive(**{f"{self.name}, mass_kg": self.mass_kg})
        not_negative(**{f"{self.name}, volume_m3": self.volume_m3})
        if self.count != int(self.count) or self.count < 1:
            raise SettingsError(f"{self.name}: {self.count} pieces; expected a whole number from 1")
        if self.dangerous and self.dangerous not in DANGEROUS:
            raise SettingsError(
                f"{self.name}: dangerous good {self.dangerous!r} is not known; known are "
                f"{', '.join(DANGEROUS)}"
            )

    @property
    def cautions(self):
        """Sentences about carrying, flying and opening one."""
        flown = (AIR_CARGO,) if self.dangerous else ()
        cells = (BATTERIES,) if self.dangerous.startswith(("lead", "lithium")) else ()
        return (LIFTING, *flown, *cells, ESTIMATE)


@dataclass(frozen=True)
class Aircraft:
    """What one flight carries: payload left for cargo [kg] and its room [m3]."""

    payload_kg: float
    volume_m3: float

    def __post_init__(self):
        positive(payload_kg=self.payload_kg, volume_m3=self.volume_m3)


@dataclass(frozen=True)
class Flight:
    """One load: pieces by name, their mass and volume."""

    pieces: dict
    mass_kg: float
    volume_m3: float


@dataclass(frozen=True)
class Loads:
    """All flights, and the fewest that any packing could do with.

    ``fewest``: a bound from below, by mass, volume and pieces too large to share a flight.
    """

    flights: tuple
    fewest: int
    cautions: tuple = field(default=(AIR_CARGO, LIFTING, ESTIMATE))

    @property
    def at_best(self):
        """Whether no packing needs fewer flights."""
        return len(self.flights) == self.fewest


@dataclass(frozen=True)
class Totals:
    """Sums of a bill of materials; ``back_kg``: what must come out again."""

    pieces: int
    mass_kg: float
    volume_m3: float
    back_kg: float


def totals(items):
    """Return the :class:`Totals` of a bill of materials."""
    return Totals(
        pieces=sum(one.count for one in items),
        mass_kg=math.fsum(one.count * one.mass_kg for one in items),
        volume_m3=math.fsum(one.count * one.volume_m3 for one in items),
        back_kg=math.fsum(one.count * one.mass_kg for one in items if one.comes_back),
    )


def loads(items, aircraft):
    """Return the :class:`Loads`: each piece into the first flight with room, largest first.

    First fit, decreasing by the larger of its shares of payload and room. For one measure this
    needs 11/9 of the fewest and 2/3 at most (Dosa 2007, LNCS 4614, 1); for two no such bound, hence
    ``fewest``. Shape, balance, lashing and what must not fly together are the carrier's.

    Raises
    ------
    SettingsError
        For a piece that no flight can carry.

    Examples
    --------
    >>> found = loads([Item("battery", 32.0, 0.02, 10)], Aircraft(200.0, 3.0))
    >>> len(found.flights), found.fewest, found.flights[0].mass_kg
    (2, 2, 192.0)
    """
    pieces = [one for item in items for one in [item] * item.count]
    _check_each(items, aircraft)
    pieces.sort(key=lambda one: (-_share(one, aircraft), one.name))
    rooms: list[list[Item]] = []
    for piece in pieces:
        for room in rooms:
            if _fits([*room, piece], aircraft):
                room.append(piece)
                break
        else:
            rooms.append([piece])
    return Loads(tuple(_flight(room) for room in rooms), fewest_flights(items, aircraft))


def fewest_flights(items, aircraft):
    """Return a bound from below on flights: by mass, by volume, by pieces over half of one."""
    if not items:
        return 0
    all_of = totals(items)
    by_mass = math.ceil(all_of.mass_kg / aircraft.payload_kg - 1e-9)
    by_volume = math.ceil(all_of.volume_m3 / aircraft.volume_m3 - 1e-9)
    # two pieces over half in the same measure never share; count the measure with more of them
    by_size = max(
        sum(one.count for one in items if one.mass_kg > 0.5 * aircraft.payload_kg),
        sum(one.count for one in items if one.volume_m3 > 0.5 * aircraft.volume_m3),
    )
    return max(by_mass, by_volume, by_size, 1)


def _share(item, aircraft):
    return max(item.mass_kg / aircraft.payload_kg, item.volume_m3 / aircraft.volume_m3)


def _fits(room, aircraft):
    mass = math.fsum(one.mass_kg for one in room)
    volume = math.fsum(one.volume_m3 for one in room)
    return mass <= aircraft.payload_kg * (1 + 1e-12) and volume <= aircraft.volume_m3 * (1 + 1e-12)


def _check_each(items, aircraft):
    names = [one.name for one in items]
    twice = sorted(name for name, count in Counter(names).items() if count > 1)
    if twice:
        raise SettingsError(
            f"{', '.join(twice)} stands on more than one line; give its pieces on one line"
        )
    for one in items:
        if not _fits([one], aircraft):
            raise SettingsError(
                f"{one.name}: {one.mass_kg} kg and {one.volume_m3} m3; a flight carries "
                f"{aircraft.payload_kg} kg and {aircraft.volume_m3} m3: take it apart or ask for a "
                "larger aircraft"
            )


def _flight(room):
    return Flight(
        pieces=dict(Counter(one.name for one in room)),
        mass_kg=math.fsum(one.mass_kg for one in room),
        volume_m3=math.fsum(one.volume_m3 for one in room),
    )


@dataclass(frozen=True)
class Reminder:
    """One dangerous good of the bill: items, number and name of the list, mass, what to do."""

    number: str
    called: str
    items: tuple
    mass_kg: float
    remedy: str = ASK
    cautions: tuple = field(default=(AIR_CARGO, BATTERIES))


def reminders(items):
    """Return a :class:`Reminder` for each dangerous good on the bill, by number.

    A reminder, no declaration: an item that is not marked is not found.
    """
    found = []
    for kind in sorted({one.dangerous for one in items if one.dangerous}):
        these = [one for one in items if one.dangerous == kind]
        number, called = DANGEROUS[kind]
        mass = math.fsum(one.count * one.mass_kg for one in these)
        found.append(Reminder(number, called, tuple(one.name for one in these), mass))
    return sorted(found, key=lambda one: one.number)


def people_to_lift(mass_kg):
    """Return how many people lift a piece together, or None where a hoist must.

    One lifts 23 kg at the very best posture (Waters et al. 1993, Ergonomics 36, 749); two lift two
    thirds, three and more a half of the sum of what each could (HSE guidance, from memory). In
    gloves, on snow and at altitude it is less.
    """
    positive(mass_kg=mass_kg)
    for people in range(1, MOST_LIFTERS + 1):
        share = {1: 1.0, 2: LIFT_SHARE}.get(people, LIFT_SHARE_MANY)
        if mass_kg <= share * people * LIFT_ONE_KG:
            return people
    return None
