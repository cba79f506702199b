"""Health and quality as intake writes them: tables, and lines of the summary."""

import csv
import io
from collections import Counter

import numpy as np

from ..campaign.folders import INTAKE
from ..constants import NS_PER_DAY
from ..report.quality_figures import PANELS, Calendar, draw_calendar
from ..report.style import svg_bytes
from ..time import iso
from .health_energy import ENERGY_COLUMNS, energy_lines, energy_rows
from .health_tables import (
    FINDING_COLUMNS,
    FORECAST_COLUMNS,
    finding_rows,
    forecast_rows,
)
from .health_visits import VISIT_COLUMNS
from .quality import QUALITY_COLUMNS, quality_row
from .visit_changes import CHANGE_COLUMNS

CALENDAR = f"{INTAKE}/quality_calendar.svg"
USUAL_MULTIPATH_M = (0.5, 0.75)  # m; two in three stations of a global network, from memory
USUAL_PER_SLIP = 500.0  # satellite epochs for each slip; own choice
WEAK_dB_Hz = 6.0  # dB-Hz, below a station's own median: snow or rime on the antenna, own choice
LOW_PERCENT = 90.0  # %; of satellite epochs promised, own choice
FAST_INDEX = 0.5  # TECU/min; common limit of a disturbed ionosphere, Pi et al. (1997)


SWINGS = 0.3  # -; below it scintillation is weak (S4; common practice, no source)
LEAST_SWINGS, SWINGS_UP = 0.1, 2.0  # -; or so far above a station's own median, own choice


def csv_text(rows, names):
    """Return rows of dicts as CSV text; None is blank."""
    sink = io.StringIO()
    writer = csv.DictWriter(sink, names, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return sink.getvalue()


def quality_rows(files):
    """Return a row of quality for each usable file of observations, by station and time."""
    own = sorted((f for f in files if f.usable and f.raw.quality),
                 key=lambda f: (f.station, f.span_ns, f.raw.path))  # fmt: skip
    return [
        quality_row(f.station, iso(f.span_ns[0] // NS_PER_DAY * NS_PER_DAY)[:10], f.raw.path,
                    f.raw.quality)
        for f in own
    ]  # fmt: skip


def quality_files(files):
    """Return {path: text} of the quality table; {} without any observations."""
    rows = quality_rows(files)
    return {f"{INTAKE}/quality.csv": csv_text(rows, QUALITY_COLUMNS)} if rows else {}


def calendar_file(files):
    """Return {path: bytes} of the campaign's calendar of quality; {} without observations."""
    rows = quality_rows(files)
    if not rows:
        return {}
    stations = tuple(sorted({row["station"] for row in rows}))
    days = np.array([row["day_gps"] for row in rows], "datetime64[D]").astype(int)
    shape = (len(stations), int(days.max() - days.min()) + 1)
    grids = {name: np.full(shape, np.nan) for name in PANELS}
    for row, day in zip(rows, days, strict=True):
        for name in PANELS:
            value = row[name]
            grids[name][stations.index(row["station"]), day - days.min()] = (
                np.nan if value is None else value
            )
    record = Calendar(stations, int(days.min()) * NS_PER_DAY, grids)
    return {CALENDAR: svg_bytes(draw_calendar(record))}


def quality_lines(files):
    """Return a line for each station, and one below for each day that stands out."""
    rows, lines = quality_rows(files), []
    for station in sorted({row["station"] for row in rows}):
        own = [row for row in rows if row["station"] == station]
        lines.append(
            f"{station}: {len(own)} files; medians: {_median(own, 'percent', '.1f')} % of "
            f"satellite epochs above 10 deg, multipath {_median(own, 'multipath_1_m', '.2f')} and "
            f"{_median(own, 'multipath_2_m', '.2f')} m, "
            f"{_median(own, 'strength_1_high_dB_Hz', '.1f')} dB-Hz high up, "
            f"{_median(own, 'epochs_per_slip', '.0f')} satellite epochs for each slip, "
            f"{_median(own, 'slips_per_arc', '.2f')} slips for each arc; "
            f"clock {_clock(own)}"
        )
        lines += [
            f"  {row['day_gps']} {row['file']}: {'; '.join(told)}"
            for row, told in odd_days(own)
            if told
        ]
    return lines


def _clock(own):
    """Return how a station's clock behaves, by its files, in words."""
    kinds = Counter(row["clock"] for row in own)
    said = ", ".join(f"{kind} ({count} files)" for kind, count in kinds.most_common())
    drift = _number(own, "clock_drift_ns_s")
    if np.isnan(drift):
        return said
    noise = _number(own, "clock_noise_ns")
    about = f"{noise:.3g} ns" if noise < 1000.0 else f"{noise / 1000.0:.0f} us"
    return f"{said}, {drift:+.3g} ns/s, {about} about a line"


def odd_days(own):
    """Return (row, what stands out in words) of each row of a station's quality."""
    strength, swing = (_number(own, name) for name in ("strength_1_high_dB_Hz", "power_swing"))
    swings = min(SWINGS, max(LEAST_SWINGS, SWINGS_UP * swing))
    return [(row, _odd(row, strength, swings)) for row in own]


def _number(rows, name):
    values = [row[name] for row in rows if row[name] is not None]
    return float(np.median(values)) if values else np.nan


def _median(rows, name, form):
    value = _number(rows, name)
    return "no" if np.isnan(value) else format(value, form)


def _odd(row, usual_strength, swings):
    """Return what stands out in a day, in words."""
    found = []
    percent, slips = row["percent"], row["epochs_per_slip"]
    if percent is not None and percent < LOW_PERCENT:
        found.append(f"{percent:.0f} % of the satellite epochs that the orbits promise")
    for name, usual in zip(("multipath_1_m", "multipath_2_m"), USUAL_MULTIPATH_M, strict=True):
        if row[name] is not None and row[name] > usual:
            found.append(f"multipath {row[name]:.2f} m (usual: below {usual:g} m)")
    if row["slips"] and slips is not None and slips < USUAL_PER_SLIP:
        found.append(f"{row['slips']} slips ({row['slips_by_flag']} by the receiver's flags)")
    strength = row["strength_1_high_dB_Hz"]
    if strength is not None and strength < usual_strength - WEAK_dB_Hz:
        found.append(f"signals {usual_strength - strength:.0f} dB weaker: snow or rime, cable")
    index = row["ionosphere_index_tecu_min"]
    if index is not None and index > FAST_INDEX:
        found.append(f"restless ionosphere, {index:.1f} TECU/min")
    swing = row["power_swing"]
    if swing is not None and swing > swings:
        found.append(f"received power swings by {swing:.2f} of its mean (above {swings:.2f}: "
                     "scintillation or interference)")  # fmt: skip
    if row["clock_jumps"]:
        found.append(f"the receiver's clock jumped in the code {row['clock_jumps']} times")
    if row["never_seen"]:
        found.append(f"promised and never tracked: {row['never_seen']}")
    return found


def health_files(health, visits):
    """Return {path: text} of findings, forecasts, energy and visits; {} of what is not there."""
    files = {f"{INTAKE}/visits.csv": csv_text(visits, VISIT_COLUMNS)} if visits else {}
    if not any(one.files or one.findings for one in health):
        return files
    return files | {
        f"{INTAKE}/health.csv": csv_text(finding_rows(health), FINDING_COLUMNS),
        f"{INTAKE}/energy.csv": csv_text(energy_rows(health), ENERGY_COLUMNS),
        f"{INTAKE}/forecasts.csv": csv_text(forecast_rows(health), FORECAST_COLUMNS),
    }


def change_files(rows):
    """Return {path: text} of what visits changed; {} without a visit behind a set-up."""
    return {f"{INTAKE}/visit_changes.csv": csv_text(rows, CHANGE_COLUMNS)} if rows else {}


def health_lines(health):
    """Return the lines of the summary: state and outlook of each station, then each finding."""
    lines = []
    for one in health:
        if not (one.files or one.findings):
            continue
        files = ", ".join(one.files) or "no logger"
        lines.append(f"{one.station} ({files}): {_state(one)}")
        lines += [f"  {note}" for note in one.notes]
        lines += [f"  {line}" for line in energy_lines(one)]
        lines += [f"  {line}" for line in _findings(one)]
    return lines


def _findings(one):
    """Return a line for each kind of finding: the latest of them, and how many there are."""
    lines = []
    for kind in dict.fromkeys(f.kind for f in one.findings):
        own = [f for f in one.findings if f.kind == kind]
        last = own[-1]
        holds = "still so" if last in one.holding else f"until {one.date(last.last)}"
        more = f" (the latest of {len(own)})" if own[1:] else ""
        lines.append(f"{kind}, from {one.date(last.begins)}, {holds}{more}: {last.why}")
    return lines


def _state(one):
    """Return the state of a station in a sentence."""
    if one.problem:
        return f"cannot be judged: {one.problem}"
    words = [f"telemetry of {one.days} days to {one.date(one.days - 1)}"]
    if one.now:
        now = one.now
        words.append(
            f"bank {100 * now['charge']:.0f} % full (+- {100 * now['charge_sigma']:.0f}), "
            f"{now['capacity_Ah']:.0f} +- {now['capacity_sigma_Ah']:.0f} Ah"
        )
    if one.forecasts:
        words.append(_outlook(one))
    if one.snow:
        words.append(_snow(one))
    return "; ".join(words)


def _outlook(one):
    """Return the forecast of the last day in words."""
    told = one.forecasts[-1]
    text = f"{100 * told['chance']:.0f} % chance of going dark within 400 days"
    if told["median"] is None:
        return text
    late = one.date(told["late"] - one.first_day) if told["late"] is not None else "never"
    return (
        f"{text}, around {one.date(told['median'] - one.first_day)} (90 %: "
        f"{one.date(told['early'] - one.first_day)} to {late})"
    )


def _snow(one):
    """Return the snow's course in words."""
    snow = one.snow
    text = f"snow {snow['rise_m']:+.2f} m, {snow['rate_m_a']:+.2f} +- {snow['sigma_m_a']:.2f} m/a"
    dates = [(d[1], name, d) for name, d in snow["buried"].items() if d[1] is not None]
    if dates:
        middle, name, band = min(dates)
        early = one.date(band[0] - one.first_day)
        late = one.date(band[2] - one.first_day) if band[2] is not None else "later"
        text += f", over the {name} around {one.date(middle - one.first_day)} ({early} to {late})"
    return text


def visit_lines(visits):
    """Return the next visits, one a line."""
    return [
        f"{row['rank']}. {row['station']}: {row['lost_days']} days of science may be lost by "
        f"{row['until']}, risk {row['risk']}: {row['reason']}"
        + (f"; before {row['before']}" if row["before"] else "")
        for row in visits
    ]
