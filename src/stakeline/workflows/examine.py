"""One raw file: its bytes, its kind by content, its span, and what is odd about it."""

import functools
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path

import numpy as np

from ..campaign.store import sha256_file, sha256_of
from ..constants import NS_PER_S
from ..errors import FormatError, ProductError
from ..formats.compression import open_bytes
from ..formats.plain_table import TABLE_KINDS, parse_plain_table
from ..formats.recognise import recognise
from ..formats.rinex_obs import read_observations
from ..time import iso
from .completeness import runs_of
from .dating import date_fits
from .file_place import place_of_file
from .product_index import choose, files_of
from .products import load_products
from .quality import file_quality
from .reading import date_in_file_name, name_in_file_name
from .tables_examine import examine_table, span_gps_ns
from .texts_examine import examine_text

OBSERVATION_KINDS = ("observations",)
RECORD_FORM = 4  # of what the ledger keeps of a raw file; another number examines all anew
_WHOLE_NS = 1_000_000  # clocks steered to the second stay within a millisecond of it
_HEADER_FIELDS = (
    "marker_name",
    "receiver_number",
    "receiver_type",
    "receiver_version",
    "antenna_number",
    "antenna_type",
    "antenna_height_m",
    "antenna_east_m",
    "antenna_north_m",
    "approximate_position_m",
)


@dataclass(frozen=True)
class RawFile:
    """A line of the manifest. ``reason`` says why a file was set aside; blank where it is sound."""

    path: str
    size: int
    sha256: str
    content_sha256: str = ""
    kind: str = "unknown"
    reason: str = ""
    header: dict = field(default_factory=dict)
    runs: tuple = ()  # epochs, see completeness.runs_of
    warnings: tuple = ()
    date_fits: tuple = ()  # of (shift in weeks, misfit in metres or None)
    proof_products: tuple = ()
    rows: int = 0  # of a table
    table_span_ns: tuple = ()  # first and last time of a table, GPS time
    quality: dict = field(default_factory=dict)  # of observations, see quality.file_quality

    @property
    def name_says(self):
        """Return the station that the file's name stands for."""
        return name_in_file_name(self.path)

    @property
    def epochs(self):
        """Return the number of epochs."""
        return sum(count for _, _, count in self.runs)

    @property
    def first_ns(self):
        """Return the first epoch; None where there is none. [ns]"""
        return self.runs[0][0] if self.runs else None

    @property
    def last_ns(self):
        """Return the last epoch; None where there is none. [ns]"""
        if not self.runs:
            return None
        first, step, count = self.runs[-1]
        return first + step * (count - 1)

    def as_record(self):
        """Return plain JSON parts."""
        return asdict(self)


def from_record(record):
    """Return the :class:`RawFile` of :meth:`RawFile.as_record`."""
    parts = {f.name: record[f.name] for f in fields(RawFile)}
    parts["runs"] = tuple(tuple(run) for run in parts["runs"])
    parts["warnings"] = tuple(parts["warnings"])
    parts["table_span_ns"] = tuple(parts["table_span_ns"])
    fits = [(weeks, None if m is None else float(m)) for weeks, m in parts["date_fits"]]
    parts["date_fits"] = tuple(fits)  # an infinite misfit is text in JSON
    return RawFile(**parts)


def examine(task):
    """Return the :class:`RawFile` of ``(campaign, relative path, product index, places)``.

    ``places`` as of :func:`.file_place.places_for`.
    """
    campaign, name, index, places = task
    path = Path(campaign.root) / name
    size, checksum = sha256_file(path)
    raw = {"path": name, "size": size, "sha256": checksum}
    if size == 0:
        return RawFile(**raw, kind="empty", reason="the file is empty")
    try:
        members = open_bytes(path)
        raw["content_sha256"] = sha256_of(b"".join(data for _, data in members))
        raw["kind"] = recognise(members[0][1], name) if members else "empty"
    except FormatError as problem:
        return RawFile(**raw, reason=_without_folder(str(problem), path, name))
    if raw["kind"] in TABLE_KINDS:
        return _table(raw, members[0][1])
    if raw["kind"] not in OBSERVATION_KINDS:
        return RawFile(**raw, warnings=examine_text(raw["kind"], members[0][1]) if members else ())
    try:
        observations = read_observations(path)
    except FormatError as problem:
        return RawFile(**raw, reason=_without_folder(str(problem), path, name))
    if len(observations) == 0:
        return RawFile(**raw, reason="holds a header and no epoch")
    fits, proof, products = _dated(campaign, index, observations)
    place, said = place_of_file(campaign, name, observations.header, places)
    return RawFile(
        **raw,
        header=_header_parts(observations.header),
        runs=tuple(runs_of(observations.time_ns)),
        warnings=(*_oddities(observations, path, name), *([said] if said else [])),
        date_fits=tuple((fit.shift_weeks, fit.misfit_m) for fit in fits),
        proof_products=proof,
        quality=file_quality(observations, products, place),
    )


def _table(raw, data):
    """Return the :class:`RawFile` of a table, with its rows, span and oddities."""
    name = raw["path"]
    try:
        table = parse_plain_table(data, name)
    except FormatError as problem:
        return RawFile(**raw, reason=str(problem))
    return RawFile(
        **raw,
        warnings=examine_table(table),
        rows=len(table),
        table_span_ns=span_gps_ns(table),
    )


def _header_parts(header):
    parts = {key: getattr(header, key) for key in _HEADER_FIELDS}
    if not np.isfinite(parts["approximate_position_m"]).all():
        del parts["approximate_position_m"]  # NaN has no place in the ledger
    return parts


def _without_folder(sentence, path, name):
    return sentence.replace(str(path), name)


def products_of(campaign, index, first_ns, last_ns):
    """Return (Products or None, their names) of a span; None without orbits that can be read."""
    chosen = choose(index, first_ns, last_ns)
    files = files_of(campaign, chosen)
    if not files.navigation and not files.orbits:
        return None, ()
    try:
        products = load_products(files, "", np.full(3, np.nan))
    except (FormatError, ProductError):
        return None, ()
    return products, [e.path for k in ("orbits", "clocks", "navigation") for e in chosen[k]]


def _dated(campaign, index, observations):
    """Return (date fits, names of the products of the last date looked at, those of the file's).

    The last are None where its date as written does not fit, or there are none.
    """
    used = []

    @functools.lru_cache(maxsize=8)
    def products_at(first_ns, last_ns):
        products, names = products_of(campaign, index, first_ns, last_ns)
        if products is not None:
            used[:] = names
        return products

    fits = date_fits(observations, products_at)
    first, last = int(observations.time_ns[0]), int(observations.time_ns[-1])
    own = products_at(first, last) if fits and fits[0].fits else None
    return fits, tuple(used), own


def _lacking(header):
    """Return a sentence on what a header does not say and is taken from elsewhere."""
    lacks = [] if np.isfinite(header.interval_s) else ["interval"]
    lacks += [] if header.antenna_type.strip() else ["antenna type"]
    lacks += [] if np.isfinite(header.approximate_position_m).all() else ["position"]
    if not lacks:
        return []
    return [f"header lacks {', '.join(lacks)}: taken from the epochs, the history and the ranges"]


def _oddities(observations, path, name):
    """Return sentences about what was passed over and about unsteered clocks."""
    found = [_without_folder(str(note), path, name) for note in observations.passed_over]
    found += _lacking(observations.header)
    off_ns = (observations.time_ns + NS_PER_S // 2) % NS_PER_S - NS_PER_S // 2
    if np.median(np.abs(off_ns)) > _WHOLE_NS:
        found.append(
            f"epochs stand {np.median(off_ns) / NS_PER_S:+.3f} s off the whole second (the "
            "receiver's clock is not steered); they are kept as they are"
        )
    named = date_in_file_name(name)
    begins = iso(observations.time_ns[0])[:10]
    if named and named != begins:
        found.append(f"its name stands for {named}, its epochs begin on {begins}")
    steps = np.diff(observations.time_ns)
    if (steps <= 0).any():
        at = int(np.argmax(steps <= 0)) + 1
        found.append(f"time runs backwards at {iso(observations.time_ns[at])}")
    return tuple(found)
