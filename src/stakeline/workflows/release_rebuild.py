"""A release made again from raw, on any machine; every number is held against the release."""

import json
import re
import shutil
from datetime import date
from decimal import Decimal
from pathlib import Path

import numpy as np

from .. import __version__
from ..campaign.folders import FOLDERS, open_campaign
from ..campaign.store import sha256_file, write_bytes
from ..errors import SettingsError
from ..formats.series_netcdf import read_columns
from . import release, run
from .position import Outcome
from .release_inputs import CARRIED, sources_sum
from .release_photographs import put_back

SAME = 1e-9  # -, of a number, by which another machine may round otherwise; choice
DIGITS = 3  # of a printed number, from which one of its last may be rounding; choice
TOLD = 5  # files that a sentence names; more are counted
AGAIN = f"{FOLDERS[8]}/again"
ABOUT = (release.README, release.PROVENANCE, release.METADATA)
"""Files that tell of the data: they name versions, and so are not held against each other."""
_NUMBER = re.compile(r"(-?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?)")
_SUM = re.compile(r"\b[0-9a-f]{64}\b")  # of files on the way, which are held against each other


def rebuild(campaign, *, from_release, raw=(), workers=1, progress=None):
    """Make a campaign from a release and raw files, do all verbs, release it again, and compare.

    Parameters
    ----------
    campaign : path
        A new folder.
    from_release : path
        A release, whole.
    raw : sequence of path
        Folders, searched with all below, that hold the inputs that a release only names; files are
        known by their checksums, whatever they are called.
    workers : int
    progress : callable, optional

    Returns
    -------
    Outcome
        Problems are files whose numbers differ by more than :data:`SAME` of themselves, and what a
        verb could not do.

    Raises
    ------
    SettingsError
        Where the release is not whole, the folder is not new, or inputs are missing: nothing has
        been done then.
    """
    root, folder = Path(campaign), Path(from_release)
    told = _told(folder)
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise SettingsError(f"{root}: is not empty; give the name of a new folder")
    _laid_out(root, folder, told["inputs"], _found(told["inputs"], raw))
    failed = run.run(root, workers=workers, progress=progress).failed
    day = date.fromisoformat(json.loads((folder / release.METADATA).read_text("utf-8"))["released"])
    release.release(root, folder=root / AGAIN, day=day, progress=progress)
    worst = differences(folder, root / AGAIN)
    return _outcome(worst, failed, told, root)


def _told(folder):
    """Return the provenance of a release that is whole."""
    wrong = release.check(folder)
    if wrong:
        raise SettingsError(f"{folder}: {wrong[0]}; get the release again")
    told = json.loads((folder / release.PROVENANCE).read_text(encoding="utf-8"))
    if "inputs" not in told:
        raise SettingsError(f"{folder}: its provenance names no inputs; release it anew")
    return told


def _found(inputs, raw):
    """Return {path: file} of the inputs that are only named; SettingsError for missing ones."""
    wanted = {path: one for path, one in inputs.items() if not one["carried"]}
    sizes = {one["bytes"] for one in wanted.values()}
    there = {}
    for path in sorted(p for folder in raw for p in Path(folder).rglob("*") if p.is_file()):
        if path.stat().st_size in sizes:
            there.setdefault(sha256_file(path)[1], path)
    missing = [path for path, one in wanted.items() if one["sha256"] not in there]
    if missing:
        more = f" and {len(missing) - TOLD} more" if len(missing) > TOLD else ""
        raise SettingsError(
            f"not found by their checksums: {', '.join(missing[:TOLD])}{more}; give folders that "
            "hold them with --raw"
        )
    return {path: there[one["sha256"]] for path, one in wanted.items()}


def _laid_out(root, folder, inputs, found):
    """Lay the inputs of a campaign where they belong."""
    for path, one in inputs.items():
        source = folder / CARRIED / path if one["carried"] else found[path]
        target = root / path
        if not target.resolve().is_relative_to(root.resolve()):
            raise SettingsError(f"{folder}: names an input outside of the campaign: {path}")
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, target)
    books = open_campaign(root).settings.release.folder_of_field_books
    for path in sorted((folder / "fieldbooks").rglob("*")):
        if path.is_file():
            below = path.relative_to(folder / "fieldbooks")
            write_bytes(root / books / below, path.read_bytes())
    put_back(root, folder)


def differences(folder, other):
    """Return {file: largest difference} of two releases, as a share of the number.

    Zero where both are the same to the byte; infinite where one is not there, or words, shapes or
    gaps differ. What differs by one of the last digit printed is rounding, told as :data:`SAME`.
    Files that tell of the data (:data:`ABOUT`, checksums) are left out, and so are checksums of
    files made on the way: the raw ones are those named, or nothing is done.
    """
    left_out = {*ABOUT, release.SUMS}
    one, two = (
        {p.relative_to(f).as_posix() for p in f.rglob("*") if p.is_file()} - left_out
        for f in (folder, other)
    )
    return {name: _difference(folder / name, other / name) if name in one & two else np.inf
            for name in sorted(one | two)}  # fmt: skip


def _difference(path, other):
    if path.read_bytes() == other.read_bytes():
        return 0.0
    if path.suffix == ".nc":
        first, second = read_columns(path).values, read_columns(other).values
        if first.keys() != second.keys():
            return np.inf
        return max(_largest(first[name], second[name]) for name in first)
    try:
        whole = [_SUM.sub("sum", p.read_text(encoding="utf-8")) for p in (path, other)]
    except UnicodeDecodeError:
        return np.inf
    texts = [_NUMBER.split(text) for text in whole]
    if texts[0][::2] != texts[1][::2]:
        return np.inf
    pairs = list(zip(*(text[1::2] for text in texts), strict=True))
    rounded = [pair for pair in pairs if _rounded(*pair)]
    apart = [pair for pair in pairs if not _rounded(*pair)]
    return max(_of_pairs(apart), min(_of_pairs(rounded), SAME))


def _of_pairs(pairs):
    return _largest(*np.array(pairs, float).reshape(-1, 2).T)


def _rounded(first, second):
    """Say whether two printed numbers are one, or of three digits and one of the last apart."""
    if first == second:
        return True
    one, two = Decimal(first), Decimal(second)
    (_, digits, place), (_, _, other) = one.as_tuple(), two.as_tuple()
    return (
        place == other < 0 and len(digits) >= DIGITS and abs(one - two) == Decimal(1).scaleb(place)
    )


def _largest(first, second):
    """Return the largest difference of two arrays, as a share of the larger of each pair."""
    first, second = np.asarray(first), np.asarray(second)
    if first.shape != second.shape:
        return np.inf
    if first.dtype.kind not in "fiu":
        return 0.0 if (first == second).all() else np.inf
    first, second = first.astype(float), second.astype(float)
    if (np.isnan(first) != np.isnan(second)).any():
        return np.inf
    size = np.maximum(np.abs(first), np.abs(second))
    unlike = (first != second) & ~np.isnan(first)
    return float((np.abs(first - second)[unlike] / size[unlike]).max(initial=0.0))


def _outcome(worst, failed, told, root):
    """Return the Outcome of a comparison with a release of the provenance ``told``."""
    same = sum(value == 0.0 for value in worst.values())
    near = sum(0.0 < value <= SAME for value in worst.values())
    problems = [f"{name}: {_words(value)}" for name, value in worst.items() if not value <= SAME]
    if problems and told["sources"] != sources_sum():
        problems.insert(0, f"the release was made with {told['made_with']}, this is Stakeline "
                        f"{__version__}; their sources are not the same")  # fmt: skip
    text = (
        f"{len(worst)} files made again: {same} the same to the byte, {near} to {SAME:g} or the "
        "last digit, "
        f"{len(worst) - same - near} not\nthe campaign: {root}; its release: {root / AGAIN}\n"
    )
    return Outcome(text, (*failed, *problems), done=(f"{len(worst)} files",))


def _words(value):
    if np.isinf(value):
        return "is not in both, or its words, shape or gaps differ"
    return f"numbers differ by up to {value:.1e} of themselves"
