"""A release of a campaign: open formats, checksums, provenance, licence, known issues."""

import json
from pathlib import Path

import numpy as np

from .. import __version__
from ..campaign.folders import DECIDE, INTAKE, LAKES, MOTION, open_or_find
from ..campaign.store import json_text, sha256_file, sha256_of, write_bytes
from ..errors import SettingsError
from ..formats.map_features import Feature, write_features
from .commission_log import log_file
from .position import Outcome
from .release_inputs import carried_files, field_books_csv, inputs_told, sources_sum
from .release_photographs import photographs
from .release_series import lake_files, motion_files, position_files
from .release_words import citation, issue_rows, issues_csv, readme
from .report import OTHERWISE
from .report_sources import Sources

SUMS, README, PROVENANCE = "checksums.sha256", "README.md", "provenance.json"
ISSUES, METADATA = "issues.csv", "metadata.json"
FIELD_BOOKS = "fieldbooks.csv"
AGAIN = "stakeline report NEW_CAMPAIGN --rebuild THIS_FOLDER --raw FOLDER"
TABLES = (f"{MOTION}/*.csv", f"{MOTION}/*/*.csv", f"{LAKES}/*.csv", f"{LAKES}/*/*.csv",
          f"{DECIDE}/*.csv", f"{INTAKE}/manifest.csv", f"{INTAKE}/days.csv")  # fmt: skip
TEXTS = (f"{DECIDE}/verdict.json", f"{DECIDE}/plan.toml")
ASKED = ("title", "summary", "licence", "doi", "creator")


def release(campaign=None, *, folder, day, progress=None):
    """Write a data set that an archive can take.

    Parameters
    ----------
    campaign : path, optional
    folder : path
        New, empty, or of an earlier release, which is replaced.
    day : datetime.date
        The day that the release carries.
    progress : callable, optional

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        Where the folder holds something else, or the campaign has no results.
    """
    campaign = open_or_find(campaign, OTHERWISE)
    folder = Path(folder)
    _clear(folder)
    sums, made_of = {}, {}
    for count, (name, data, made) in enumerate(_files(campaign, day)):
        write_bytes(folder / name, data)
        sums[name], made_of[name] = sha256_of(data), tuple(made)
        if progress:
            progress(count, count + 1, name)
    if not sums:
        raise SettingsError(f"{campaign.root}: has no results to release; run 'stakeline run'")
    for name, data in _words(campaign, day, sums, made_of).items():
        write_bytes(folder / name, data)
        sums[name] = sha256_of(data)
    lines = "".join(f"{sums[name]}  {name}\n" for name in sorted(sums))
    write_bytes(folder / SUMS, lines.encode("utf-8"))
    lacking = [name for name in ASKED if not getattr(campaign.settings.release, name)]
    notes = (f"not given in [release] of campaign.toml: {', '.join(lacking)}",) if lacking else ()
    text = f"{len(sums)} files and their checksums in {folder}\n" + "".join(
        f"{note}\n" for note in notes
    )
    return Outcome(text, done=(f"{len(sums)} files",), notes=notes)


def check(folder):
    """Return sentences on files of a release that are missing, changed, or not in its list.

    Raises
    ------
    SettingsError
        Where the folder holds no release.
    """
    folder = Path(folder)
    if not (folder / SUMS).is_file():
        raise SettingsError(f"{folder}: holds no {SUMS}; give the folder of a release")
    lines = (folder / SUMS).read_text(encoding="utf-8").splitlines()
    listed = {name: digest for digest, name in (line.split("  ", 1) for line in lines)}
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()} - {SUMS}
    wrong = [f"{name}: missing" for name in sorted(set(listed) - there)]
    wrong += [f"{name}: not in {SUMS}" for name in sorted(there - set(listed))]
    wrong += [f"{name}: changed" for name in sorted(there & set(listed))
              if sha256_file(folder / name)[1] != listed[name]]  # fmt: skip
    return tuple(wrong)


def _clear(folder):
    """Delete the files of an earlier release; refuse a folder that holds anything else."""
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return
    if not folder.is_dir() or not (folder / SUMS).is_file():
        raise SettingsError(f"{folder}: is there and holds no release; give a new or empty folder")
    wrong = [line for line in check(folder) if not line.endswith(": missing")]
    if wrong:
        raise SettingsError(
            f"{folder}: {wrong[0]}; it is no longer the release it was, so give another folder"
        )
    for path in sorted(folder.rglob("*"), reverse=True):
        if path.is_file():
            path.unlink()


def _files(campaign, day):
    """Yield (name, bytes, files of the campaign it was made of) of all data."""
    yield from position_files(campaign, day)
    yield from motion_files(campaign, day)
    sources = Sources(campaign.root)
    yield from lake_files(campaign, day, sources.rows(f"{LAKES}/events.csv"))
    for pattern in TABLES:
        for path in sources.names(pattern):
            yield f"tables/{path}", sources.data(path), (path,)
    for path in TEXTS:
        if sources.data(path) is not None:
            yield f"tables/{path}", sources.data(path), (path,)
    for path in (f"{LAKES}/events.geojson", f"{LAKES}/routes.geojson"):
        if sources.data(path) is not None:
            yield f"maps/{Path(path).name}", sources.data(path), (path,)
    yield from _stations(campaign)
    yield from carried_files(campaign)
    yield from _field_books(campaign, sources)
    yield from photographs(campaign)


def _field_books(campaign, sources):
    """Yield the scanned field books, and the table that links them to visits."""
    folder = campaign.settings.release.folder_of_field_books
    paths = sources.names(f"{folder}/*/*")
    names = [f"fieldbooks/{path.removeprefix(f'{folder}/')}" for path in paths]
    for name, path in zip(names, paths, strict=True):
        yield name, sources.data(path), (path,)
    made = (*paths, *(f"stations/{station}.toml" for station in campaign.histories()))
    if made:
        yield FIELD_BOOKS, field_books_csv(campaign, names), made


def _stations(campaign):
    """Yield the logs of all stations, their histories, and their places as GeoJSON."""
    features, made = [], []
    for station, history in campaign.histories().items():
        path = f"stations/{station}.toml"
        content = history.content
        name, data = log_file(history)
        yield f"stations/{name}", data, (path,)
        yield f"stations/{station}.toml", (campaign.root / path).read_bytes(), (path,)
        if None not in (content.latitude_deg, content.longitude_deg):
            place = np.array([[content.longitude_deg, content.latitude_deg]])
            features.append(Feature("Point", (place,), {
                "station": station, "description": content.description,
                "height_m": content.height_m, "log": f"stations/{name}",
            }))  # fmt: skip
            made.append(path)
    if features:
        yield "maps/stations.geojson", write_features(features), made


def _words(campaign, day, sums, made_of):
    """Return {name: bytes} of what tells about the data: README, issues, provenance, metadata."""
    part, of = campaign.settings.release, campaign.settings.campaign
    issues = issue_rows(campaign)
    raw = Sources(campaign.root).rows(f"{INTAKE}/manifest.csv")
    files = sorted({path for made in made_of.values() for path in made})
    provenance = {
        "made_with": f"Stakeline {__version__}",
        "sources": sources_sum(),
        "settings": json.loads(campaign.settings.model_dump_json()),
        "files": {name: {"sha256": sums[name], "made_of": list(made_of[name])} for name in sums},
        "campaign_files": {path: sha256_file(campaign.root / path)[1] for path in files},
        "raw_files": {one.values["file"]: one.values["sha256"] for one in raw},
        "inputs": inputs_told(campaign),
        "again": AGAIN,
    }
    metadata = json.loads(part.model_dump_json()) | {
        "campaign": of.name, "note": of.note, "released": day.isoformat(),
        "citation": citation(part, of, day), "made_with": f"Stakeline {__version__}",
    }  # fmt: skip
    return {
        README: readme(campaign, day, sorted(sums), issues).encode("utf-8"),
        ISSUES: issues_csv(issues),
        PROVENANCE: json_text(provenance).encode("utf-8"),
        METADATA: json_text(metadata).encode("utf-8"),
    }
