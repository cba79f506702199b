"""The rules of design looked for in one station."""

import numpy as np

from ..station.rules import Answers, Facts, ranked
from ..station.rules_logic import RULES as LOGIC
from ..station.rules_power import RULES as POWER


def facts_of(description, *, coldest_degC=None, winter_degC=None, winter_m_s=None, saving=None):
    """Return the :class:`Facts` of a described station.

    Parameters
    ----------
    description : StationDescription
    coldest_degC : float, optional
        Coldest battery of a simulation; the storm's coldest air where not given. [degC]
    winter_degC, winter_m_s : float, optional
        Means of the coldest month in the weather; by the climate's numbers where not given.
    saving : dict of float, optional
        Share of the simulated days on which each load saves.
    """
    told, weather = description.settings, description.settings.weather
    climate_degC = weather.mean_degC - weather.swing_K
    climate_m_s = weather.wind_m_s * (1.0 + weather.wind_winter_share)
    return Facts(
        coldest_degC=told.storm.coldest_degC if coldest_degC is None else coldest_degC,
        winter_degC=climate_degC if winter_degC is None else winter_degC,
        winter_m_s=climate_m_s if winter_m_s is None else winter_m_s,
        answers={
            one.name: Answers(one.starts_alone, one.logs_alone, one.wakes_alone)
            for one in told.load
        },
        compensated=told.controller.compensated,
        frost_ban=told.controller.frost_ban,
        trip_V=told.controller.trip_V,
        ventilated=told.box.ventilated,
        second_cutout=None if told.heater is None else told.heater.second_cutout,
        saving=saving or {},
    )


def saving_days(loads, lowest_charge):
    """Return the share of days on which each load saves, by its name.

    Parameters
    ----------
    loads : sequence of Load
    lowest_charge : array, shape (m, d)
        Of each simulated day.
    """
    return {one.name: float(np.mean(lowest_charge < one.saves_below)) for one in loads if one.saves}


def findings(description, about=None):
    """Return what all rules say of a described station, the worst first.

    Parameters
    ----------
    description : StationDescription
    about : Facts, optional
        By the file alone where not given.
    """
    about = facts_of(description) if about is None else about
    return ranked(rule(description.design, about) for rule in (*POWER, *LOGIC))
