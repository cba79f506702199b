"""Raw files from an object store into ``0-raw/``: copied whole, once; what is there stays.

Everything afterwards works on the copies, with no network. The library behind it (an extra) knows
many stores, each by the first word of its address.
"""

from dataclasses import dataclass
from pathlib import PurePosixPath

import fsspec

from ..campaign.folders import LEDGER, RAW, open_campaign
from ..campaign.store import clean_leftovers, only_one, whole_file
from ..errors import SettingsError

BLOCK = 1 << 20  # bytes read at once


@dataclass(frozen=True)
class Copied:
    """What was copied, in words; ``problems`` are files that were not."""

    text: str
    problems: tuple = ()


def run(campaign, address, *, progress=None):
    """Copy the files below an address that ``0-raw/`` lacks; return :class:`Copied`.

    Parameters
    ----------
    campaign : path
    address : str
        Such as ``s3://bucket/halvard``; names below it become names below ``0-raw/``.
    progress : callable, optional
        Called as ``progress(done, total, text)``.

    Raises
    ------
    SettingsError
        Where the store cannot be reached, or holds nothing there.
    """
    campaign = open_campaign(campaign)
    store, files = _listed(address)
    copied, there, problems = 0, 0, []
    with only_one(campaign.folder(LEDGER) / "lock"):
        clean_leftovers(campaign.root)
        for done, (place, (name, size)) in enumerate(files.items(), 1):
            target = campaign.folder(RAW) / place
            if target.exists():
                there += 1
                problems += _differs(target, place, size)
            else:
                try:
                    _copy(store, name, target, size)
                    copied += 1
                except SettingsError as problem:
                    problems.append(str(problem))
            if progress:
                progress(done, len(files), str(place))
    text = f"{len(files)} files below {address}: {copied} copied, {there} were there\n"
    return Copied(text, tuple(problems))


def _listed(address):
    """Return (store, {place below 0-raw/: (name in the store, bytes or None)})."""
    try:
        store, root = fsspec.core.url_to_fs(address)
        found = store.find(root, detail=True)
    except (ImportError, ValueError, OSError) as problem:
        raise SettingsError(f"{address}: cannot be read as a store of files: {problem}") from None
    files = {}
    for name, told in sorted(found.items()):
        place = PurePosixPath(name.removeprefix(root).lstrip("/") or PurePosixPath(name).name)
        if ".." in place.parts:
            raise SettingsError(f"{address}: the name {name} leads out of {RAW}/")
        files[place] = name, told.get("size")
    if not files:
        raise SettingsError(f"{address}: holds no file; expected raw files below it")
    return store, files


def _differs(target, place, size):
    """Return a sentence where a file that is there has another size."""
    own = target.stat().st_size
    if size is None or own == size:
        return []
    return [
        f"{RAW}/{place} has {own} bytes, in the store {size}: left as it is; put one of them aside"
    ]


def _copy(store, name, target, size):
    written = 0
    with whole_file(target) as file:
        for block in _blocks(store, name):
            written += file.write(block)
        if size is not None and written != size:
            raise SettingsError(f"{name}: {written} bytes came of {size}; run again")


def _blocks(store, name):
    try:
        with store.open(name, "rb") as source:
            while block := source.read(BLOCK):
                yield block
    except OSError as problem:
        raise SettingsError(f"{name}: cannot be read: {problem}") from None
