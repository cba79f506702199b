"""What a visit changed, before against after; and its form held against telemetry and headers."""

import math

import numpy as np

from ..campaign.folders import INTAKE
from ..campaign.store import read_table
from ..campaign.visit_record import read_record, standing
from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SettingsError
from ..station.typed_number import typed_number
from ..time import iso

AROUND_D = 7  # d, before and after a visit whose median is told; own choice
NEAR_S = 3600  # s, around a visit, in which the logger's voltage is looked for; own choice
SAME_V = 0.10  # V of 12, by which meter and logger may differ; common practice, no source
WRITTEN_V = ("battery_rest_V", "battery_at_controller_V")
CHANGE_COLUMNS = ("station", "visit", "kind", "what", "before", "after", "change")


def change_rows(station, history, daily):
    """Return a row for each figure that stood before or after each visit but the set-up.

    Parameters
    ----------
    station : str
    history : StationHistory
    daily : dict of array
        Columns of a station's daily table with ``day_gps``; {} without a logger.
    """
    rows = []
    for last, visit in zip(history.content.visit, history.content.visit[1:], strict=False):
        pairs = _written(history, last, visit) | _measured(daily, visit.time_ns)
        for what, (before, after) in pairs.items():
            numbers = all(isinstance(one, float) for one in (before, after))
            rows.append(
                {
                    "station": station,
                    "visit": iso(visit.time_ns)[:16],
                    "kind": visit.kind,
                    "what": what,
                    "before": _text(before),
                    "after": _text(after),
                    "change": f"{after - before:+.4g}" if numbers else "",
                }
            )
    return rows


def _text(value):
    return f"{value:.5g}" if isinstance(value, float) else value or ""


def _written(history, last, visit):
    """Return {what: (before, after)} of the history where the visit says it or changed it."""
    before = math.hypot(*history.height_at(last.time_ns))
    pairs = {"antenna height [m]": (before, math.hypot(*history.height_at(visit.time_ns)))}
    if visit.height_found is not None:
        found = visit.height_found.vertical_m
        pairs["antenna height kept and found [m]"] = (before, found)
    if visit.mark_above_snow_m is not None:
        earlier = [v.mark_above_snow_m for v in history.content.visit if v.time < visit.time]
        known = [one for one in earlier if one is not None]
        pairs["marker above snow [m]"] = (known[-1] if known else "", visit.mark_above_snow_m)
    for part in ("antenna", "receiver"):
        state = getattr(history, f"{part}_at")
        old, new = state(last.time_ns), state(visit.time_ns)
        for name in type(new).model_fields:
            if getattr(old, name) != getattr(new, name):
                pairs[f"{part} {name}"] = (getattr(old, name), getattr(new, name))
    return pairs


def _measured(daily, time_ns):
    """Return {what: (before, after)} of daily figures, medians of a week each, without its day."""
    if not daily:
        return {}
    days = (
        daily["day_gps"].astype("datetime64[ns]").astype(np.int64) // NS_PER_DAY
        - time_ns // NS_PER_DAY
    )
    sides = (days < 0) & (days >= -AROUND_D), (days > 0) & (days <= AROUND_D)
    pairs = {}
    for name in daily:
        values = [daily[name][side] for side in sides] if name != "day_gps" else []
        values = [one[np.isfinite(one)] for one in values]
        if values and all(one.size for one in values):
            pairs[name] = tuple(float(np.median(one)) for one in values)
    return pairs


def voltage_sentences(visit, entries, logger):
    """Return what differs between the battery voltages written at a visit and the logger's.

    Parameters
    ----------
    visit : Visit
    entries : dict
        What stands of the visit's record, by key.
    logger : dict of array
        ``time_gps`` and ``battery_V``; {} without a logger.
    """
    given = {key: entries[key] for key in WRITTEN_V if entries.get(key, "") != ""}
    written = {key: typed_number(value, "V") for key, value in given.items()}
    if not written or "battery_V" not in logger:
        return []
    off_s = (
        np.abs(logger["time_gps"].astype("datetime64[ns]").astype(np.int64) - visit.time_ns)
        / NS_PER_S
    )
    near = logger["battery_V"][(off_s <= NEAR_S) & np.isfinite(logger["battery_V"])]
    at = f"visit of {iso(visit.time_ns)[:16]}"
    if not near.size:
        return [
            f"{at}: no battery voltage in the telemetry within an hour; the form's stands alone"
        ]
    low, high = float(near.min()), float(near.max())
    most = SAME_V * max(round(float(np.median(near)) / 12.0), 1)
    return [
        f"{at}: {key} is {volts:.2f} V in the form, {low:.2f} to {high:.2f} V in the telemetry "
        "within an hour: meter, cable, or the logger's divider"
        for key, volts in written.items()
        if not low - most <= volts <= high + most
    ]


def _ns(times):
    """Return times as whole nanoseconds."""
    return times.astype("datetime64[ns]").astype(np.int64)


def header_sentences(history, files):
    """Return, for each visit, what the header of the first file behind it contradicts."""
    own = sorted((f for f in files if f.usable and f.station == history.station and f.span_ns),
                 key=lambda f: f.span_ns)  # fmt: skip
    times = [visit.time_ns for visit in history.content.visit]
    said = []
    for begin, end in zip(times, [*times[1:], np.inf], strict=True):
        first = next((f for f in own if begin <= f.span_ns[0] < end), None)
        if first is not None:
            at = f"visit of {iso(begin)[:16]}, first file behind it {first.raw.path}"
            said += [f"{at}: {sentence}" for sentence in first.mismatches]
    return said


def visits_told(campaign, files, histories):
    """Return (rows of what visits changed, sentences of the audit of their forms)."""
    rows, said = [], []
    for station, history in sorted(histories.items()):
        daily = _table(campaign, f"{INTAKE}/health/{station}.parquet")
        logger = _table(campaign, f"{INTAKE}/health/{station}_logger.parquet")
        rows += change_rows(station, history, daily)
        audit = header_sentences(history, files)
        for visit in history.content.visit:
            audit += _form_sentences(campaign, visit, logger)
        said += [f"{station}: {sentence}" for sentence in audit]
    return rows, said


def _form_sentences(campaign, visit, logger):
    """Return the voltage sentences of a visit with a frozen record; what is wrong with a record."""
    if not visit.record:
        return []
    try:
        chain = read_record((campaign.root / visit.record).parent)
    except SettingsError as problem:
        return [str(problem)]
    return voltage_sentences(visit, standing(chain), logger)


def _table(campaign, name):
    """Return the columns of a table of intake's; {} where there is none."""
    path = campaign.root / name
    return read_table(path)[0] if path.is_file() else {}
