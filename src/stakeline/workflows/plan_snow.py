"""Snow and melt against the heights of a described station: when what is buried or comes loose."""

import datetime
from dataclasses import dataclass, replace

import numpy as np

from ..constants import DAYS_PER_YEAR
from ..errors import SettingsError
from ..formats.plain_table import write_plain_table
from ..station import anchors, burial
from ..station.cautions import ESTIMATE, GROUND
from .plan_description import holding_of
from .plan_lines import at_least

YEARS = 5.0  # a; looked ahead
USUAL_VISIT_A = 1.0  # a; where no date of a visit is given
IN_THE_GROUND = {  # which length of [anchors] melt takes from; a bolt in rock has none
    "buried plate": "depth_m",
    "picket": "length_m",
    "ice screw": "length_m",
    "drilled leg": "length_m",
}
LEAST_M = 1e-3  # m; how well the least length that holds is found
DEEPEST_M = 20.0  # m; looked for where the length of the file does not hold


@dataclass(frozen=True)
class SnowOutcome:
    """When parts are buried or legs and anchors melt out.

    ``passages``: :class:`Passage` of each part, the first buried first; ``melting``: of masts, legs
    and anchors; ``visit_a``: years from building to the visit; ``built``: its day, or None.
    """

    passages: list
    melting: list
    visit_a: float
    lines: tuple
    built: datetime.date | None = None

    @property
    def cautions(self):
        """Sentences about it."""
        return (GROUND, ESTIMATE)

    def day(self, years):
        """Return the date so many years after building as text, '' where there is none."""
        if self.built is None or not np.isfinite(years):
            return ""
        return str(self.built + datetime.timedelta(days=years * DAYS_PER_YEAR))

    @property
    def sentences(self):
        """When each part is buried or loose, and the chance that it is by the visit."""
        buried = [_told(self, one, "buried") for one in self.passages]
        return (*buried, *(_told(self, one, "loose") for one in self.melting))


def _told(outcome, one, word):
    """Return a sentence about one passage: median, 5 to 95 %, chance by the visit."""
    chance = f"{one.chance_by(outcome.visit_a):.0%} by the visit"
    if one.distance_m <= 0.0:
        short = f", {-one.distance_m:.2f} m too short" if np.isfinite(one.distance_m) else ""
        return f"{one.name}: {word} on the day of building{short}"
    if not np.isfinite(one.early_a):
        return f"{one.name}: not {word} within {YEARS:g} years but for 5 %; {chance}"
    ends = [outcome.day(a) or f"{a:.1f} a" if np.isfinite(a) else f"after {YEARS:g} years"
            for a in (one.median_a, one.early_a, one.late_a)]  # fmt: skip
    return f"{one.name}: {word} {ends[0]} (median; 5 to 95 %: {ends[1]} to {ends[2]}); {chance}"


def visit_years(description):
    """Return the years from building to the next visit; one where the dates are not given."""
    aim = description.settings.aim
    if aim.built is None or aim.visit is None:
        return USUAL_VISIT_A
    return (aim.visit - aim.built).days / DAYS_PER_YEAR


def heights_of(description):
    """Return the heights that must stay free of snow, by part. [m]"""
    found = {"antenna": description.settings.mast.free_m}
    found |= {group.name: group.bottom_m for group in description.design.panels}
    if description.design.turbine is not None:
        rotor = description.design.turbine
        found["turbine"] = rotor.hub_m - 0.5 * rotor.diameter_m
    if description.design.box_depth_m is None:
        found["box"] = description.design.box.outer_m[2]
    return {name: height for name, height in found.items() if height > 0.0}


def snow_of(description, storm_outcome):
    """Return the :class:`SnowOutcome` of a described station.

    Parameters
    ----------
    description : StationDescription
    storm_outcome : StormOutcome
        Says how much of a leg must stay in the ground, and how hard guys pull.

    Raises
    ------
    SettingsError
        For drift around a part that is not there.
    """
    generator = np.random.default_rng(description.settings.aim.seed)
    visit = visit_years(description)
    drift = dict(description.settings.snow.drift_at)
    heights, passages = heights_of(description), []
    try:
        if description.snow.total_m_a > 0.0 or drift:
            passages = burial.burial(heights, description.snow, YEARS, generator, drift_m_a=drift)
    except SettingsError as problem:
        raise SettingsError(f"{description.path}: snow.drift_at: {problem}") from None
    melting = _melting(description, storm_outcome, generator)
    lines = tuple(_lines(passages, melting, visit))
    return SnowOutcome(passages, melting, visit, lines, description.settings.aim.built)


def melt_of(description):
    """Return the :class:`Rise` of what melts, within its season where that is known."""
    season, built = description.settings.snow.melt_season, description.settings.aim.built
    if season is None or built is None:
        return description.melt
    first, last = (datetime.date.fromisoformat(f"{built.year}-{one}") for one in season)
    begin = (first - built).days / DAYS_PER_YEAR % 1.0
    length = ((last - first).days % 365 + 1) / DAYS_PER_YEAR
    return replace(description.melt, season=(begin, begin + length))


def _melting(description, storm_outcome, generator):
    """Return when what is drilled, driven or dug in has melted too far out."""
    told = description.settings
    if description.melt.total_m_a == 0.0:
        return []
    needed = {}
    if storm_outcome.leg is not None:
        name = "mast" if told.frame is None else "legs"
        part = told.mast if told.frame is None else told.frame
        needed[name] = (part.embedded_m, storm_outcome.leg.embedment_m - told.snow.melt_m_a)
    if "mast" not in needed and told.mast.embedded_m > 0.0:
        needed["mast"] = (told.mast.embedded_m, 0.0)
    if told.guys is not None and told.anchors.kind in IN_THE_GROUND:
        needed["guy anchors"] = _anchors_need(description, storm_outcome)
    melt = melt_of(description)
    return [_out(name, deep, max(least, 0.0), melt, generator)
            for name, (deep, least) in needed.items()]  # fmt: skip


def _out(name, deep_m, least_m, melt, generator):
    if deep_m <= least_m:
        return burial.too_short(name, deep_m, least_m)
    return burial.melt_out(name, deep_m, least_m, melt, YEARS, generator)


def _anchors_need(description, storm_outcome):
    """Return (length or depth in the ground, least of it that holds what guys ask for). [m]

    Infinite where none holds it; 0 where nobody knows what they ask for.
    """
    told, site = description.settings, description.design.site
    key = IN_THE_GROUND[told.anchors.kind]
    deep = getattr(told.anchors, key)
    guyed = storm_outcome.guyed
    if guyed is None or not guyed.stands:
        return deep, 0.0

    def holds(left_m):
        part = told.anchors.model_copy(update={key: left_m})
        holding = holding_of(told.model_copy(update={"anchors": part}), site)
        held = dict.fromkeys(guyed.names, holding)
        return anchors.margins(list(description.guys), guyed, held)[0].enough

    low, high = (0.0, deep) if holds(deep) else (deep, DEEPEST_M)
    if not holds(high):
        return deep, np.inf
    while high - low > LEAST_M:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if holds(middle) else (middle, high)
    return deep, high


def _lines(passages, melting, visit):
    for one in passages:
        words = f"half of all winters: {one.median_a:.1f} a" if np.isfinite(one.median_a) else ""
        yield _free(f"{one.name} free of snow", one, visit, words)
    for one in melting:
        short = one.distance_m <= 0.0
        yield _free(f"{one.name} still held in the ice", one, visit,
                    "too short on the day of building: deeper, or more of them" if short
                    else "melts out")  # fmt: skip


def _free(name, one, visit, words):
    """Return the line of a passage: free for so many years but for a chance of 5 %."""
    return at_least("snow", name, min(one.visit_a, YEARS), visit, "a", words=words,
                    cautions=one.cautions)  # fmt: skip


def snow_table(outcome):
    """Return the bytes of the table of what is buried or comes loose: years, days, chances.

    Parameters
    ----------
    outcome : SnowOutcome
    """
    rows = (*outcome.passages, *outcome.melting)
    names = ("early", "median", "late", "visit")
    years = {name: [getattr(one, f"{name}_a") for one in rows] for name in names}
    return write_plain_table(
        {
            "part": [one.name for one in rows],
            "height_m": np.array([one.distance_m for one in rows]),
            **{f"{name}_a": _finite(values) for name, values in years.items()},
            **{f"{name}_day": [outcome.day(a) for a in values] for name, values in years.items()},
            "chance_by_visit": np.array([one.chance_by(outcome.visit_a) for one in rows]),
            "caution": [" ".join(one.cautions) for one in rows],
        },
        {"chance_by_visit": 4},
    )


def _finite(values):
    return np.array([value if np.isfinite(value) else np.nan for value in values])
