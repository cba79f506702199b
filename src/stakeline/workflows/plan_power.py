"""How many stations, drainages and days of record it takes to see a change of speed."""

from dataclasses import dataclass, replace

import numpy as np

from ..formats.plain_table import write_plain_table
from ..inference.power import sigma_of_series, smallest_formula
from ..lakes.network_sight import CORRELATION
from ..lakes.placement import change_sigma_m
from ..report.power_figure import PowerCurves, draw_power
from ..report.style import svg_bytes
from .lakes_carried import speeds_by_map
from .plan_network import DEGREES, WHITE_M, model_of, noise_of
from .plan_record_power import record_sigmas
from .plural import counted

POWERS = (0.80, 0.95)
STATIONS, DRAINAGES = np.arange(1, 16), np.arange(1, 21)
RECORDS_D = np.array([1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 60.0, 120.0])
MOST = 1000  # stations or drainages that are looked for; choice
MELT_WALK = 64.0  # times the usual walk of the speed, of a melt season nobody has measured; choice:
# as of the invented campaign
RESTLESS = 1.5  # times the sigma of the usual season, from which another one is told; choice


@dataclass(frozen=True)
class SeasonNoise:
    """Noise of one season: ``name`` in words, its MotionModel."""

    name: str
    model: object


@dataclass(frozen=True, eq=False)
class NetworkPower:
    """What a plan's stations would see.

    ``part``: NetworkPart; ``stations``: that move, of the plan; ``speed_m_d`` NaN where nobody
    knows, ``speed_words``; ``seasons``: tuple of SeasonNoise, the usual one first; ``noise``:
    where it is from; ``rows`` of (season, along, value, stations, drainages, record [d], power,
    change [m/d]); ``record``: of daily speeds, as of :func:`~.plan_record_power.record_sigmas`.
    """

    part: object
    stations: int
    speed_m_d: float
    speed_words: str
    seasons: tuple
    noise: str
    rows: tuple
    record: tuple | None = None


def speed_of(campaign, places, results):
    """Return (usual speed of the ice [m/d] or NaN, where it is from).

    ``[network] speed_m_d``, else the median of moving stations, else maps at the places planned.
    """
    told = campaign.settings.network.speed_m_d
    if told is not None:
        return told, "campaign.toml, [network] speed_m_d"
    speeds = [r.mean_speed_m_d[0] for r in results if r.moves]
    if speeds:
        return float(np.median(speeds)), f"median of {len(speeds)} moving stations"
    at = [(one.latitude_deg, one.longitude_deg) for one in places if not one.on_rock]
    mapped, where = speeds_by_map(campaign, np.radians(np.reshape(at, (-1, 2))))
    known = mapped[np.isfinite(mapped)]
    if known.size:
        return float(np.median(known)), f"{where} at {known.size} planned places"
    return np.nan, "not known: say it in campaign.toml, [network] speed_m_d, or give a map of speed"


def seasons_of(results, length_d, record_d):
    """Return (tuple of :class:`SeasonNoise`, where the noise is from).

    The usual season is that of :func:`~.plan_network.noise_of`; beside it the part of any
    station's record in which a change is seen worst, where it is much worse; before there is any
    record a season of :data:`MELT_WALK`.
    """
    usual, _, words = noise_of(results)
    found = [SeasonNoise("usual season", usual)]
    worst = (_one(usual, length_d, record_d), None)
    for result in (r for r in results if r.moves and r.told):
        noise = result.told["axes"]["along"]["noise"]
        for part in noise.get("parts", ()):
            model = replace(model_of(noise), acceleration_m2_d3=part["acceleration_m2_d3"])
            name = f"most restless season ({result.station} from {part['from_gps'][:10]})"
            worst = max(worst, (_one(model, length_d, record_d), (name, model)),
                        key=lambda pair: pair[0])  # fmt: skip
    if not any(r.moves and r.told for r in results):
        restless = replace(usual, acceleration_m2_d3=MELT_WALK * usual.acceleration_m2_d3)
        found.append(
            SeasonNoise(f"restless season, taken as {MELT_WALK:g} times the walk", restless)
        )
    if worst[1] and worst[0] > RESTLESS * _one(usual, length_d, record_d):
        found.append(SeasonNoise(*worst[1]))
    return tuple(found), words


def _one(model, length_d, record_d):
    """Return the sigma of a change of speed by one station and drainage. [m/d]"""
    return change_sigma_m(model, WHITE_M, length_d, record_d, record_d) / length_d


def power_of_network(campaign, places, results):
    """Return the :class:`NetworkPower` of a plan's places."""
    part = campaign.settings.network
    stations = max(sum(not one.on_rock for one in places), 1)
    speed, words = speed_of(campaign, places, results)
    seasons, noise = seasons_of(results, part.length_d, part.record_d)
    rows = [row for one in seasons for row in _rows(one, part, stations)]
    record = record_sigmas(results, part.length_d, part.drainages)
    if record is not None:
        rows += _record_rows(record, part, stations)
    return NetworkPower(part, stations, speed, words, seasons, noise, tuple(rows), record)


def _record_rows(record, part, stations):
    """Yield the rows along the days of whole records of daily speeds."""
    name, _, sigmas = record
    for power in POWERS:
        for days, sigma in sigmas:
            change = factor_of(power) * together(sigma, stations, 1)  # drainages are in sigma
            yield name, "days", days, stations, part.drainages, np.nan, power, change


def _rows(season, part, stations):
    """Yield the rows of one season: along stations, along drainages, along days of record."""
    one = _one(season.model, part.length_d, part.record_d)
    records = [(d, _one(season.model, part.length_d, d)) for d in RECORDS_D]
    for power in POWERS:
        factor = factor_of(power)
        usual = (stations, part.drainages, part.record_d)
        for count in STATIONS:
            change = factor * together(one, count, part.drainages)
            yield season.name, "stations", count, count, *usual[1:], power, change
        for count in DRAINAGES:
            change = factor * together(one, stations, count)
            yield season.name, "drainages", count, stations, count, usual[2], power, change
        for days, sigma in records:
            change = factor * together(sigma, stations, part.drainages)
            yield season.name, "record_d", days, *usual[:2], days, power, change


def factor_of(power):
    """Return the smallest change that is seen with a power, in sigmas."""
    return smallest_formula(1.0, DEGREES, power)


def together(sigma, stations, drainages):
    """Return the sigma of the mean of stations, alike in part, and of independent drainages."""
    return sigma_of_series(sigma / np.sqrt(drainages), int(stations), CORRELATION)


def needed(sigma, change, power, stations, drainages):
    """Return (least stations with these drainages, least drainages with these stations).

    None where none up to 1000 is enough: alike noise of stations does not average out.
    """
    bar = change / factor_of(power)
    count = next((n for n in range(1, MOST + 1) if together(sigma, n, drainages) <= bar), None)
    events = int(np.ceil((together(sigma, stations, 1) / bar) ** 2 * (1.0 - 1e-12)))
    return count, max(events, 1) if events <= MOST else None


def power_words(found):
    """Yield the answer in sentences: what is seen, and what a wished change takes."""
    part = found.part
    yield (
        f"how many, how long? changes of {part.length_d:g} d, {part.record_d:g} d of record before "
        f"and after; {found.noise}; speed: {found.speed_words}"
    )
    if not found.noise.startswith("noise along"):
        yield "  how restless the ice is in its melt season is not known: that below is a choice"
    for season in found.seasons:
        sigma = _one(season.model, part.length_d, part.record_d)
        for power in POWERS:
            seen = factor_of(power) * together(sigma, found.stations, part.drainages)
            of = "" if np.isnan(found.speed_m_d) else f" ({100.0 * seen / found.speed_m_d:.2g} %)"
            yield (
                f"  {season.name}: {counted(found.stations, 'station')} and "
                f"{counted(part.drainages, 'drainage')} see "
                f"{1e3 * seen:.1f} mm/d{of} with {100 * power:.0f} %{_inverse(found, sigma, power)}"
            )
    yield from _record_words(found)


def _record_words(found):
    """Yield a sentence on daily speeds of whole records, where there are any."""
    if found.record is None:
        return
    name, usual, sigmas = found.record
    usual = found.speed_m_d if np.isfinite(found.speed_m_d) else usual
    factor = factor_of(POWERS[0])
    seen = [
        f"{days:.0f} d {1e3 * change:.1f} mm/d ({100.0 * change / usual:.2g} %)"
        for days, sigma in sigmas
        for change in [factor * together(sigma, found.stations, 1)]
    ]
    yield (
        f"  {name}: {counted(found.stations, 'station')} and "
        f"{counted(found.part.drainages, 'drainage')} in a record of {', '.join(seen)}, with 80 %"
    )


def _inverse(found, sigma, power):
    """Return what the wished change takes, in words."""
    part = found.part
    if np.isnan(found.speed_m_d):
        return ""
    change = 0.01 * part.change_percent * found.speed_m_d
    least, events = needed(sigma, change, power, found.stations, part.drainages)
    by_stations = "no number of stations" if least is None else counted(least, "station")
    by_events = f"more than {MOST} drainages" if events is None else counted(events, "drainage")
    if events is not None and part.drainages_per_year is not None:
        by_events += f" ({events / part.drainages_per_year:.1f} years)"
    drainages, stations = counted(part.drainages, "drainage"), counted(found.stations, "station")
    wanted = f"for {part.change_percent:g} %"
    return f"; {wanted}: {by_stations} with {drainages}, or {by_events} with {stations}"


def power_files(found, name):
    """Return {file name: bytes} of table and figure; ``name`` of the campaign."""
    names = ("season", "along", "value", "stations", "drainages", "record_d", "power")
    *columns, change = (np.array(column) for column in zip(*found.rows, strict=True))
    table = dict(zip(names, columns, strict=True))
    table["smallest_change_m_d"] = change
    table["smallest_change_percent"] = 100.0 * change / found.speed_m_d
    decimals = {"value": 1, "record_d": 1, "power": 2, "smallest_change_m_d": 5}
    return {
        "power.csv": write_plain_table(table, decimals | {"smallest_change_percent": 3}),
        "power.svg": svg_bytes(draw_power(curves_of(found, name))),
    }


def curves_of(found, name):
    """Return the :class:`PowerCurves` of a plan: in percent where a speed is known, else mm/d."""
    known = np.isfinite(found.speed_m_d)
    scale = 100.0 / found.speed_m_d if known else 1e3
    lines = []
    for season, along, power in dict.fromkeys((r[0], r[1], r[6]) for r in found.rows):
        rows = [r for r in found.rows if (r[0], r[1], r[6]) == (season, along, power)]
        x, y = (np.array([float(r[k]) for r in rows]) for k in (2, 7))
        lines.append((along, season, power, x, scale * y))
    part = found.part
    note = (
        f"Two-sided test at 5 %, changes of {part.length_d:g} d. Not varied: {found.stations} "
        f"stations, {part.drainages} drainages, {part.record_d:g} d before and after. "
        f"{found.noise[0].upper()}{found.noise[1:]}."
    )
    title = f"{name}: smallest change of speed that is seen"
    wished = part.change_percent if known else np.nan
    return PowerCurves(title, tuple(lines), "%" if known else "mm/d", wished, note)
