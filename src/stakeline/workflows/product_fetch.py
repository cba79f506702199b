"""Products of a campaign's days, from archives that the user names; what is there stays."""

import urllib.parse
import zipfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ..campaign.centre_list import file_name, filled, read_centre_list
from ..campaign.folders import LEDGER, PRODUCTS, open_campaign
from ..campaign.store import clean_leftovers, only_one, sha256_file, whole_file
from ..constants import NS_PER_DAY
from ..errors import FormatError, ProductError, SettingsError
from ..formats.compression import open_bytes
from ..formats.recognise import recognise
from ..time import from_iso
from .intake import take_in
from .product_bundle import pack, unpack
from .product_download import NoAnswerError, NotThereError, Patience, fetch_into, fetch_text
from .product_index import ORBIT_MARGIN_NS, PRODUCT_KINDS
from .product_sums import KeptSums, has_sum, parsed_sums
from .product_words import told

SILENT_FILES = 3  # files of one archive in a row without an answer, then it is left alone; choice


@dataclass(frozen=True)
class Wanted:
    """One file: of which product and day ('' for all days), where it may be, how it is checked.

    ``sums`` is the address of the archive's list for each address; '' without one.
    """

    product: str
    day: str
    addresses: tuple
    sums: tuple
    sha256: str = ""


@dataclass(frozen=True)
class Got:
    """What became of one wanted file: its ``name`` once it is there, else why it is not."""

    wanted: Wanted
    name: str = ""
    why: str = ""
    fetched: bool = False
    size: int = 0


@dataclass(frozen=True)
class Fetched:
    """What was fetched, in words; ``problems`` are what is missing on days with data."""

    text: str
    problems: tuple = ()
    gots: tuple = field(default=(), repr=False)


def run(campaign, source, *, bundle=None, workers=1, progress=None, patience=None):
    """Bring products into a campaign; return :class:`Fetched`.

    Parameters
    ----------
    campaign : path
    source : path
        A centre list (TOML), or a bundle that an earlier run has written.
    bundle : path, optional
        Where to write all products of the list as one file, to carry to where no network is.
    workers : int
        Processes that read receiver files, where these must say the days.
    progress : callable, optional
        Called as ``progress(done, total, text)``.
    patience : Patience, optional
        That of the centre list where not given.

    Raises
    ------
    SettingsError
        Where list, bundle or campaign are impossible, or nothing says which days are wanted.
    """
    campaign, source = open_campaign(campaign), Path(source)
    with only_one(campaign.folder(LEDGER) / "lock"):
        clean_leftovers(campaign.folder(PRODUCTS))
        kept = KeptSums(campaign)
        if zipfile.is_zipfile(source):
            if bundle is not None:
                raise SettingsError(f"{source}: is a bundle already; --bundle goes with a list")
            return Fetched(*unpack(source, kept))
        listed = read_centre_list(source)
        days = days_of(campaign, listed, source, workers)
        patience = patience or Patience(listed.wait_s, listed.attempts)
        gots = _Fetcher(kept, patience).all(wanted_files(listed, days, source), progress)
        text, problems = told(source.name, gots, days)
        if bundle is not None:
            text += pack(bundle, kept, [got.name for got in gots if got.name])
    return Fetched(text, problems, tuple(gots))


def days_of(campaign, listed, source, workers=1):
    """Return {day: whether there are data} as ISO text; days next to data are wanted too.

    Interpolation of orbits needs :data:`~.product_index.ORBIT_MARGIN_NS` on both sides.
    """
    if listed.days is not None:
        first, last = from_iso(str(listed.days.first)), from_iso(str(listed.days.last))
        return dict.fromkeys(_each_day(first, last), True)
    seen = [day.day for day in take_in(campaign, workers).days if day.epochs]
    if not seen and any(product.changes for product in listed.product):
        raise SettingsError(
            f"{source}: no receiver file in {campaign.root} says which days are wanted; "
            "name them in the list: [days], first = 2031-05-01, last = 2031-05-31"
        )
    near = set()
    for day in seen:
        begins_ns = from_iso(day)
        last_ns = begins_ns + NS_PER_DAY + ORBIT_MARGIN_NS
        near |= set(_each_day(begins_ns - ORBIT_MARGIN_NS, last_ns))
    return {day: day in seen for day in sorted(near)}


def _each_day(first_ns, last_ns):
    days = np.arange(first_ns // NS_PER_DAY, last_ns // NS_PER_DAY + 1)
    return [str(day) for day in days.astype("datetime64[D]")]


def wanted_files(listed, days, source):
    """Return a list of :class:`Wanted`, each file once; of days, those with data come first.

    Raises
    ------
    SettingsError
        Where an address ends in no file name, or two addresses in the same.
    """
    found, names = {}, {}
    for product in listed.product:
        for day in sorted(days, key=lambda d: (not days[d], d)) if product.changes else [""]:
            addresses = tuple(filled(a, day) if day else a for a in product.address)
            if addresses in found:
                continue
            sums = tuple(_sums_address(product, day, a) for a in addresses)
            found[addresses] = Wanted(product.name, day, addresses, sums, product.sha256 or "")
            for address in addresses:
                name = file_name(address)
                if not name:
                    raise SettingsError(f"{source}: {address} does not end in a plain file name")
                other = names.setdefault(name, addresses)
                if other != addresses:
                    raise SettingsError(f"{source}: {other[0]} and {address} both become {name}")
    return list(found.values())


def _sums_address(product, day, address):
    name = file_name(address)
    if not product.checksums:
        return ""
    return filled(product.checksums, day or "1980-01-06", file=name)


class _Fetcher:
    """Fetches files one after the other; remembers silent archives and lists of checksums."""

    def __init__(self, kept, patience):
        self.kept, self.patience = kept, patience
        self.silent, self.lists = {}, {}

    def all(self, files, progress):
        """Return a :class:`Got` for each wanted file."""
        gots = []
        for done, wanted in enumerate(files, 1):
            gots.append(self.one(wanted))
            if progress:
                progress(done, len(files), f"{wanted.product} {wanted.day}".strip())
        return gots

    def one(self, wanted):
        """Return what became of one file; the first address that has it is used."""
        for address in wanted.addresses:
            name = file_name(address)
            if self.kept.stands(name):
                return Got(wanted, name)
        whys = []
        for address, sums in zip(wanted.addresses, wanted.sums, strict=True):
            host = urllib.parse.urlsplit(address).netloc
            if self.silent.get(host, 0) >= SILENT_FILES:
                whys.append(f"the archive {host} gave no answer before; it was left alone")
                continue
            try:
                size = self._fetch(wanted, address, sums)
            except NoAnswerError as problem:
                self.silent[host] = self.silent.get(host, 0) + 1
                whys.append(str(problem))
            except ProductError as problem:
                self.silent[host] = 0
                whys.append(str(problem))
            else:
                self.silent[host] = 0
                return Got(wanted, file_name(address), fetched=True, size=size)
        return Got(wanted, why="; then ".join(dict.fromkeys(whys)))

    def _fetch(self, wanted, address, sums):
        """Fetch one file, check it, note its checksum; return its size. [bytes]"""
        name = file_name(address)
        expected = wanted.sha256 or (self._listed(sums, name) if sums else "")
        path = self.kept.folder / name
        with whole_file(path) as file:
            fetch_into(file, address, self.patience)
            file.flush()
            _check(Path(file.name), name, expected)
        size, checksum = sha256_file(path)
        self.kept.note(name, checksum)
        return size

    def _listed(self, sums, name):
        """Return the checksum that an archive gives for a file."""
        if sums not in self.lists:
            try:
                self.lists[sums] = parsed_sums(fetch_text(sums, self.patience))
            except NotThereError as problem:
                raise NotThereError(f"its list of checksums: {problem}") from None
        found = self.lists[sums]
        checksum = found.get(name) or (found.get("") if len(found) == 1 else None)
        if checksum is None:
            raise NotThereError("the archive's list of checksums does not name it")
        return checksum


def _check(path, name, expected):
    """Raise ProductError where a file is not what the archive promised, or is no product."""
    if expected and not has_sum(path, expected):
        raise ProductError("its checksum is not the one expected; it was thrown away")
    try:
        members = open_bytes(path)
    except FormatError as problem:
        raise ProductError(f"it cannot be unpacked (found {problem.found})") from None
    if members.passed_over:
        raise ProductError("its packed data end early; it was thrown away")
    kind = recognise(members[0][1], name) if members else "nothing"
    if kind not in PRODUCT_KINDS:
        raise ProductError(
            f"what came is no product (found: {kind}); perhaps a page that asks for a login"
        )
