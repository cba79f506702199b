"""The part ``passings`` of the verb ``lakes``: when dated drainings pass the stations below."""

import zlib
from dataclasses import astuple, dataclass

import numpy as np

from .. import __version__
from ..campaign.folders import LAKES, open_campaign
from ..campaign.ledger import fingerprint
from ..campaign.store import sha256_file
from ..constants import NS_PER_DAY
from ..formats.map_features import Feature, write_features
from ..lakes.passing import SOONEST_D, passing, speed_between
from ..report.passing_figures import LakePassings, PassedStation, draw_passings
from ..report.style import svg_bytes
from .lakes_parts import file_name, settle
from .lakes_passing_tables import passing_words, passings_csv, span, speed_words, speeds_csv
from .lakes_results import lake_results
from .lakes_reviews import reviewed
from .lakes_routes import placed_stations
from .lakes_sites import sites
from .motion_results import csv_rows
from .position import Outcome

RECORDS = "lakes-passings"
TABLE, SPEEDS, WORDS = "passings.csv", "water_speeds.csv", "passings.txt"
POINTS = "passings.geojson"
ROUTES, ARRIVALS = "routes.csv", "arrivals.csv"
LIKELY = 0.5  # -, of a route, from which lakes and stations count as on the way; choice
SHOWN = (0.025, 0.25, 0.5, 0.75, 0.975)  # quantiles in the figure
LATEST_D = 3.0  # d, that a lake below may begin after the slowest water; choice
LATE_SHARE = 0.5  # -, of samples of an onset that must be later than that of the lake above; choice


@dataclass(frozen=True)
class PassingsTask:
    """All dated drainings of a campaign."""

    name: str
    key: str
    campaign: object


@dataclass(frozen=True, eq=False)
class DatedPassing:
    """One draining at one station: samples (s,) in GPS time. [ns]

    ``told``: the event's dict of the summary; ``along_m``: low, median, high; ``through``: lakes on
    the way before it; ``speed_m_s``: least and greatest.
    """

    told: dict
    station: str
    probability: float
    along_m: tuple
    through: tuple
    speed_m_s: tuple
    front_ns: np.ndarray
    peak_ns: np.ndarray
    delay_h: np.ndarray


@dataclass(frozen=True, eq=False)
class DatedSpeed:
    """Speed of the water between the onsets of a draining and of a filling below it (s,)."""

    told: dict
    below: dict
    probability: float
    along_m: float
    delay_h: np.ndarray
    speed_m_s: np.ndarray


def passings_part(doing):
    """Work out when drainings pass the stations, where that is out of date."""
    campaign = doing.campaign
    folder = campaign.folder(LAKES)
    routes = [path for path in (folder / ROUTES, folder / ARRIVALS) if path.is_file()]
    results = lake_results(campaign)
    if len(routes) < 2 or not any(_drainings(campaign, result) for result in results):
        settle(doing, RECORDS, solve_passings, ())
        return Outcome("")
    settings = campaign.settings.lakes
    paths = [*routes, *(path for result in results for path in result.files)]
    reviews = [one.model_dump(mode="json") for one in settings.review]
    sums = [(campaign.relative(path), sha256_file(path)[1]) for path in paths]
    part = settings.routes
    key = fingerprint([__version__, sums, reviews, part.water_speed_m_s, part.seed,
                       list(_places_deg(campaign).items())])  # fmt: skip
    task = PassingsTask("passings", key, campaign.root)
    said = settle(doing, RECORDS, solve_passings, (task,))
    words = "" if said.failed else (folder / WORDS).read_text(encoding="utf-8")
    return Outcome(
        words, said.problems, ("passing times",) * bool(said.done),
        ("passing times",) * bool(said.current),
    )  # fmt: skip


def solve_passings(task):
    """Return {path below the campaign: bytes} of all drainings; for worker processes."""
    campaign = open_campaign(task.campaign)
    found = dated_passings(campaign)
    whole = tuple(one for one in found if one.speed_m_s[0] < one.speed_m_s[1])
    speeds = dated_speeds(campaign)
    likely = [one for one in whole if one.probability >= LIKELY]
    lines = [*map(passing_words, likely), *map(speed_words, speeds)]
    lines = lines or ["no dated draining passes a station"]
    files = {TABLE: passings_csv(found), WORDS: ("\n".join(lines) + "\n").encode("utf-8")}
    files[POINTS] = write_features(passing_features(whole, _places_deg(campaign)))
    if speeds:
        files[SPEEDS] = speeds_csv(speeds)
    for lake in dict.fromkeys(one.told["lake"] for one in likely):
        record = figure_record([one for one in likely if one.told["lake"] == lake], speeds)
        files[f"figures/passings_{file_name(lake)}.svg"] = svg_bytes(draw_passings(record))
    return {f"{LAKES}/{name}": data for name, data in files.items()}


def _places_deg(campaign):
    """Return {name: (longitude, latitude)} of stations and of places where none stands. [deg]"""
    places = (*placed_stations(campaign), *map(astuple, sites(campaign)))
    return {name: (longitude, latitude) for name, latitude, longitude, _ in places}


def passing_features(passings, places_deg):
    """Return a Feature, a point, of each draining at each place that has one."""
    found = []
    for one in (one for one in passings if one.station in places_deg):
        told = {"event": one.told["event"], "lake": one.told["lake"], "station": one.station}
        told |= {"probability": round(one.probability, 3), "through": list(one.through)}
        for name, samples in (("front", one.front_ns), ("peak", one.peak_ns)):
            words = zip(("low", "median", "high"), span(samples), strict=True)
            told |= {f"{name}_{word}_gps": time for word, time in words}
        told |= {"along_km": round(one.along_m[1] / 1e3, 3)}
        point = np.array([places_deg[one.station]], float)
        found.append(Feature("Point", (point,), told))
    return found


def _drainings(campaign, result):
    """Return (event, told) of the drainings of a lake that nobody has rejected."""
    return _events(campaign, result, "drain")


def _events(campaign, result, kind):
    told = reviewed(result.told["events"], campaign.settings.lakes.review).events
    pairs = zip(result.events(), told, strict=True)
    return [
        (event, dict(one, lake=result.lake))
        for event, one in pairs
        if one["kind"] == kind and one["status"] != "rejected"
    ]


def dated_passings(campaign):
    """Return the tuple of :class:`DatedPassing` of a campaign: by event, station, speeds.

    The range of all speeds of ``[lakes.routes]`` comes first, then each speed alone. Empty where
    routes or drainings are missing.
    """
    folder, part = campaign.folder(LAKES), campaign.settings.lakes.routes
    ways = _ways(csv_rows(folder / ARRIVALS))
    routes = csv_rows(folder / ROUTES)
    speeds = sorted(part.water_speed_m_s)
    ranges = [(speeds[0], speeds[-1])] * (len(speeds) > 1) + [(v, v) for v in speeds]
    found = []
    for result in lake_results(campaign):
        for event, told in _drainings(campaign, result):
            for (lake, station), (along_m, odds) in ways.items():
                if lake != result.lake:
                    continue
                through = _through(routes, lake, along_m[1])
                found += [
                    _passing(event, told, station, odds, along_m, through, pair, part.seed)
                    for pair in ranges
                ]
    return tuple(found)


def _passing(event, told, station, odds, along_m, through, speed_m_s, seed):
    rng = np.random.default_rng([seed, zlib.crc32(f"{told['event']}/{station}".encode())])
    one = passing(event.onset_days(), event.peak_days(), along_m, speed_m_s, rng)
    return DatedPassing(
        told, station, odds, along_m, through, speed_m_s, event.time_ns(one.front_d),
        event.time_ns(one.peak_d), 24.0 * one.delay_d,
    )  # fmt: skip


def _ways(arrivals):
    """Return {(lake, station): ((low, median, high) distance, probability)}, the nearest first."""
    found = {}
    for row in arrivals:
        metres = 3600.0 * float(row["speed_m_s"])
        along = tuple(metres * float(row[f"{word}_h"]) for word in ("low", "middle", "high"))
        found.setdefault((row["lake"], row["station"]), (along, float(row["probability"])))
    return dict(sorted(found.items(), key=lambda one: one[1][0][1]))


def _lakes_below(routes, lake):
    """Return rows (name, distance of its near margin, probability) of lakes on a lake's way."""
    return [
        (row["target"], float(row["along_m"]), float(row["probability"]))
        for row in routes
        if row["lake"] == lake and row["kind"] == "lake" and row["along_m"]
        and float(row["probability"]) >= LIKELY
    ]  # fmt: skip


def _through(routes, lake, along_m):
    return tuple(name for name, first, _ in _lakes_below(routes, lake) if first < along_m)


def dated_speeds(campaign):
    """Return the tuple of :class:`DatedSpeed`: fillings below that a draining may have begun.

    A filling counts that begins after the draining does, and no more than :data:`LATEST_D` after
    the slowest water of ``[lakes.routes]`` would be there; the first one.
    """
    routes = csv_rows(campaign.folder(LAKES) / ROUTES)
    slowest = min(campaign.settings.lakes.routes.water_speed_m_s)
    results = {result.lake: result for result in lake_results(campaign)}
    found = []
    for lake, result in results.items():
        below = [row for row in _lakes_below(routes, lake) if row[0] in results]
        for event, told in _drainings(campaign, result):
            for name, along_m, odds in below:
                latest_d = along_m / slowest / 86400.0 + LATEST_D
                first = _first_filling(campaign, results[name], event, latest_d)
                if first is not None:
                    other, told_below = first
                    delay_d, speed = _between(event, other, along_m)
                    one = DatedSpeed(told, told_below, odds, along_m, 24.0 * delay_d, speed)
                    found.append(one)
    return tuple(found)


def _between(event, other, along_m):
    """Return delays and speeds between two onsets that count from days of their own."""
    shift_d = (other.origin_ns - event.origin_ns) / NS_PER_DAY
    return speed_between(event.onset_days(), other.onset_days() + shift_d, along_m)


def _first_filling(campaign, result, event, latest_d):
    """Return (event, told) of the first filling of a lake that a draining above may have begun."""
    for other, told in _events(campaign, result, "fill"):
        delay_d, _ = _between(event, other, 1.0)
        if (delay_d >= SOONEST_D).mean() >= LATE_SHARE and np.median(delay_d) <= latest_d:
            return other, told
    return None


def figure_record(passings, speeds):
    """Return the LakePassings of one lake's drainings at the stations that they likely pass."""
    panels = []
    for event in dict.fromkeys(one.told["event"] for one in passings):
        own = [one for one in passings if one.told["event"] == event]
        told = own[0].told
        rows = tuple(
            PassedStation(one.station, one.along_m[1] / 1e3, one.probability,
                          _quantiles(one.front_ns), _quantiles(one.peak_ns)) for one in own
        )  # fmt: skip
        lakes = tuple(
            (one.below["lake"], one.along_m / 1e3, _span_ns(one.below, "onset"))
            for one in speeds if one.told["event"] == event
        )  # fmt: skip
        panels.append((_span_ns(told, "onset"), _span_ns(told, "peak"), rows, lakes))
    low, high = passings[0].speed_m_s
    note = (
        f"Water between {low:g} and {high:g} m/s, even in the logarithm; onset or peak, distance "
        "and speed drawn together. Thin: 95 %, thick: the middle half, dot: median.\nIn brackets: "
        "probability of the way. Lakes that must first fill hold water up: that is not in it."
    )
    return LakePassings(passings[0].told["lake"], tuple(panels), note)


def _quantiles(samples_ns):
    """Return the quantiles of samples that the figure shows. [ns]"""
    middle = np.quantile(
        (samples_ns - samples_ns[0]).astype(float), (0.025, 0.25, 0.5, 0.75, 0.975)
    )
    return tuple((samples_ns[0] + np.round(middle).astype(np.int64)).tolist())


def _span_ns(told, name):
    words = (told[f"{name}_{word}_gps"] for word in ("low", "median", "high"))
    return tuple(int(np.datetime64(word, "ns").astype(np.int64)) for word in words)
