"""One station's plan as tables that people and programs read."""

import numpy as np

from .. import __version__
from ..campaign.store import json_text, parquet_bytes
from ..formats.plain_table import write_plain_table
from ..station.gas import ventilation
from ..station.survival import BAND, DATES
from ..tables import satellite_name
from .plan_places import features, last_day, place_table, way_points
from .plan_snow import snow_table
from .plan_storm_tables import guys_table, storm_table, storm_told
from .plan_winds import wind_table
from .plan_words import sentences, verdict

UNIT_OF_DAYS = {"charge": "-", "box_degC": "degC", "air_degC": "degC", "wind_m_s": "m/s"}


def tables_of(plan, bands, inputs):
    """Return {file name: bytes} of all tables of a plan.

    Parameters
    ----------
    plan : StationPlan
    bands : YearBands
    inputs : dict of str to str
        Files that the plan rests on, with their checksums.
    """
    metadata = {"version": __version__, "station": plan.name, "inputs": inputs}
    return {
        "plan.json": json_text(told(plan, metadata)).encode("utf-8"),
        "margins.csv": _margins(plan),
        "rules.csv": _rules(plan),
        "months.csv": _months(plan),
        "failures.csv": _failures(plan),
        "days.parquet": _days(bands, metadata),
        "power.csv": _power(plan),
        "what_if.csv": _what_if(plan),
        "sizes.csv": _sizes(plan),
        "storm.csv": storm_table(plan),
        "guys.csv": guys_table(plan),
        "design_wind.csv": wind_table(plan.storm.winds, plan.storm.weather.density_kg_m3),
        "snow.csv": snow_table(plan.snow),
        "sky.parquet": _sky(plan, metadata),
        "bill.csv": _bill(plan),
        "flights.csv": _flights(plan),
        "places.csv": place_table([plan.place]),
        "place.gpx": way_points([plan.place]),
        "place.geojson": features([plan.place]),
    }


def told(plan, metadata):
    """Return all that matters of a plan as parts that JSON has."""
    state, sentence = verdict(plan)
    found = plan.energy.survival
    day, part = last_day(plan.description, plan.snow)
    return metadata | {
        "state": state,
        "verdict": sentence,
        "sentences": sentences(plan),
        "survival": {
            "chance": found.chance,
            "interval_95": list(found.interval),
            "years": len(found.first_h),
            "limiting_month": found.limiting_month,
            "why": found.why,
            "causes": found.causes,
            "first_failures": [
                {"why": one.why, "share": one.share, "by": _by(one.dates_ns)}
                for one in found.first_failures
            ],
            "lost_h_a": found.lost_h,
            "lowest_charge": found.lowest_charge,
            "heater_share": found.heater_share,
            "shadow_losses": plan.energy.shadow_losses,
            "restart": {name: getattr(found.restart, name)
                        for name in ("dark", "share", "median_h", "starts")}
            | {"by": _by(found.restart.wakes_ns)},
            "weather": plan.energy.source,
            "first_to_add": plan.energy.first,
            "hangs_on": plan.energy.weakest,
        },
        "storm": storm_told(plan.storm),
        "gas": vars(ventilation(plan.description.design)),
        "sky": {
            "source": plan.sky.source,
            "satellites_least": int(plan.sky.view.count.min()),
            "satellites_mean": float(plan.sky.view.count.mean()),
            "highest_deg": float(np.degrees(np.nanmax(plan.sky.view.elevation_rad))),
        },
        "recording": {
            "bytes_d": plan.kept.bytes_d,
            "card_d": plan.kept.card_d,
            "messages_d": None if plan.kept.messages is None else plan.kept.messages.needed,
            "message_bytes": plan.kept.message_bytes,
            "reports_d": plan.kept.reports_d,
        },
        "cargo": vars(plan.totals) | {"flights": len(plan.loads.flights),
                                      "flights_least": plan.loads.fewest},
        "dangerous_goods": [
            {"number": one.number, "called": one.called, "items": list(one.items),
             "mass_kg": one.mass_kg, "remedy": one.remedy}
            for one in plan.reminders
        ],
        "not_for_one_alone": [
            {"item": name, "mass_kg": mass, "people": people} for name, mass, people in plan.lifters
        ],
        "retrieve_or_raise_by": {"day": None if day is None else day.isoformat(), "part": part},
        "cautions": list(plan.cautions),
    }  # fmt: skip


def margin_columns(plan):
    """Return the columns of the margins of a StationPlan: what it has, what it needs, in words."""
    rows = plan.lines
    columns = {name: [getattr(one, name) for one in rows] for name in ("part", "name", "state")}
    columns["has"] = np.array([one.value for one in rows])
    columns["needs"] = np.array([one.needed for one in rows])
    columns |= {name: [getattr(one, name) for one in rows] for name in ("unit", "words")}
    columns["caution"] = [" ".join(one.cautions) for one in rows]
    return columns


def _margins(plan):
    return write_plain_table(margin_columns(plan), {"has": 4, "needs": 4})


def _rules(plan):
    names = ("rule", "state", "found", "reason", "remedy")
    columns = {name: [getattr(one, name) for one in plan.findings] for name in names}
    columns["simulated"] = [str(one.simulated).lower() for one in plan.findings]
    columns["caution"] = [" ".join(one.cautions) for one in plan.findings]
    return write_plain_table(columns)


def _months(plan):
    found = plan.energy.survival
    month = found.month_of_day
    charge = [found.charge_band[:, month == one].min(axis=1) for one in found.months]
    box = [found.box_band[:, month == one].min(axis=1) for one in found.months]
    return write_plain_table(
        {
            "month": list(found.months),
            "lived_share": found.lived,
            "charge_lowest_median": np.array([one[2] for one in charge]),
            "charge_lowest_5_percent": np.array([one[0] for one in charge]),
            "box_coldest_5_percent_degC": np.array([one[0] for one in box]),
        },
        {"box_coldest_5_percent_degC": 1},
    )


def _by(dates_ns):
    """Return {share of the years in percent: month and day, as of any year}; empty without any."""
    return {f"{100 * s:02.0f}": _month_day(one) for s, one in zip(DATES, dates_ns, strict=False)}


def _month_day(time_ns):
    return str(np.datetime64(int(time_ns), "ns").astype("datetime64[D]"))[5:]


def _failures(plan):
    """Return first failures by cause and the waking of dark years: shares and dates."""
    found = plan.energy.survival
    restart = found.restart
    rows = [(f"fails: {one.why}", one.share, one.dates_ns) for one in found.first_failures]
    awake = restart.share * restart.dark / len(found.first_h)
    rows.append(("dark, and awake by itself at the end", awake, restart.wakes_ns))
    columns = {
        "what": [name for name, *_ in rows],
        "share_of_years": np.array([share for _, share, _ in rows]),
    }
    dates = [_by(dates_ns) for *_, dates_ns in rows]
    for percent in (f"{100 * s:02.0f}" for s in DATES):
        columns[f"by_{percent}_percent"] = [one.get(percent, "") for one in dates]
    return write_plain_table(columns)


def _days(bands, metadata):
    columns = {"day_gps": bands.day_ns.astype("datetime64[ns]")}
    units = {"day_gps": "GPS time, the season of any year"}
    for name, unit in UNIT_OF_DAYS.items():
        for share, row in zip(BAND, getattr(bands, name), strict=True):
            key = f"{name}_{round(100 * share):02d}"
            columns[key], units[key] = row, unit
    columns["no_sun"] = bands.dark
    return parquet_bytes(columns, units, metadata)


def _power(plan):
    design, mean = plan.description.design, plan.energy.survival.mean_W
    loads = design.loads
    names = [*mean, *(one.name for one in loads), "controller"]
    watts = [*mean.values(), *(-one.mean_W for one in loads), -design.controller_W]
    peak = [0.0] * len(mean) + [one.peak_W for one in loads] + [0.0]
    return write_plain_table(
        {"what": names, "mean_W": np.array(watts), "peak_W": np.array(peak)}, {"peak_W": 1}
    )


def _what_if(plan):
    study = plan.energy.study
    rows = [*(("harm", one) for one in study.hangs_on), *(("help", one) for one in study.helps)]
    names = ("chance", "gain", "hours_gain", "charge_gain", "mass_kg")
    return write_plain_table(
        {
            "kind": [kind for kind, _ in rows],
            "change": [one.words for _, one in rows],
            **{name: np.array([getattr(one, name) for _, one in rows]) for name in names},
        },
        {"hours_gain": 1, "mass_kg": 1},
    )


def _sizes(plan):
    sizing = plan.energy.sizing
    rows, front = sizing.choices, {id(one) for one in sizing.front}
    low, high = np.array([one.interval for one in rows]).reshape(-1, 2).T
    return write_plain_table(
        {
            "strings": [one.strings for one in rows],
            "panels": [sum(one.panels) for one in rows],
            "turbines": [one.turbines for one in rows],
            "mass_kg": np.array([one.mass_kg for one in rows]),
            "chance": np.array([one.chance for one in rows]),
            "chance_low": low,
            "chance_high": high,
            "lowest_charge": np.array([one.lowest_charge for one in rows]),
            "lightest_for_its_chance": [str(id(one) in front).lower() for one in rows],
            "caution": [" ".join(plan.description.design.bank.cautions)] * len(rows),
        },
        {"mass_kg": 1},
    )


def _sky(plan, metadata):
    view = plan.sky.view
    rows, columns = np.nonzero(view.seen)
    names = np.array([satellite_name(int(one)) for one in view.satellites], object)
    table = {
        "time_h": plan.sky.time_s[rows] / 3600.0,
        "satellite": names[columns],
        "azimuth_deg": np.degrees(view.azimuth_rad[rows, columns]),
        "elevation_deg": np.degrees(view.elevation_rad[rows, columns]),
        "position_dop": view.dop[rows, 0],
        "level_dop": view.dop[rows, 1],
        "height_dop": view.dop[rows, 2],
    }
    units = {"time_h": "h", "azimuth_deg": "deg", "elevation_deg": "deg"}
    return parquet_bytes(table, units, metadata | {"source": plan.sky.source})


def _bill(plan):
    items = plan.description.items
    names = ("name", "count", "mass_kg", "volume_m3")
    columns = {name: np.array([getattr(one, name) for one in items]) for name in names}
    columns["all_kg"] = np.array([one.count * one.mass_kg for one in items])
    columns["dangerous"] = [one.dangerous for one in items]
    columns["comes_back"] = [str(one.comes_back).lower() for one in items]
    lifters = {name: "hoist" if people is None else str(people) for name, _, people in plan.lifters}
    columns["people_to_lift"] = [lifters.get(one.name, "1") for one in items]
    columns["caution"] = [" ".join(one.cautions) for one in items]
    return write_plain_table(columns, {"mass_kg": 2, "all_kg": 2})


def _flights(plan):
    rows = [
        (k, name, count)
        for k, flight in enumerate(plan.loads.flights, 1)
        for name, count in flight.pieces.items()
    ]
    mass = [flight.mass_kg for flight in plan.loads.flights]
    return write_plain_table(
        {
            "flight": [k for k, *_ in rows],
            "item": [name for _, name, _ in rows],
            "pieces": [count for *_, count in rows],
            "flight_mass_kg": np.array([mass[k - 1] for k, *_ in rows]),
            "caution": [" ".join(plan.loads.cautions)] * len(rows),
        },
        {"flight_mass_kg": 1},
    )
