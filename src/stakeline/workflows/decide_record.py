"""From results of motion and lakes to questions: which speeds may respond to which drainages."""

from dataclasses import dataclass, field

import numpy as np

from ..campaign.folders import LAKES
from ..constants import NS_PER_DAY
from ..errors import SettingsError
from ..inference.shape import Events
from .decide_covariates import given_covariates, tide_of
from .decide_melt import MELT, melt_index
from .lakes_results import lake_results
from .motion_results import csv_rows, ns, number

SAMPLES = 32  # of onset and end of each event; choice
LEAST_DAYS = 60  # of speed, below which a station is left aside; choice
PLACEBO_ODDS = 0.05  # -, of water passing, above which a station is no placebo; choice
OVER = "station over it"
NO_ROUTES = (
    "no routes in 6-lakes/routes.csv: lay surface and bed into maps/ and run 'stakeline lakes', or "
    "name stations in campaign.toml: [decide] stations"
)


@dataclass(frozen=True)
class Speeds:
    """Daily speeds along the flow of one station, as shares of its usual speed.

    ``percent`` (n,) and ``sigma_percent`` (n,) of ``usual_m_d``, its median; NaN where a day is
    missing. ``distance_km`` from the lake's outlet along the route; NaN where not known.
    ``way_percent_d`` (n,): mean position of each day in days of a hundredth of the usual speed;
    None where the motion does not tell.
    """

    station: str
    percent: np.ndarray
    sigma_percent: np.ndarray
    usual_m_d: float
    distance_km: float = np.nan
    way_percent_d: np.ndarray | None = None


@dataclass(frozen=True)
class Question:
    """Does the speed of these stations change when this lake drains?

    ``days`` (n,) middle of each window since ``origin_ns``; ``responding`` and ``placebos`` are
    :class:`Speeds`; ``events`` with their ``names``; ``size`` and ``size_sigma`` (events,) of the
    water [m3], or of the roof's change [m], as ``size_unit`` says; ``causes``: {name: (n,)} of
    other influences, of which ``given`` names those the user gave; ``tides``: of each responding
    station, as of ``tide_of``, empty where no tide is found; ``left_out``: sentences about events
    and stations that are not used; ``trials``: Trials by which power is told.
    """

    lake: str
    origin_ns: int
    days: np.ndarray
    responding: tuple
    placebos: tuple
    events: Events | None
    names: tuple
    size: np.ndarray
    size_sigma: np.ndarray
    size_unit: str = "m3"
    causes: dict = field(default_factory=dict)
    left_out: tuple = ()
    trials: object = None
    given: tuple = ()
    tides: tuple = ()


def questions(campaign, results):
    """Return (a :class:`Question` of each lake, files read).

    Raises
    ------
    SettingsError
        Where the settings name a lake or station that is not there.
    """
    part = campaign.settings.decide
    lakes = lake_results(campaign)
    _check_names(part, lakes, results)
    routes = csv_rows(campaign.folder(LAKES) / "routes.csv")
    moving = {r.station: r for r in results if r.moves}
    axis, speeds, left_out = daily_speeds(moving.values(), part.window_d)
    melt, files, said = melt_index(campaign, axis)
    given, tables, lost = given_covariates(campaign, axis)
    files, left_out = (*files, *tables), (*left_out, *said, *lost)
    tides = {name: tide_of(result) for name, result in moving.items()}
    found = []
    for lake in lakes:
        if part.lakes and lake.lake not in part.lakes:
            continue
        roles, said = station_roles(part, lake.lake, routes, list(speeds))
        drainages = drainings(part, lake, axis)
        told = (*left_out, *said)
        found.append(
            _question(lake.lake, axis, speeds, roles, drainages, (melt, given, tides), told)
        )
    paths = [p for one in (*results, *lakes) for p in one.files]
    paths += [p for lake in lakes for p in lake.satellite_files]
    table = campaign.folder(LAKES) / "routes.csv"
    return tuple(found), (*paths, *files, *([table] if table.is_file() else []))


def _question(lake, axis, speeds, roles, drainages, influences, left_out):
    events, names, size, size_sigma, unit, said = drainages
    responding, placebos = (
        tuple(Speeds(s, *speeds[s][:3], distance, speeds[s][3]) for s, distance in some)
        for some in roles
    )
    origin_ns = int(axis[0] * NS_PER_DAY) if len(axis) else 0
    melt, given, tides = influences
    causes = ({} if melt is None else {MELT: melt}) | given
    moved = tuple(tides[s.station] for s in responding if tides[s.station])
    return Question(
        lake, origin_ns, axis - axis[:1], responding, placebos, events, names, size, size_sigma,
        unit, causes, (*left_out, *said), given=tuple(given), tides=moved,
    )  # fmt: skip


def _check_names(part, lakes, results):
    """Refuse lakes and stations that are not there."""
    there = [lake.lake for lake in lakes]
    for name in part.lakes:
        if name not in there:
            raise SettingsError(
                f"campaign.toml: [decide] lakes: there is no lake '{name}' in {LAKES}; there are "
                f"{', '.join(there) or 'none'}"
            )
    known = [r.station for r in results]
    for name in (*part.stations, *(part.placebo_stations or ())):
        if name not in known:
            raise SettingsError(
                f"campaign.toml: [decide]: there is no motion of a station '{name}'; there is of "
                f"{', '.join(known)}"
            )


def daily_speeds(results, window_d):
    """Return (days (n,) since 1970, {station: (percent, sigma, usual speed, way)}, sentences).

    Speeds are those in windows that do not overlap, each from its own positions alone: nothing of
    a later day leaks into an earlier one, as it does in smoothed speeds, where a response would
    seem to begin before its cause.

    Raises
    ------
    SettingsError
        Where the motion has no windows of this length.
    """
    found, left_out = {}, []
    for result in results:
        pick = _windows(result, window_d)
        middle = 0.5 * (ns(result.windows["start_gps"][pick]) + ns(result.windows["end_gps"][pick]))
        days = middle / NS_PER_DAY
        speed = np.asarray(result.windows["velocity_m_d"][pick], float)
        sigma = np.asarray(result.windows["velocity_sigma_m_d"][pick], float)
        keep = np.isfinite(speed) & np.isfinite(sigma) & (sigma > 0.0)
        why = _unusable(speed[keep])
        if why:
            left_out.append(f"{result.station}: {why}")
            continue
        way = _way(result, pick, middle)[keep]
        found[result.station] = days[keep], speed[keep], sigma[keep], way
    if not found:
        return np.zeros(0), {}, tuple(left_out)
    first = min(days[0] for days, *_ in found.values())
    last = max(days[-1] for days, *_ in found.values())
    axis = first + window_d * np.arange(round((last - first) / window_d) + 1)
    return axis, {s: _on_axis(axis, window_d, *rows) for s, rows in found.items()}, tuple(left_out)


def _windows(result, window_d):
    lengths = sorted(set(result.windows.get("window_d", ())))
    if window_d not in lengths:
        there = ", ".join(f"{length:g}" for length in lengths) or "none"
        raise SettingsError(
            f"{result.station}: campaign.toml: [decide] window_d = {window_d:g}: motion has "
            f"windows of {there} d; name one of them, or add it to [motion] window_d"
        )
    return (result.windows["axis"] == "along") & (result.windows["window_d"] == window_d)


def _way(result, pick, middle_ns):
    """Return the mean positions (m,) of windows, taken to their middles; NaN where not told. [m]"""
    if "position_m" not in result.windows:
        return np.full(int(pick.sum()), np.nan)
    late_d = (middle_ns - ns(result.windows["mean_gps"][pick])) / NS_PER_DAY
    velocity = np.asarray(result.windows["velocity_m_d"][pick], float)
    return np.asarray(result.windows["position_m"][pick], float) + velocity * late_d


def _unusable(speed):
    """Return why speeds say nothing; '' where they do."""
    if len(speed) < LEAST_DAYS:
        return f"{len(speed)} days of speed; {LEAST_DAYS} are needed"
    if not np.ptp(speed) > 1e-9 * np.abs(speed).max():
        return "its speed does not vary at all: no measurement does that"
    return "" if np.median(speed) > 0.0 else "its usual speed is not downstream"


def _on_axis(axis, window_d, days, speed, sigma, way):
    usual = float(np.median(speed))
    place = np.round((days - axis[0]) / window_d).astype(int)
    percent, spread, gone = np.full((3, len(axis)), np.nan)
    percent[place], spread[place] = 100.0 * speed / usual, 100.0 * sigma / usual
    gone[place] = 100.0 * way / usual
    return percent, spread, usual, gone if np.isfinite(gone).any() else None


def station_roles(part, lake, routes, stations):
    """Return ((responding, placebos), sentences): (station, distance [km]) of each.

    Responding are stations that the lake's water passes, down to the next lake, which swallows it.
    Placebos lie far beside every route, above or off it.
    """
    rows = {r["target"]: r for r in routes if r["lake"] == lake}
    by_hand = {name: _distance_km(rows.get(name)) for name in part.stations}
    left_out = []
    if by_hand:
        responding = by_hand
    elif not rows:
        responding, left_out = {}, [f"{lake}: {NO_ROUTES}"]
    else:
        below = [number(r["along_m"]) for r in rows.values() if _on_route(r, "lake")]
        swallowed = min(below, default=np.inf)
        responding = {
            name: _distance_km(r) for name, r in rows.items()
            if _on_route(r, "station")
            and number(r["probability"]) >= part.route_probability
            and number(r["along_m"]) < swallowed
        }  # fmt: skip
    placebos = part.placebo_stations
    if placebos is None:
        placebos = [s for s in stations if s not in responding and _far(part, s, routes)]
    return (
        sorted(((s, d) for s, d in responding.items() if s in stations), key=_by_distance),
        [(s, np.nan) for s in placebos if s in stations],
    ), tuple(left_out)


def _on_route(row, kind):
    return row["kind"] == kind and row["on_drawn_route"] == "yes"


def _by_distance(pair):
    return (np.inf if np.isnan(pair[1]) else pair[1], pair[0])


def _distance_km(row):
    return number(row["along_m"]) / 1e3 if row is not None else np.nan


def _far(part, station, routes):
    """Say whether a station lies far beside the routes of all lakes, and not beyond their ends.

    Ice beyond the end of a route is pushed by the ice on it.
    """
    own = [r for r in routes if r["target"] == station]
    return bool(own) and all(
        r["kind"] != OVER
        and r.get("beyond_end") != "yes"
        and number(r["probability"]) <= PLACEBO_ODDS
        and abs(number(r["beside_m"])) >= 1e3 * part.placebo_beside_km
        for r in own
    )


def drainings(part, lake, axis):
    """Return (Events or None, names, sizes, their sigmas, unit, sentences) of a lake's drainages.

    ``axis`` (n,): the days of the speeds; onsets are counted from its first.
    """
    onsets, ends, names, sizes, left_out = [], [], [], [], []
    for told in lake.told["events"]:
        if told["kind"] != "drain":
            continue
        pick = lake.samples["event"] == told["event"]
        onset, end = (
            ns(lake.samples[f"{word}_gps"][pick]) / NS_PER_DAY - (axis[0] if len(axis) else 0.0)
            for word in ("onset", "end")
        )
        why = _not_used(part, told, onset, axis)
        if why:
            left_out.append(f"{told['event']}: {why}")
            continue
        chosen = spread_samples(onset, len(names))
        onsets.append(onset[chosen])
        ends.append(end[chosen])
        names.append(told["event"])
        sizes.append(told)
    size, sigma, unit = _sizes(sizes)
    events = Events(np.array(onsets), np.array(ends)) if names else None
    return events, tuple(names), size, sigma, unit, tuple(left_out)


def _not_used(part, told, onset, axis):
    """Return why a drainage is not used; '' where it is."""
    if told["status"] == "rejected":
        return "rejected by a person"
    if number(told["probability_real"]) < part.least_probability:
        return (
            f"real with a probability of {told['probability_real']:.2f} only; "
            f"{part.least_probability:g} is asked for"
        )
    if onset.std() > part.largest_onset_sigma_d:
        return f"its onset is known to {onset.std():.1f} d only (1 sigma)"
    if len(axis) and not (part.before_d <= np.median(onset) <= axis[-1] - axis[0] - part.after_d):
        return (
            f"outside the record of speeds, or closer to its ends than {part.before_d:g} d before "
            f"and {part.after_d:g} d after"
        )
    return ""


def spread_samples(onset, number_, count=SAMPLES):
    """Return ``count`` places among samples of an onset: even over its quantiles, in mixed order.

    Mixed, so that the samples of several events stay independent of each other.
    """
    order = np.argsort(onset, kind="stable")
    even = order[((np.arange(count) + 0.5) / count * len(order)).astype(int)]
    return np.random.default_rng([count, number_]).permutation(even)


def _sizes(told):
    """Return (sizes, their sigmas, unit): volumes where all are known, else changes of the roof.

    The volume is that by stations and passes together where they agree, else by stations.
    """
    for keys, unit in ((("volume_together_m3", "volume_m3"), "m3"), (("change_m",), "m")):
        rows = np.array([_first_known(one, keys) for one in told], float).reshape(-1, 3)
        low, middle, high = rows.T
        if np.isfinite(rows).all():
            return np.abs(middle), np.maximum(np.abs(high - low) / 3.92, 1e-9), unit
    return np.full(len(told), np.nan), np.full(len(told), np.nan), "m"


def _first_known(told, keys):
    """Return (low, median, high) of the first quantity of an event that is known."""
    rows = [[number(told.get(f"{key}_{w}")) for w in ("low", "median", "high")] for key in keys]
    return next((row for row in rows if np.isfinite(row).all()), rows[-1])
