"""The page of report: what is handed on, what it holds, and whether it is out of date."""

from pathlib import Path

from .. import __version__
from ..campaign.folders import open_campaign
from ..errors import SettingsError
from .release import METADATA, PROVENANCE, README, SUMS, check
from .release_words import KINDS
from .report import HTML, NUMBERS, PDF, REPORT
from .view_freshness import changed, out_of_date
from .view_kept import once
from .view_tables import json_of

PAPERS = {
    HTML: "the report in one file: figures inside it, to be opened in any browser",
    PDF: "the same on paper",
    NUMBERS: "each number of the report with the file, row and column it stands in",
}
CHECKED = 40  # sentences on a release; choice


def report(root):
    """Return what the page of report shows, as a dict; ``there`` is False before ``report``."""
    campaign = open_campaign(root)
    folder = campaign.folder(REPORT)
    papers = [(name, said, _size(folder / name)) for name, said in PAPERS.items()
              if (folder / name).is_file()]  # fmt: skip
    told = json_of(folder / NUMBERS)
    return {
        "there": bool(papers),
        "papers": papers,
        "sentence": told.get("sentence", ""),
        "tables": _tables(told.get("numbers", ())),
        "sources": len(told.get("files", ())),
        "stale": _stale(campaign, told),
        "results_stale": out_of_date(campaign),
        "releases": [_release(campaign, path) for path in _releases(campaign)],
    }


def report_path(root, name):
    """Return the path of a file of the report; SettingsError for one that is not there."""
    path = open_campaign(root).folder(REPORT) / name
    if name not in PAPERS or not path.is_file():
        raise SettingsError(f"there is no '{name[:60]}' of the report yet: stakeline report")
    return path


def release_path(root, release, name):
    """Return the path of a file that a release of the campaign lists.

    Raises
    ------
    SettingsError
        For a release or a file that is none, or leads out of the release.
    """
    campaign = open_campaign(root)
    folder = {campaign.relative(path): path for path in _releases(campaign)}.get(release)
    if folder is None:
        raise SettingsError(f"there is no release '{release[:60]}' in this campaign")
    path = folder / name
    listed = name == SUMS or name in _listed(folder)
    if not listed or not path.is_file() or not path.resolve().is_relative_to(folder.resolve()):
        raise SettingsError(f"release {release} holds no '{name[:60]}'")
    return path


def _releases(campaign):
    """Return the folders of releases inside a campaign, sorted."""
    return sorted(path.parent for pattern in (f"*/{SUMS}", f"{REPORT}/*/{SUMS}")
                  for path in campaign.root.glob(pattern))  # fmt: skip


def _listed(folder):
    lines = (folder / SUMS).read_text("utf-8").splitlines()
    return [name for _, _, name in (line.partition("  ") for line in lines) if name]


def _release(campaign, folder):
    """Return what the page says of a release, as a dict."""
    names, name = _listed(folder), campaign.relative(folder)
    told, made = json_of(folder / METADATA), json_of(folder / PROVENANCE)
    there = {path for path in folder.rglob("*") if path.is_file()}
    stamp = tuple(sorted((str(p), p.stat().st_mtime_ns, p.stat().st_size) for p in there))
    groups = [(start, sum(one.startswith(start) for one in names),
               words.replace("`", ""))
              for start, words in KINDS if any(one.startswith(start) for one in names)]  # fmt: skip
    return {
        "name": name,
        "day": told.get("released", ""),
        "citation": told.get("citation", ""),
        "made_with": told.get("made_with", ""),
        "size": _written(sum(size for _, _, size in stamp)),
        "groups": groups,
        "files": [(one, _size(folder / one)) for one in sorted([*names, SUMS])],
        "readme": README in names,
        "wrong": _checked(str(folder), stamp)[:CHECKED],
        "stale": changed(campaign, name, made.get("campaign_files", {}).items()),
    }


@once(64)
def _checked(folder, _stamp):
    return check(Path(folder))


def _tables(numbers):
    """Return [(title, how many numbers)] of the report's tables, in order."""
    found = {}
    for one in numbers:
        found[one["table"]] = found.get(one["table"], 0) + 1
    return list(found.items())


def _stale(campaign, told):
    """Return sentences on why the report is no longer what the campaign holds."""
    if not told:
        return []
    said = changed(campaign, f"{REPORT}/{NUMBERS}", told.get("files", {}).items())
    if told.get("version") != __version__:
        said.append(f"it was made with version {told.get('version')}; this is {__version__}")
    return said


def _size(path):
    return _written(path.stat().st_size) if path.is_file() else "missing"


def _written(size):
    return f"{size / 1e6:.1f} MB" if size >= 1e6 else f"{size / 1e3:.1f} kB"
