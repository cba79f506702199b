"""Figures of one station's plan, from what was worked out."""

import numpy as np

from ..constants import NS_PER_DAY
from ..report.plan_figures import (
    MassChance,
    SkyTracks,
    StormLoads,
    YearBands,
    draw_mass,
    draw_sky,
    draw_storm,
    draw_year,
)
from ..report.style import svg_bytes
from ..satellites.nominal import LETTERS
from ..station.sunlight import SUNRISE_DEG
from ..station.survival import BAND, DAY_H, MONTHS
from ..tables import SYSTEMS

SKYLINE_STEPS = 181
TRACK_STEP = 2  # every second epoch of the sky is drawn


def year_bands(plan):
    """Return the :class:`YearBands` of a plan."""
    found, weather = plan.energy.survival, plan.energy.around.weather
    days = found.charge_band.shape[1]
    day_ns = found.start_ns + NS_PER_DAY * np.arange(days)
    daily = (len(weather.cloud), days, DAY_H)
    hours = days * DAY_H
    air = weather.temperature_degC[:, :hours].reshape(daily).mean(axis=2)
    wind = weather.wind_m_s[:, :hours].reshape(daily).max(axis=2)
    up = np.degrees(plan.energy.around.sun.elevation_rad[:hours]).reshape(days, DAY_H)
    storm = plan.description.settings.storm
    return YearBands(
        title=f"{plan.name}: {daily[0]} simulated years",
        day_ns=day_ns,
        charge=found.charge_band,
        box_degC=found.box_band,
        air_degC=np.quantile(air, BAND, axis=0),
        wind_m_s=np.quantile(wind, BAND, axis=0),
        dark=up.max(axis=1) < SUNRISE_DEG,
        cut=plan.energy.cut_charge,
        storm_m_s=storm.wind_m_s,
        coldest_degC=storm.coldest_degC,
        lived=found.lived,
        months_ns=month_ends(day_ns),
        note="Pale: 90 % of the years, darker: half of them, line: the median. Grey: no Sun.",
    )


def month_ends(day_ns):
    """Return the beginning of the year and the ends of its twelve months (13,). [ns]"""
    first = day_ns[:1].astype("datetime64[ns]").astype("datetime64[M]")
    ends = (first + np.arange(MONTHS + 1)).astype("datetime64[ns]").astype(np.int64)
    ends[0] = day_ns[0]
    ends[-1] = day_ns[-1] + NS_PER_DAY
    return ends


def storm_loads(plan):
    """Return the :class:`StormLoads` of a plan."""
    load = plan.storm.load
    places = np.array([part.position_m for part in plan.description.parts])
    moments = np.cross(places, load.forces_N)[:, :2]
    return StormLoads(
        title=f"{plan.name}: a gust of {plan.storm.gust_m_s:.0f} m/s, rime, "
        f"{plan.description.settings.storm.coldest_degC:.0f} °C",
        names=load.names,
        level_N=np.hypot(*load.forces_N[:, :2].T),
        overturning_Nm=np.hypot(*moments.T),
        note="Engineering estimates with ten to twenty per cent of doubt: confirm with licensed "
        "practice and local codes.",
    )


def sky_tracks(plan):
    """Return the :class:`SkyTracks` of a plan."""
    sky, site = plan.sky, plan.description.design.site
    view = sky.view
    azimuth = np.linspace(0.0, 2.0 * np.pi, SKYLINE_STEPS)
    height = np.maximum(site.horizon.at(azimuth), np.radians(sky.mask_deg))
    thin = slice(None, None, TRACK_STEP)
    return SkyTracks(
        title=f"{plan.name}: satellites above the skyline",
        time_h=sky.time_s[thin] / 3600.0,
        letters=np.array([SYSTEMS[s // 100] for s in view.satellites]),
        azimuth_rad=view.azimuth_rad[thin],
        elevation_rad=view.elevation_rad[thin],
        seen=view.seen[thin],
        dop=view.dop[thin, 0],
        skyline_rad=np.stack([azimuth, height]),
        names={letter: name for name, letter in LETTERS.items()},
        note=f"From {sky.source}. Grey: below {sky.mask_deg:g}° or the skyline.",
    )


def mass_chance(plan):
    """Return the :class:`MassChance` of a plan: its parts in other numbers."""
    sizing, design = plan.energy.sizing, plan.description.design
    front = {id(one) for one in sizing.front}
    counts = tuple(group.count for group in design.panels)
    as_is = (design.bank.parallel, counts, int(design.turbine is not None))
    ours = next(one for one in sizing.choices if (one.strings, one.panels, one.turbines) == as_is)
    return MassChance(
        title=f"{plan.name}: mass against the chance to live",
        mass_kg=np.array([one.mass_kg for one in sizing.choices]),
        chance=np.array([one.chance for one in sizing.choices]),
        front=np.array([id(one) in front for one in sizing.choices]),
        ours=(ours.mass_kg, ours.chance),
        wanted=sizing.wanted,
        note="Energy only; storm, snow and frost are looked at for the station as described.",
    )


def figures_of(plan, bands):
    """Return {file name: bytes} of all figures of a plan."""
    return {f"{name}.svg": svg_bytes(one) for name, one in plan_figures(plan, bands).items()}


def plan_figures(plan, bands):
    """Return {name: Figure} of all figures of a plan."""
    return {
        "year": draw_year(bands),
        "storm": draw_storm(storm_loads(plan)),
        "sky": draw_sky(sky_tracks(plan)),
        "mass": draw_mass(mass_chance(plan)),
    }
