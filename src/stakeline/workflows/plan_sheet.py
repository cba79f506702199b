"""The sheet of one station: its numbers as texts, set on one page."""

import textwrap

from ..report.plan_figures import draw_charge
from ..report.style import svg_bytes
from ..report.typesetting import typeset
from ..station.rules import GOOD
from .plan_words import (
    advice,
    bank_text,
    cargo_lines,
    finding_text,
    margin_text,
    number,
    power_rows,
    sentences,
    sorted_lines,
    typed_sentences,
    verdict,
)

CHARGE = "charge.svg"
MOST_MARGINS, MOST_RULES, MOST_ITEMS, MOST_POWER = 22, 8, 14, 11  # rows that a page has room for
MOST_LIFTED = 6
LONGEST = 230  # characters of one rule


def sheet_data(plan):
    """Return what the template ``plan`` shows, all of it texts."""
    state, sentence = verdict(plan)
    site, side = plan.description.design.site, plan.place.side_by_side
    margins = sorted_lines(plan)
    broken = [one for one in plan.findings if one.state != GOOD]
    items = sorted(plan.description.items, key=lambda one: -one.count * one.mass_kg)
    aim, power = plan.description.settings.aim, power_rows(plan)
    return {
        "name": plan.name,
        "note": plan.description.settings.note,
        "place": [side.degrees, side.minutes, side.seconds],
        "map": f"EPSG {side.epsg}: {side.easting_m:.0f} E, {side.northing_m:.0f} N",
        "typed": list(typed_sentences(plan.description)) or ["Typed in degrees, as numbers."],
        "misread": f"Seconds read as decimals of a minute: {plan.place.misread_m:.0f} m off.",
        "surface": f"{site.elevation_m:.0f} m, {site.surface}",
        "dates": " to ".join(str(day) for day in (aim.built, aim.visit) if day),
        "state": state,
        "verdict": sentence,
        "survival": " ".join(sentences(plan)),
        "advice": advice(plan),
        "figure": CHARGE,
        "margins": [
            [one.state, one.name, *margin_text(one), one.words] for one in margins[:MOST_MARGINS]
        ],
        "margins_more": _more(margins, MOST_MARGINS),
        "rules": [
            [one.state, textwrap.shorten(finding_text(one), LONGEST, placeholder=" ...")]
            for one in broken[:MOST_RULES]
        ],
        "rules_more": _more(broken, MOST_RULES),
        "rules_kept": f"{len(plan.findings) - len(broken)} rules kept",
        "bank": bank_text(plan),
        "power": [list(row) for row in power[:MOST_POWER]],
        "power_more": _more(power, MOST_POWER),
        "storm": _storm(plan),
        "items": [
            [one.name, str(one.count), number(one.mass_kg), number(one.count * one.mass_kg)]
            for one in items[:MOST_ITEMS]
        ],
        "items_more": _more(items, MOST_ITEMS),
        "cargo": cargo_lines(plan),
        "lifters": [_lifting(*one) for one in plan.lifters[:MOST_LIFTED]],
        "cautions": list(plan.cautions),
        "source": plan.energy.source,
    }


def _more(rows, most):
    """Return how many rows the page has no room for; empty for none."""
    return f"and {len(rows) - most} more in the tables" if len(rows) > most else ""


def _lifting(name, mass_kg, people):
    who = "a hoist" if people is None else f"{people} people"
    return f"{name}, {number(mass_kg, 'kg')}: {who}"


def _storm(plan):
    """Return (what, how much) of the storm."""
    found = plan.storm
    mast, winds = found.mast, found.winds
    rows = [
        ["mean wind and gust", f"{found.mean_m_s:.0f} and {found.gust_m_s:.0f} m/s"],
        ["air, pressure of the gust",
         f"{found.weather.density_kg_m3:.2f} kg/m³, {found.pressure_Pa:.0f} Pa"],
        [f"wind once in {winds.return_a:g} years", number(winds.level_m_s, "m/s")],
        ["overturning, all parts", f"{found.load.overturning_Nm:.0f} N m"],
        ["antenna aside in the storm", number(mast.answer.bending.top_mm, "mm")],
        ["vortices shake the mast at",
         " and ".join(f"{one.critical_m_s:.0f}" for one in mast.bare) + " m/s"],
    ]  # fmt: skip
    if found.guyed is not None:
        rows.append(["largest guy tension", f"{found.guyed.tensions_N.max():.0f} N"])
    return rows


def sheet(plan, bands):
    """Return the bytes of the station's sheet; ``bands`` is its :class:`YearBands`."""
    return typeset("plan", sheet_data(plan), assets={CHARGE: svg_bytes(draw_charge(bands))})
