"""Which products lie in a campaign's folder: found by content, chosen by what they cover."""

import re
from dataclasses import asdict, dataclass

import numpy as np

from .. import __version__
from ..campaign.folders import LEDGER, PRODUCTS
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.store import sha256_file
from ..constants import NS_PER_S
from ..errors import FormatError
from ..formats import rinex_clk, rinex_nav, sp3
from ..formats.compression import open_bytes
from ..formats.recognise import recognise
from .product_sums import SUMS_FILE
from .products import ProductFiles

ORBIT_MARGIN_NS = 3 * 3600 * NS_PER_S  # interpolation wants nodes on both sides of an arc
BROADCAST_LIFE_NS = 4 * 3600 * NS_PER_S  # age at which broadcast messages are stale
_LONG_NAME = re.compile(r"([A-Z0-9]{3}\d[A-Z0-9]{3}[A-Z0-9]{3})_\d{11}_")
_SHORT_NAME = re.compile(r"([A-Z0-9]{3})\d{5}\.")
_HALF = 0.5  # of a day with precise orbits; under it broadcast ones are used; our choice
_ALWAYS = {"antex": "antennas", "sinex": "offsets", "blq": "loading"}
_ALWAYS |= {"orientation": "orientation", "biases": "biases"}
PRODUCT_KINDS = frozenset({"sp3", "clocks", "navigation", *_ALWAYS})


@dataclass(frozen=True)
class ProductEntry:
    """One product file: what it holds and from when to when (0, 0: for all times)."""

    path: str
    sha256: str
    kind: str
    agency: str = ""
    first_ns: int = 0
    last_ns: int = 0
    problem: str = ""

    def overlap_ns(self, first_ns, last_ns):
        """Return how much of a span the file covers. [ns]"""
        return max(0, min(self.last_ns, last_ns) - max(self.first_ns, first_ns) + 1)


def scan(campaign):
    """Return a list of :class:`ProductEntry` of all files below the campaign's products folder.

    Files seen before with the same checksum are taken from the ledger; one that cannot be read
    has its ``problem`` set.
    """
    ledger = Ledger(campaign.root, LEDGER)
    found = []
    for path in sorted(campaign.folder(PRODUCTS).rglob("*")):
        if not path.is_file() or path.name.startswith(".") or path.name == SUMS_FILE:
            continue
        name = campaign.relative(path)
        checksum = sha256_file(path)[1]
        task = f"products/{fingerprint(name)[:24]}"
        key = fingerprint([name, checksum, __version__])
        record = ledger.read(task)
        if record and record["key"] == key:
            found.append(ProductEntry(**record["entry"]))
            continue
        entry = _examine(path, name, checksum)
        ledger.finish(task, key, {}, entry=asdict(entry))
        found.append(entry)
    return found


def _examine(path, name, checksum):
    """Return the :class:`ProductEntry` of one file."""
    try:
        kind = recognise(open_bytes(path)[0][1], name)
        if kind == "sp3":
            table = sp3.read_sp3(path)
            return _spanned(name, checksum, kind, table.agency, table.time_ns)
        if kind == "clocks":
            table = rinex_clk.read_clocks(path)
            return _spanned(name, checksum, kind, table.agency, table.time_ns)
        if kind == "navigation":
            table = rinex_nav.read_navigation(path)
            times = [table.kepler.time_of_ephemeris_ns, table.state_vector.time_of_ephemeris_ns]
            return _spanned(name, checksum, kind, "", np.concatenate(times))
    except (FormatError, IndexError) as problem:
        return ProductEntry(name, checksum, "unreadable", problem=str(problem))
    return ProductEntry(name, checksum, kind)


def _spanned(name, checksum, kind, agency, time_ns):
    if len(time_ns) == 0:
        return ProductEntry(name, checksum, "unreadable", problem=f"{name}: holds no epoch")
    first, last = int(np.min(time_ns)), int(np.max(time_ns))
    return ProductEntry(name, checksum, kind, centre_of(name, agency), first, last)


def centre_of(name, agency):
    """Return which centre's solution a file is of, so that orbits and clocks can be paired.

    The forms of product names say it (``GRG0MGXFIN`` of the long form, ``igs`` of the short one:
    IGS guidelines for long product file names 2.0, section 3); headers write it differently in
    orbits and clocks, so their first three letters are used only where the name has no form.
    """
    stem = name.rpartition("/")[2].upper()
    long, short = _LONG_NAME.match(stem), _SHORT_NAME.match(stem)
    return long[1] if long else short[1] if short else agency.strip()[:3].upper()


def choose(index, first_ns, last_ns, core_ns=None):
    """Return the entries to use for a span, as {kind of ProductFiles: entries in order of time}.

    Orbits and clocks are those of the one centre that covers most of the core (the span itself
    where none is given), orbits counting first; of equals the first in the alphabet is taken.
    Where precise orbits cover less than half of the core and broadcast messages are there, these
    are used alone: a day is not lost for orbits that were never fetched.
    """
    core_ns = core_ns or (first_ns, last_ns)
    span = (first_ns - ORBIT_MARGIN_NS, last_ns + ORBIT_MARGIN_NS)
    chosen = {_ALWAYS[kind]: _of(index, kind) for kind in _ALWAYS}
    near = (first_ns - BROADCAST_LIFE_NS, last_ns + BROADCAST_LIFE_NS)
    chosen["navigation"] = [e for e in _of(index, "navigation") if e.overlap_ns(*near)]
    orbits = [e for e in _of(index, "sp3") if e.overlap_ns(*span)]
    clocks = [e for e in _of(index, "clocks") if e.overlap_ns(*span)]
    scores = {}
    for agency in {entry.agency for entry in orbits}:
        own = share_covered([e for e in orbits if e.agency == agency], *core_ns)
        ticks = share_covered([e for e in clocks if e.agency == agency], *core_ns)
        scores[agency] = (-round(own, 2), -round(ticks, 2), agency)
    best = min(scores, key=scores.get) if scores else None
    if best is not None and -scores[best][0] < _HALF and chosen["navigation"]:
        best = None
    chosen["orbits"] = [e for e in orbits if e.agency == best]
    chosen["clocks"] = [e for e in clocks if e.agency == best]
    if len(scores) == 1 and best is not None and len({e.agency for e in clocks}) == 1:
        chosen["clocks"] = clocks  # one centre each: they are meant for each other
    return chosen


def _of(index, kind):
    return sorted((e for e in index if e.kind == kind), key=lambda e: (e.first_ns, e.path))


def share_covered(entries, first_ns, last_ns):
    """Return the fraction of a span that entries cover, overlaps counted once."""
    covered, reached = 0, first_ns
    for entry in sorted(entries, key=lambda e: e.first_ns):
        begins = max(entry.first_ns, reached)
        ends = min(entry.last_ns, last_ns)
        covered += max(0, ends - begins)
        reached = max(reached, ends)
    return covered / max(1, last_ns - first_ns)


def files_of(campaign, chosen):
    """Return the :class:`ProductFiles` of a choice, with paths that can be opened."""
    paths = {k: tuple(str(campaign.root / e.path) for e in v) for k, v in chosen.items()}
    return ProductFiles(**paths)
