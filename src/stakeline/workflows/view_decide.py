"""The decision page: the sentence, speeds around the events, effects, chance, power, choices."""

import numpy as np

from ..campaign.folders import DECIDE, MOTION, open_campaign
from ..campaign.store import read_table
from ..errors import SettingsError
from .decide_words import begun_low
from .view_tables import json_of, number, numbers, plain, rows_of, text_of

BEFORE_D, AFTER_D = 20, 40  # d, shown around an onset; choice
ALL = "all"
ZERO_INK = 5  # the grey one of a chart's inks
CHARTS = {
    "effects": ("Change of speed", "95 % intervals; all events of a station together."),
    "lags": ("How late the change comes", "95 % intervals."),
    "power": ("How small a change would have been called one", "Changes put in at other times."),
    "choices": ("Other choices", "Pooled change with its 95 % interval."),
}


def decision(root):
    """Return what the decision page shows, as a dict; ``there`` is False before ``decide``."""
    folder = open_campaign(root).folder(DECIDE)
    told = json_of(folder / "verdict.json")
    lakes = told.get("lakes", [])
    figures = sorted(path.stem for path in (folder / "figures").glob("*.svg"))
    return {
        "there": bool(told),
        "sentence": told.get("verdict", {}).get("sentence", ""),
        "plan": told.get("plan", {}).get("sentence", ""),
        "lakes": [(one["of"], begun_low(one["sentence"])) for one in lakes],
        "support": told.get("verdict", {}).get("support", []),
        "weakening": told.get("verdict", {}).get("weakening", []),
        "text": text_of(folder / "verdict.txt"),
        "aligned": sorted({row["lake"] for row in rows_of(folder / "effects.csv")}),
        "charts": CHARTS,
        "chance": "chance" in figures,
        "tests": [
            (row["lake"], row["station"], row["test"], row["rank"], row["p"], row["what_it_says"])
            for row in rows_of(folder / "tests.csv")
        ],
        "choices": [
            (row["lake"], row["choice"], row["change_percent"], row["change_low_percent"],
             row["change_high_percent"], row["agrees"])
            for row in rows_of(folder / "robustness.csv")
        ],
    }  # fmt: skip


def decide_chart(root, name, lake=""):
    """Return a chart of the decision page, as a dict for a chart.

    Raises
    ------
    SettingsError
        For a chart that is not there.
    """
    folder = open_campaign(root).folder(DECIDE)
    makers = {"effects": _effects, "lags": _lags, "power": _power, "choices": _choices}
    if name == "aligned":
        return _aligned(root, folder, lake)
    if name not in makers:
        raise SettingsError(f"there is no chart '{name}' of the decision")
    return makers[name](folder)


def chance_figure(root):
    """Return the drawing of what chance alone can do, as bytes; SettingsError where none is."""
    path = open_campaign(root).folder(DECIDE) / "figures" / "chance.svg"
    if not path.is_file():
        raise SettingsError("there is no drawing of chance yet: stakeline decide")
    return path.read_bytes()


def _bars(rows, labels, kind, unit):
    low, high = (numbers(rows, f"{kind}_{end}_{unit}") for end in ("low", "high"))
    return {"kind": "across", "x": numbers(rows, f"{kind}_{unit}"), "y": labels,
            "low": low, "high": high}  # fmt: skip


def _by_station(folder, kind, unit, title):
    rows = [row for row in rows_of(folder / "effects.csv") if row["event"] == ALL]
    labels = [f"{row['lake']}: {row['station']}" for row in rows]
    return {"names_y": True, "x_title": title, "height": 90 + 34 * len(rows),
            "traces": [_bars(rows, labels, kind, unit), *_zero(labels)]}  # fmt: skip


def _zero(labels):
    """Return the line at 0 along all rows, which keeps 0 on the axis; none without rows."""
    ends = [labels[0], labels[-1]] if labels else []
    return [{"x": [0.0, 0.0], "y": ends, "ink": ZERO_INK, "wide": 1.0}] if ends else []


def _effects(folder):
    return _by_station(folder, "change", "percent", "change of speed [%]")


def _lags(folder):
    return _by_station(folder, "lag", "d", "lag after the onset [d]")


def _choices(folder):
    rows = rows_of(folder / "robustness.csv")
    labels = [f"{row['lake']}: {row['choice']}" for row in rows]
    return {"names_y": True, "x_title": "change of speed [%]", "height": 90 + 24 * len(rows),
            "traces": [_bars(rows, labels, "change", "percent"), *_zero(labels)]}  # fmt: skip


def _power(folder):
    rows = rows_of(folder / "power.csv")
    names = dict.fromkeys(row["lake"] for row in rows)
    traces = []
    for name in names:
        own = [row for row in rows if row["lake"] == name]
        traces.append({"name": name, "x": numbers(own, "change_percent"),
                       "y": numbers(own, "share_called")})  # fmt: skip
    return {"x_title": "change of speed [%]", "y_title": "share called faster or slower",
            "traces": traces}  # fmt: skip


def _aligned(root, folder, lake):
    """Return the daily speeds of a lake's stations around its drainages, less those before."""
    effects = [row for row in rows_of(folder / "effects.csv") if row["lake"] == lake]
    if not effects:
        raise SettingsError(f"there is no effect of a lake '{lake}'")
    onsets = _onsets(root, {row["event"] for row in effects} - {ALL})
    path = open_campaign(root).folder(MOTION) / "network.parquet"
    columns = read_table(path)[0] if path.is_file() else {"station": np.array([]), "time_gps": []}
    usual = {row["station"]: number(row["usual_speed_m_d"]) for row in effects}
    since = np.arange(-BEFORE_D, AFTER_D + 1)
    traces = []
    for ink, (station, speed) in enumerate(usual.items()):
        own = columns["station"] == station
        if not own.any() or not speed:
            continue
        days = columns["time_gps"][own].astype("datetime64[D]")
        percent = 100.0 * columns["speed_m_d"][own] / speed
        each = np.array([_around(days, percent, onset, since) for onset in onsets])
        there = np.isfinite(each)
        total = np.where(there, each, 0.0).sum(axis=0)
        mean = np.full(len(since), np.nan)
        np.divide(total, there.sum(axis=0), out=mean, where=there.any(axis=0))
        traces.append({"name": station, "ink": ink, "x": since.tolist(), "y": plain(mean)})
    return {"x_title": "days after the onset", "y_title": "speed less that before [%]",
            "height": 340, "spans": [{"from": 0, "to": 0.2, "text": "onset"}],
            "traces": traces}  # fmt: skip


def _onsets(root, names):
    rows = rows_of(open_campaign(root).folder("6-lakes") / "events.csv")
    return [np.datetime64(row["onset_median_gps"][:10]) for row in rows if row["event"] in names]


def _around(days, percent, onset, since):
    """Return the values (n,) of the days around an onset less the mean of those before it."""
    wanted = onset + since
    at = np.minimum(np.searchsorted(days, wanted), len(days) - 1)
    values = np.where(days[at] == wanted, percent[at], np.nan)
    before = values[since < 0]
    before = before[np.isfinite(before)]
    return values - before.mean() if len(before) else np.full(len(since), np.nan)
