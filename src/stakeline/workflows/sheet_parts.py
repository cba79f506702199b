"""A field sheet as data: what paper, page and file of readings are all made from."""

from dataclasses import asdict, dataclass

TICK, NUMBER, TEXT, PHOTO = "tick", "number", "text", "photo"
SET_UP_KIND, VISIT_KIND = "set-up", "visit"
RAISE_KIND, SWAP_KIND, RETRIEVAL_KIND = "raise", "swap", "retrieval"
KINDS = (SET_UP_KIND, VISIT_KIND, RAISE_KIND, SWAP_KIND, RETRIEVAL_KIND)


@dataclass(frozen=True)
class Item:
    """One thing to do, read, write down or photograph.

    Attributes
    ----------
    key : str
        Its name in a file of readings and on the page.
    kind : str
        ``tick``, ``number``, ``text`` or ``photo``.
    label : str
    unit, band, expected, how : str
        Of a number; '' where there is none.
    must : bool
        Whether the site is not left without it.
    why_not : str
        Why it is not to be taken now.
    """

    key: str
    kind: str
    label: str
    unit: str = ""
    band: str = ""
    expected: str = ""
    how: str = ""
    must: bool = True
    why_not: str = ""


@dataclass(frozen=True)
class Part:
    """A part of the work: title, a note, items in order."""

    title: str
    items: tuple
    note: str = ""


@dataclass(frozen=True)
class Sheet:
    """All that a field sheet shows.

    Attributes
    ----------
    station, kind : str
        ``kind``: of :data:`KINDS`.
    facts, conditions : tuple of (str, str)
        Site data, and the weather and time that the readings are for.
    parts : tuple of Part
    charge : tuple of (str, str, str)
        Charge, rest voltage, freezing temperature.
    rim : tuple of 3 float
        Radius of the rim, its height over the reference point, pole's radius. [m]
    cautions : tuple of str
    hows : tuple of (str, str)
        How to hold the meter, for each kind of reading.
    """

    station: str
    kind: str
    facts: tuple
    conditions: tuple
    parts: tuple
    charge: tuple
    rim: tuple
    cautions: tuple
    hows: tuple = ()

    def items(self):
        """Return all items in order."""
        return [item for part in self.parts for item in part.items]

    def as_data(self):
        """Return the sheet as parts that JSON has."""
        return asdict(self)


def tick(key, label, must=True):
    """Return an item to tick."""
    return Item(key, TICK, label, must=must)
