"""The storm of a plan as tables: forces by part, guys with anchors, what plan.json says of it."""

import numpy as np

from ..formats.plain_table import write_plain_table
from ..station.cautions import FRAMES, ROTORS
from ..station.storm import dynamic_pressure, speed_at_height
from .plan_lines import all_cautions


def storm_told(storm):
    """Return all that matters of a :class:`StormOutcome` as parts that JSON has."""
    mast, guyed, winds = storm.mast, storm.guyed, storm.winds
    return {
        "mean_m_s": storm.mean_m_s,
        "gust_m_s": storm.gust_m_s,
        "dynamic_pressure_Pa": storm.pressure_Pa,
        "air_kg_m3": storm.weather.density_kg_m3,
        "worst_from_deg": storm.from_deg,
        "overturning_Nm": storm.load.overturning_Nm,
        "antenna_aside_mm": mast.answer.bending.top_mm,
        "antenna_aside_usual_mm": mast.usual.bending.top_mm,
        "antenna_turned_mm": mast.answer.turned_mm,
        "turn_deg": None if guyed is None else guyed.turn_deg,
        "buckling": mast.buckling,
        "sways": [
            {
                "frequency_Hz": one.frequency_Hz,
                "critical_m_s": one.critical_m_s,
                "shaken_m_s": list(one.shaken_m_s),
                "shaken_mm": one.shaken_mm,
                "span": one.span,
                "width_m": one.width_m,
            }
            for one in mast.sways
        ],
        "falls_without": list(mast.lost_falls),
        "once_in": None if winds is None else once_in_told(winds),
        "cautions": list(storm.cautions),
    }


def once_in_told(winds):
    """Return what :class:`SiteWinds` say of the design wind as parts that JSON has."""
    level, sigma = winds.once_in(winds.return_a)
    return {
        "years": winds.return_a,
        "wind_m_s": level,
        "sigma_m_s": sigma,
        "chance_of_more": winds.chance,
        "stay_a": winds.stay_a,
        "measured_a": winds.measured_a,
        "source": winds.source,
    }


def storm_table(plan):
    """Return the bytes of the table of forces by part."""
    load, weather = plan.storm.load, plan.storm.weather
    places = np.array([part.position_m for part in plan.description.parts])
    moments = np.cross(places, load.forces_N)
    speed = speed_at_height(weather.gust_m_s, weather.measured_at_m, places[:, 2])
    east, north, up = load.forces_N.T
    cautions = [_part_cautions(part, load.cautions) for part in plan.description.parts]
    return write_plain_table(
        {
            "part": list(load.names),
            "gust_m_s": speed,
            "pressure_Pa": dynamic_pressure(speed, weather.density_kg_m3),
            "east_N": east,
            "north_N": north,
            "up_N": up,
            "overturning_Nm": np.hypot(*moments[:, :2].T),
            "mass_with_rime_kg": load.mass_kg,
            "caution": [" ".join(one) for one in cautions],
        },
        {"pressure_Pa": 0}
        | dict.fromkeys(("gust_m_s", "east_N", "north_N", "up_N", "overturning_Nm",
                         "mass_with_rime_kg"), 1),
    )  # fmt: skip


def _part_cautions(part, cautions):
    """Return the sentences of one part in the storm."""
    own = ROTORS if part.shape.startswith("rotor") else FRAMES
    return all_cautions((own,), cautions)


def guys_table(plan):
    """Return the bytes of the table of tensions and anchors."""
    guyed, holdings = plan.storm.guyed, plan.description.holdings
    names = () if guyed is None else guyed.names
    margins = {one.name: one for one in plan.storm.mast.margins}
    cautions = [all_cautions(guyed.cautions, holdings[name].cautions) for name in names]
    return write_plain_table(
        {
            "guy": list(names),
            "tension_N": np.array([] if guyed is None else guyed.tensions_N),
            "anchor": [holdings[name].kind for name in names],
            "anchor_gust_N": np.array([holdings[name].gust_N for name in names]),
            "anchor_lasting_N": np.array([holdings[name].lasting_N for name in names]),
            "margin_gust": np.array([getattr(margins.get(n), "gust", np.nan) for n in names]),
            "margin_lasting": np.array([getattr(margins.get(n), "lasting", np.nan) for n in names]),
            "caution": [" ".join(one) for one in cautions],
        },
        dict.fromkeys(("tension_N", "anchor_gust_N", "anchor_lasting_N"), 0),
    )
