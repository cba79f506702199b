"""From the tables of one station's motion to its figures."""

import numpy as np

from ..constants import NS_PER_DAY
from ..report import motion_figures as report
from ..report.tide_figures import TideTable, draw_tide_table
from ..time import from_iso
from .motion_results import ns, numbers

WIDE = 1.96  # sigmas, half of a 95 % interval of a normal distribution
MOST_WINDOWS = 150  # in a figure; our choice
MOST_DOTS = 1500  # in a panel; our choice
MOST_TIDES = 12  # rows of a table in a figure; our choice
SETTLED = 3.0  # times the usual width: above, the causal speed has not settled; our choice
VISIT_NEAR_D = 0.5  # d, a visit so near a step is that step; our choice
AXES = ("along", "across", "up")


def station_figures(result, longest_gap_d, history=None):
    """Return {name: Figure} of one station; figures without any value are left out.

    Parameters
    ----------
    result : StationResult
    longest_gap_d : float
        Rows further apart are not joined. [d]
    history : StationHistory, optional
        Its visits are marked.
    """
    marks = marks_of(result, history)
    figures = {}
    if np.isfinite(result.columns["speed_m_d"]).any():
        figures["displacement"] = report.draw_displacement(
            displacement(result, marks, longest_gap_d)
        )
        figures["speed"] = report.draw_speed(speed(result, marks, longest_gap_d))
    if result.budget and np.isfinite(result.budget["residual_m"]).any():
        figures["height"] = report.draw_height_budget(height_budget(result, marks, longest_gap_d))
    tables = [tide_table(result, axis) for axis in ("along", "up")]
    tables = [table for table in tables if table.names]
    if tables:
        figures["tides"] = draw_tide_table(tables, f"{result.station}: tides")
    return figures


def marks_of(result, history):
    """Return the Marks of the steps taken out, the slips, and visits at which nothing moved."""
    time_ns, kind = [], []
    for row in result.steps:
        what = _step_kind(row)
        if what:
            before, after = from_iso(row["before_gps"]), from_iso(row["after_gps"])
            time_ns.append(int(before) + (int(after) - int(before)) // 2)
            kind.append(what)
    steps = np.array(time_ns, np.int64)
    for visit in [] if history is None else history.content.visit[1:]:
        near = np.abs(steps - visit.time_ns) < VISIT_NEAR_D * NS_PER_DAY
        if not near.any():
            time_ns.append(visit.time_ns)
            kind.append("visit")
    return report.Marks(np.array(time_ns, np.int64), tuple(kind))


def _step_kind(row):
    if row["removed"] == "yes":
        return "step" if row["logged"] == "yes" else "found"
    return "slip" if row["kind"] == "slip" else None


def displacement(result, marks, longest_gap_d):
    """Return the Displacement of a station, less the line through its own positions."""
    time_ns, columns = result.time_ns, result.columns
    days = (time_ns - time_ns[0]) / NS_PER_DAY
    smooth = np.stack([columns[f"{axis}_m"] for axis in AXES], axis=1)
    half = WIDE * np.stack([columns[f"{axis}_sigma_m"] for axis in AXES], axis=1)
    measured = np.full_like(smooth, np.nan)
    for k, axis in enumerate(AXES):
        measured[:, k] = columns.get(f"{axis}_unsmoothed_m", measured[:, k])
    steady = []
    for k in range(3):
        rate, line = _line(days, smooth[:, k])
        smooth[:, k] -= line
        measured[:, k] -= line
        steady.append(f"{_signed(rate, 4)} m/d")
    every = max(1, len(time_ns) // MOST_DOTS)
    note = "Tide and equipment steps are taken out."
    if every > 1 and np.isfinite(measured).any():
        note += f" Of the measured ones one in {every} is shown."
    return report.Displacement(
        f"{result.station}: displacement", time_ns[::every], measured[::every], time_ns, smooth,
        half, tuple(steady), longest_gap_d, marks, note,
    )  # fmt: skip


def _line(days, value):
    """Return the rate of a straight line and the line (n,)."""
    good = np.isfinite(value)
    if np.ptp(days[good]) == 0.0:
        return np.nan, np.full_like(value, np.nanmean(value))
    rate, level = np.polyfit(days[good], value[good], 1)
    return rate, level + rate * days


def _signed(value, decimals):
    text = f"{abs(value):.{decimals}f}"
    if not float(text):
        return text
    return f"\N{MINUS SIGN}{text}" if value < 0.0 else f"+{text}"


def _change(value_m):
    """Return the change from the first to the last value as text; changes of terms add up."""
    good = value_m[np.isfinite(value_m)]
    return f"first to last {_signed(1e2 * (good[-1] - good[0]), 1)} cm" if good.size else ""


def speed(result, marks, longest_gap_d):
    """Return the Speed of a station; the causal one from where it has settled."""
    columns = result.columns
    causal, causal_sigma = columns["causal_speed_m_d"], columns["causal_speed_sigma_m_d"]
    wider = causal_sigma / columns["speed_sigma_m_d"]  # both are wide where the ice is restless
    settled = wider < SETTLED * np.nanmedian(wider)
    windows, name = windows_of(result)
    note = (
        f"Causal speed: where its sigma, over that of both ways, is below {SETTLED:g} times the "
        "usual."
    )
    return report.Speed(
        f"{result.station}: speed along the flow", result.time_ns, columns["speed_m_d"],
        WIDE * columns["speed_sigma_m_d"], np.where(settled, causal, np.nan), WIDE * causal_sigma,
        *windows, name, longest_gap_d, marks, note,
    )  # fmt: skip


def windows_of(result):
    """Return (start, end, velocity, half width) of the shortest windows few enough, and a name."""
    table = result.windows
    nothing = (np.array([]),) * 4
    if not table or not len(table["window_d"]):
        return nothing, "no windows"
    along = table["axis"].astype(str) == "along"
    lengths = np.unique(table["window_d"][along])
    counts = [np.sum(along & (table["window_d"] == length)) for length in lengths]
    few = [length for length, count in zip(lengths, counts, strict=True) if count <= MOST_WINDOWS]
    length = few[0] if few else lengths[-1]
    rows = along & (table["window_d"] == length)
    name = (
        f"windows of {length:g} d, 95 %" if length >= 1.0 else f"windows of {24 * length:g} h, 95 %"
    )
    return (
        ns(table["start_gps"][rows]), ns(table["end_gps"][rows]), table["velocity_m_d"][rows],
        WIDE * table["velocity_sigma_m_d"][rows],
    ), name  # fmt: skip


def height_budget(result, marks, longest_gap_d):
    """Return the HeightBudget of a station: residual, measured, and each term."""
    table = result.budget
    time_ns = ns(table["time_gps"])
    names = [name.removesuffix("_sigma_m") for name in table if name.endswith("_sigma_m")]
    names = [name for name in names if not name.startswith("residual") and f"{name}_m" in table]
    total = table["residual_m"] + sum(table[f"{name}_m"] for name in names)
    misfit = np.nanmax(np.abs(table["measured_m"] - total), initial=0.0)

    def term(title, column, sigma):
        value = table[column]
        half = WIDE * table[sigma] if sigma else np.full_like(value, np.nan)
        return report.HeightTerm(title, value, half, _change(value))

    residual = term("residual up", "residual_m", "residual_sigma_m")
    terms = [term("measured", "measured_m", None)]
    terms += [term(n.replace("_", " "), f"{n}_m", f"{n}_sigma_m") for n in names]
    closed = "rounding" if misfit < 1e-9 else f"{1e3 * misfit:.1g} mm"
    note = f"The terms and the residual add up to the measured height, to {closed}."
    return report.HeightBudget(
        f"{result.station}: height budget", time_ns, residual, tuple(terms),
        longest_gap_d, marks, note,
    )  # fmt: skip


def tide_table(result, axis):
    """Return the TideTable of one axis, its largest constituents first."""
    rows = [row for row in result.tides if row["axis"] == axis][:MOST_TIDES]
    return TideTable(
        {"along": "along flow", "across": "across flow (left)", "up": "up"}[axis],
        tuple(row["constituent"] for row in rows), 1e3 * numbers(rows, "amplitude_m"),
        1e3 * WIDE * numbers(rows, "amplitude_sigma_m"), numbers(rows, "greenwich_lag_deg"),
        WIDE * numbers(rows, "greenwich_lag_sigma_deg"),
        np.array([row["by_geometry"] == "yes" for row in rows], bool),
        np.array([bool(row["inferred_from"]) for row in rows], bool),
    )  # fmt: skip
