"""Station health as a part of intake: loggers joined, judged, told in words, station by station."""

from dataclasses import asdict, dataclass, replace

import numpy as np

from .. import __version__
from ..campaign.folders import INTAKE, LEDGER, PLANS
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.store import parquet_bytes, sha256_file
from ..constants import NS_PER_DAY
from ..station.health import judge, outlook_from
from ..station.health_box import warm_box
from ..station.health_forecast import outlook_of_years
from ..station.health_parts import Finding
from ..station.health_signs import signs_of, snow_outlook
from ..station.telemetry import hours_of
from ..station.weather import draw_weather
from ..time import iso
from .health_assumed import assumed_design, judged_by_assumption
from .health_energy import energy_figures
from .health_tables import daily_table, daily_units
from .logger_input import logger_maps, read_loggers
from .plan_description import describe_station
from .plan_snow import heights_of
from .plan_weather import weather_model
from .pool import run_tasks

FOLDER = f"{INTAKE}/health"
YEARS = 24  # -, of weather that a forecast looks at; own choice
AHEAD_D = 400  # d, that a forecast looks ahead; own choice
COURSE = tuple(k / 20.0 for k in range(1, 20))  # -, shares of members whose day is kept
EVERY_D = 30  # d, between forecasts of the past that no run has told
FILLED_D = 31  # d, most that are told one by one since the last kept; own choice
FORM = 3  # of a station's record; another number works all out anew


@dataclass(frozen=True)
class StationHealth:
    """What is known of one station's health.

    Attributes
    ----------
    station : str
    files : tuple of str
        Of its loggers.
    first_day : int
        Number of the first day of its telemetry. [d]
    days : int
    findings : tuple of Finding
        Days count from ``first_day``.
    forecasts : tuple of dict
        ``day``, ``chance``, ``early``, ``median``, ``late`` (day numbers, None: does not happen),
        ``course``: (day number, share of the members that are dark by then), rising.
    last_V : float or None
        Last battery voltage read.
    now : dict
        Charge, capacity, load and other figures of the last day.
    energy : tuple of dict
        Figures of :func:`~.health_energy.energy_figures`; empty without a plan.
    snow : dict
        Rise, rate and the dates on which parts are buried; empty without a ranger.
    notes : tuple of str
    problem : str
        Why there is no health of it, or ''.
    """

    station: str
    files: tuple
    first_day: int = 0
    days: int = 0
    findings: tuple = ()
    forecasts: tuple = ()
    last_V: float | None = None
    now: dict | None = None
    energy: tuple = ()
    snow: dict | None = None
    notes: tuple = ()
    problem: str = ""

    def date(self, day):
        """Return a day of the telemetry as a date."""
        return iso((self.first_day + int(day)) * NS_PER_DAY)[:10]

    @property
    def holding(self):
        """Return the findings that still held at the end; silence begins behind it."""
        return tuple(f for f in self.findings if f.holds(max(self.days - 1, f.told)))


@dataclass(frozen=True)
class _Task:
    root: str
    station: str
    files: tuple  # of (path, name, LoggerMap or None)
    plan: str  # path, or ''
    plan_sha256: str
    place: tuple  # latitude, longitude [deg], height [m]; NaN where not known
    recorded: tuple  # day numbers of receiver files
    kept: tuple = ()  # forecasts of earlier runs, by the same plan; their days as day numbers


def health_of(campaign, files, workers=1, progress=None):
    """Return a :class:`StationHealth` for each station with logger files, in order of names.

    Only stations whose files, map or plan have changed are worked out anew; their daily tables go
    to ``3-intake/health``.

    Parameters
    ----------
    campaign : Campaign
    files : sequence of TakenIn
    workers : int
    progress : callable, optional
    """
    ledger = Ledger(campaign.root, LEDGER)
    maps = logger_maps(campaign)
    found, tasks, keys = {}, [], {}
    for station, own in _loggers(files, maps).items():
        task, key = _task(campaign, station, own, maps, files)
        keys[station] = key
        record = ledger.read(f"health/{station}")
        if record and ledger.up_to_date(f"health/{station}", key):
            found[station] = _from_record(record["health"])
        else:
            tasks.append(replace(task, kept=kept_forecasts(record, task.plan_sha256)))
    for done, (task, made, sentence) in enumerate(run_tasks(station_health, tasks, workers), 1):
        if sentence:
            names = tuple(name for _, name, _ in task.files)
            found[task.station] = StationHealth(task.station, names, problem=sentence)
        else:
            health, outputs = made
            found[task.station] = health
            name = f"health/{task.station}"
            ledger.finish(name, keys[task.station], outputs, health=asdict(health),
                          plan_sha256=task.plan_sha256, form=FORM)  # fmt: skip
        if progress:
            progress(done, len(tasks), f"{task.station}: health")
    return [found[station] for station in sorted(found)]


def _loggers(files, maps):
    """Return {station: names of its logger files}: those a map claims, and tables of loggers."""
    own = {}
    for file in files:
        path = file.raw.path
        station = maps[path][0].station if path in maps else file.station
        told = path in maps or (file.raw.kind == "logger table" and not file.raw.reason)
        if told and station and not file.same_as:
            own.setdefault(station, []).append(file)
    return own


def _task(campaign, station, own, maps, files):
    """Return (task, fingerprint of all it depends on)."""
    plan = campaign.folder(PLANS) / f"{station}.toml"
    inputs = [(f.raw.path, f.raw.sha256) for f in own]
    inputs += [(maps[f.raw.path][1],) for f in own if f.raw.path in maps]
    inputs += [asdict_of(maps[f.raw.path][0]) for f in own if f.raw.path in maps]
    plan_sha256 = sha256_file(plan)[1] if plan.is_file() else ""
    inputs += [plan_sha256] if plan_sha256 else []
    history = campaign.histories().get(station)
    place = (np.nan,) * 3
    if history is not None:
        content = history.content
        known = content.latitude_deg is not None and content.longitude_deg is not None
        if known:
            place = (content.latitude_deg, content.longitude_deg, content.height_m or 0.0)
    spans = [f for f in files if f.station == station and f.usable]
    days = {int(d) for f in spans for d in np.unique(f.epochs_ns // NS_PER_DAY)}
    rows = tuple(
        (str(campaign.root / f.raw.path), f.raw.path, maps.get(f.raw.path, (None,))[0]) for f in own
    )
    task = _Task(str(campaign.root), station, rows, str(plan) if plan_sha256 else "",
                 plan_sha256, place, tuple(sorted(days)))  # fmt: skip
    key = fingerprint([__version__, FORM, inputs, [repr(v) for v in place], task.recorded])
    return task, key


def asdict_of(settings):
    """Return settings as plain parts, for a fingerprint."""
    return settings.model_dump(mode="json")


def station_health(task):
    """Return (:class:`StationHealth`, {path: bytes}) of one station."""
    table = read_loggers(task.station, task.files)
    hours = hours_of(table.time_ns, table.columns)
    generator = np.random.default_rng(20_310_501)
    notes = list(table.notes)
    recorded = {day - hours.first_day for day in task.recorded}
    found = list(signs_of(hours, recorded))
    forecasts, now, energy, heights, health = (), {}, (), {}, None
    if task.plan:
        description = describe_station(task.plan)
        design = description.design
        health = judge(hours, design, generator)
        found += health.findings
        forecasts = tuple(_forecasts(description, health, task.kept, generator))
        heights = heights_of(description)
    else:
        notes.append(
            f"no {PLANS}/{task.station}.toml: nothing is known of its bank and panels; signs that "
            "need no design are looked for, and no forecast is made"
        )
        found += judged_by_assumption(hours, assumed_design(hours, task.place))
    if health is not None:
        now, energy = _now(health), energy_figures(health, design)
    found += warm_box(hours, None if health is None else health.expected.light_W_m2)
    snow = _snow(hours, heights, generator)
    columns = daily_table(hours, health)
    outputs = {
        f"{FOLDER}/{task.station}.parquet": parquet_bytes(columns, daily_units(columns), {}),
        f"{FOLDER}/{task.station}_logger.parquet": _logger_bytes(table),
    }
    found.sort(key=lambda one: (one.told, one.kind))
    return (
        StationHealth(
            task.station, table.files, hours.first_day, hours.days, tuple(found), forecasts,
            _last_V(hours), now, energy, snow, tuple(notes),
        ),
        outputs,
    )  # fmt: skip


def _last_V(hours):
    """Return the last battery voltage; None without any."""
    known = hours.battery_V[np.isfinite(hours.battery_V)]
    return float(known[-1]) if known.size else None


def _logger_bytes(table):
    """Return the joined table of a station's loggers as Parquet."""
    columns = {"time_gps": table.time_ns.view("datetime64[ns]"), **table.columns}
    units = {name: name.split("_", 1)[1] for name in table.columns} | {"time_gps": "GPS time"}
    units |= {"snow_distance_m": "m"}
    metadata = {"time_scale": "GPS", "station": table.station, "files": list(table.files)}
    return parquet_bytes(columns, units, metadata)


def kept_forecasts(record, plan_sha256):
    """Return the forecasts that a station's record keeps, with day numbers; () of another plan."""
    if not record or (record.get("plan_sha256"), record.get("form")) != (plan_sha256, FORM):
        return ()
    first = record["health"]["first_day"]
    return tuple(one | {"day": one["day"] + first} for one in record["health"]["forecasts"])


def days_to_tell(days, kept):
    """Return the days whose forecast is told now: those since the last kept, every 30th, the last.

    Parameters
    ----------
    days : int
        Of telemetry.
    kept : collection of int
        Days told by earlier runs; the last day's is told anew.
    """
    since = range(max(max(kept) + 1, days - FILLED_D), days) if kept else ()
    return sorted({*range(EVERY_D, days, EVERY_D), *since, days} - (set(kept) - {days}))


def _forecasts(description, health, kept, generator):
    """Return forecasts in order of days: those kept, and those told now."""
    design, days = description.design, health.hours.days
    first = health.hours.first_day
    rows = {one["day"] - first: one | {"day": one["day"] - first} for one in kept}
    rows = {day: one for day, one in rows.items() if 0 < day <= days}
    model = weather_model(description)
    weather = draw_weather(model, first * NS_PER_DAY, YEARS, generator, (days + AHEAD_D) * 24)
    stop = None if design.turbine is None else design.turbine.rime_stop
    outlook = outlook_of_years(design, weather, stop)
    for day in days_to_tell(days, tuple(rows)):
        told = outlook_from(health, design, outlook, day, generator, hours_ahead=AHEAD_D * 24)
        early, median, late = (x / NS_PER_DAY if np.isfinite(x) else None for x in told.band_ns)
        course = [[told.quantile_ns(share) / NS_PER_DAY, share] for share in COURSE]
        rows[day] = {"day": day, "chance": told.chance, "early": early, "median": median,
                     "late": late, "course": [p for p in course if np.isfinite(p[0])]}  # fmt: skip
    return [rows[day] for day in sorted(rows)]


def _now(health):
    """Return figures of the last day."""
    last = health.hours.days - 1
    course = health.bank
    return {
        "charge": float(course.charge[last]),
        "charge_sigma": float(course.charge_sigma[last]),
        "capacity_Ah": float(course.capacity_Ah[last]),
        "capacity_sigma_Ah": float(course.capacity_sigma_Ah[last]),
    }


def _snow(hours, heights, generator):
    """Return the snow's outlook as plain parts; {} without a ranger."""
    found = snow_outlook(hours, heights, generator)
    if found is None:
        return {}
    first = float(hours.first_day)
    dates = {
        one.name: [first + hours.days + 365.25 * t if np.isfinite(t) else None
                   for t in (one.early_a, one.median_a, one.late_a)]
        for one in found.passages
    }  # fmt: skip
    return {"rise_m": found.rise_m, "rate_m_a": found.rate_m_a, "sigma_m_a": found.sigma_m_a,
            "buried": dates}  # fmt: skip


def _from_record(record):
    """Return the :class:`StationHealth` of the ledger."""
    parts = dict(record)
    for name in ("findings", "forecasts", "energy", "files", "notes"):
        parts[name] = tuple(parts[name])
    parts["findings"] = tuple(Finding(**one) for one in parts["findings"])
    return StationHealth(**parts)
