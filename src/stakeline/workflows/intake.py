"""Take in what the receivers brought back: every byte accounted for, nothing changed."""

from dataclasses import dataclass, replace

from .. import __version__
from ..campaign.folders import INTAKE, LEDGER, RAW, SETTINGS_FILE, open_campaign
from ..campaign.history import compare_with_header
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.located import line_numbers, line_of
from ..campaign.store import clean_leftovers, only_one, sha256_file
from ..errors import SettingsError
from ..formats.plain_table import TABLE_KINDS
from ..tables import ObservationHeader
from .completeness import epochs_of, station_days
from .dating import WEEK_NS, DateFit
from .examine import OBSERVATION_KINDS, RECORD_FORM, RawFile, examine, from_record
from .file_place import history_place, places_for, station_of_file
from .health import health_of
from .health_around import around_of, everyone
from .health_visits import visit_rows
from .intake_report import days_csv, manifest_csv, proposals_toml, summary_text
from .intake_results import (
    calendar_file,
    change_files,
    health_files,
    odd_days,
    quality_files,
    quality_rows,
)
from .pool import run_tasks
from .product_index import scan
from .visit_changes import visits_told


@dataclass(frozen=True)
class TakenIn:
    """A raw file with what the campaign knows of it.

    ``shift_weeks`` is what the user has accepted; ``proposal_weeks`` what is proven and waits.
    """

    raw: RawFile
    station: str = ""
    shift_weeks: int = 0
    proposal_weeks: int = 0
    suspicion: str = ""
    same_as: str = ""
    mismatches: tuple = ()

    @property
    def usable(self):
        """Say whether positions may rest on the file."""
        raw = self.raw
        held_back = raw.reason or self.same_as or self.proposal_weeks or self.suspicion
        return raw.kind in OBSERVATION_KINDS and not held_back and bool(self.station)

    @property
    def epochs_ns(self):
        """Return the epochs, moved by the accepted repair. [ns]"""
        return epochs_of(self.raw.runs) + self.shift_weeks * WEEK_NS

    @property
    def span_ns(self):
        """Return first and last epoch, moved by the accepted repair; () without any. [ns]"""
        if not self.raw.runs:
            return self.raw.table_span_ns
        shift = self.shift_weeks * WEEK_NS
        return self.raw.first_ns + shift, self.raw.last_ns + shift


@dataclass(frozen=True)
class Report:
    """What intake found: the files, the days, and all of it in words."""

    files: tuple
    days: tuple
    set_aside: tuple
    text: str
    examined: int = 0  # files looked at anew
    health: tuple = ()  # StationHealth of each station that is out
    visits: tuple = ()  # rows of the next visits
    changes: tuple = ()  # rows of what visits changed


def run(campaign, *, workers=1, progress=None):
    """Take in a campaign's raw files; write ``3-intake/``; return a :class:`Report`.

    ``workers`` is how many processes read, or the address of a cluster's scheduler.
    """
    campaign = open_campaign(campaign)
    with only_one(campaign.folder(LEDGER) / "lock"):
        clean_leftovers(campaign.root)
        report = take_in(campaign, workers, progress)
        outputs = (
            health_files(report.health, report.visits)
            | quality_files(report.files)
            | change_files(report.changes)
            | {
                f"{INTAKE}/manifest.csv": manifest_csv(report.files),
                f"{INTAKE}/days.csv": days_csv(report.days),
                f"{INTAKE}/proposals.toml": proposals_toml(report.files),
                f"{INTAKE}/summary.txt": report.text,
            }
        )
        content = {name: text.encode("utf-8") for name, text in outputs.items()}
        content |= calendar_file(report.files)
        key = fingerprint([__version__, sorted(outputs.items())])
        ledger = Ledger(campaign.root, LEDGER)
        if not ledger.up_to_date("intake", key):
            ledger.finish("intake", key, content)
    return report


def take_in(campaign, workers=1, progress=None):
    """Return the :class:`Report` of a campaign's raw files, examining only what is new."""
    index = scan(campaign)
    histories = campaign.histories()
    files, examined = examine_all(campaign, index, histories, workers, progress)
    files = _without_copies([_known(campaign, histories, raw) for raw in files])
    _check_repairs(campaign, files)
    days = []
    for station in sorted({file.station for file in files if file.usable}):
        own = [f.epochs_ns for f in files if f.station == station and f.usable]
        days += station_days(station, own)
    set_aside = tuple(file for file in files if file.raw.reason)
    health = health_of(campaign, files, workers, progress)
    changes, audit = visits_told(campaign, files, histories)
    health, visits = _next_visits(campaign, files, histories, health, audit)
    text = summary_text(campaign, files, days, index, histories, health, audit, visits)
    return Report(
        tuple(files), tuple(days), set_aside, text, examined, health, visits, tuple(changes)
    )


def _next_visits(campaign, files, histories, health, audit):
    """Return (health of all stations that are out, rows of the next visits), as tuples."""
    rows = quality_rows(files)
    around, now_day = around_of(campaign, files, histories, health, rows, odd_days, audit)
    health = everyone(health, around, now_day)
    return tuple(health), tuple(visit_rows(health, around, now_day))


def examine_all(campaign, index, histories, workers, progress):
    """Return (:class:`RawFile` of every file below ``0-raw/`` by name, how many were new)."""
    ledger = Ledger(campaign.root, LEDGER)
    names = sorted(campaign.relative(p) for p in campaign.folder(RAW).rglob("*") if p.is_file())
    found, tasks, keys = {}, [], {}
    products = fingerprint([entry.sha256 for entry in index])
    for name in names:
        checksum = sha256_file(campaign.root / name)[1]
        places = places_for(campaign, name, histories)
        stand = sorted((station, list(map(repr, place))) for station, place in places.items())
        keys[name] = fingerprint([name, checksum, products, stand, __version__, RECORD_FORM])
        record = ledger.read(_task_name(name))
        if record and record["key"] == keys[name]:
            found[name] = from_record(record["raw"])
        else:
            tasks.append((campaign, name, index, places))
    for done, (task, raw, sentence) in enumerate(run_tasks(examine, tasks, workers), 1):
        name = task[1]
        if sentence:
            size, checksum = sha256_file(campaign.root / name)
            found[name] = RawFile(name, size, checksum, reason=sentence)
        else:
            found[name] = raw
            ledger.finish(_task_name(name), keys[name], {}, raw=raw.as_record())
        if progress:
            progress(done, len(tasks), name)
    return [found[name] for name in names], len(tasks)


def _task_name(name):
    return f"raw/{fingerprint(name)[:24]}"


def _known(campaign, histories, raw):
    """Return a :class:`TakenIn`: whose file it is, its date, what contradicts the history."""
    station = campaign.station_of(raw.path) or ""
    if raw.kind in TABLE_KINDS and not station:
        known = [part.name for part in campaign.settings.station]
        station = next((n for n in known if raw.name_says.startswith(n)), "")
    if raw.kind not in OBSERVATION_KINDS or raw.reason:
        return TakenIn(raw, station)
    station = station_of_file(campaign, raw.path, raw.header["marker_name"])
    accepted = [r.shift_weeks for r in campaign.settings.repairs.date if r.sha256 == raw.sha256]
    file = TakenIn(raw, station, accepted[0] if accepted else 0)
    history = histories.get(station)
    file = _judge_date(file, history)
    if history is None:
        return file
    begins_ns = file.span_ns[0] + file.proposal_weeks * WEEK_NS
    header, place = ObservationHeader(**raw.header), history_place(history)
    sentences = compare_with_header(history, header, begins_ns, place)
    return replace(file, mismatches=tuple(sentences))


def _judge_date(file, history):
    """Return the file with a proven proposal, or with a suspicion that cannot be proven."""
    fits = [DateFit(*pair) for pair in file.raw.date_fits]
    proven = next((fit.shift_weeks for fit in fits if fit.fits), None)
    early = history is not None and file.span_ns[1] < history.begins_ns
    if proven is not None and proven != file.shift_weeks:
        if file.shift_weeks == 0:
            return replace(file, proposal_weeks=proven)
        said = f"shift of {file.shift_weeks} weeks is accepted, but its ranges fit at {proven}"
    elif proven is None and fits and fits[0].misfit_m is not None and not file.shift_weeks:
        said = "its ranges fit the satellites of no date that the products cover"
    elif early:
        proof = "its ranges prove the date" if proven is not None else "no products can prove it"
        said = f"it is dated before {history.station} was set up; {proof}"
    else:
        said = ""
    return replace(file, suspicion=said)


def _without_copies(files):
    """Mark files whose content stands in an earlier one; archives are compared unpacked."""
    first, result = {}, []
    for file in files:
        key = file.raw.content_sha256 or file.raw.sha256
        same = first.setdefault(key, file.raw.path)
        copied = same != file.raw.path and file.raw.size > 0
        result.append(replace(file, same_as=same) if copied else file)
    return result


def _check_repairs(campaign, files):
    """Raise SettingsError, with its line, for a repair whose file is not there as it was."""
    path = campaign.root / SETTINGS_FILE
    lines = line_numbers(path.read_text(encoding="utf-8"))
    sums = {file.raw.path: file.raw.sha256 for file in files}
    for index, repair in enumerate(campaign.settings.repairs.date):
        where = f"{path}:{line_of(lines, ('repairs', 'date', index))}: repairs.date.{index + 1}"
        if repair.file not in sums:
            raise SettingsError(f"{where}: there is no file {repair.file}; take the repair out")
        if sums[repair.file] != repair.sha256:
            raise SettingsError(
                f"{where}: {repair.file} is not the file this was agreed for (its checksum "
                f"starts {sums[repair.file][:12]}); see 3-intake/proposals.toml"
            )
