"""One lake worked out: events, volumes and their range, curves. Runs in worker processes."""

import zlib
from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import SolutionError
from ..lakes.event_record import interval
from ..lakes.events import EventSettings, find_events
from ..lakes.levelling import Levelling
from ..lakes.outline import drawn_outlines
from ..lakes.response import FLOWS, METHODS, UNIFORM, Ice
from ..lakes.surface import at_once_shares, judge_shares, shares, view_of
from ..lakes.volume import MEASURED, OF_ICE, SHAPES, IceDraws, IceSpread, event_volume
from .lakes_curves import lake_curves
from .lakes_ground import Thickness

OUTLINES = 12  # drawn for the margin; choice
FEW = 40  # samples of an event for each line of the range; a clamped plate takes 10 ms; choice
TOLD_D = (30.0, 120.0, 365.0)  # d, after which it is told what levelling has left; choice
ANY_M = 1.0  # m, thickness in shapes that do not ask for it
BEDS = {"stuck": FLOWS[:1], "sliding": FLOWS[1:], "either": FLOWS}


@dataclass(frozen=True)
class LakeChoice:
    """The settings of one lake, its own before those of all."""

    viscosity_Pa_s: float
    bed: str
    margin_sigma_m: float
    shape: str
    seed: int
    false_per_year: float
    least_m: float
    longest_d: float = EventSettings.longest_d


@dataclass(frozen=True, eq=False)
class LakeProblem:
    """All that one lake follows from.

    ``stations``: tuple of :class:`StationUp`; ``tracks``: {station: Track} of those over the lake;
    ``outlines``: variants; ``thickness``: None where not known, ``thickness_words`` then say why.
    ``feeders``: drainings of the lake above. ``pattern``: {station: (share, sigma)} of the shape
    ``measured pattern``, ``pattern_words`` say why there is none.
    """

    lake: str
    stations: tuple
    tracks: dict
    outlines: tuple
    thickness: Thickness | None
    thickness_words: str
    choice: LakeChoice
    feeders: tuple = ()
    pattern: dict = field(default_factory=dict)
    pattern_words: str = ""

    @property
    def ice(self):
        """The ice above the lake, most probable; of unknown thickness any, for shapes without."""
        thickness_m = self.thickness.value_m if self.thickness else ANY_M
        return Ice(thickness_m, self.choice.viscosity_Pa_s)

    @property
    def spread(self):
        """How surely the ice is known."""
        share = self.thickness.sigma_m / self.thickness.value_m if self.thickness else 0.0
        return IceSpread(thickness_share=share, beds=BEDS[self.choice.bed])

    def stream(self, name):
        """Return a generator of its own for one purpose: the same however lakes are shared out."""
        return np.random.default_rng([self.choice.seed, zlib.crc32(f"{self.lake}/{name}".encode())])


@dataclass(frozen=True, eq=False)
class LakeSolution:
    """What was found for one lake.

    ``shares``: {station: {method: what the surface there does for 1 m of roof}}; ``unjudged``: why
    there are no volumes, or empty. ``volumes``: of each event, then of each slow change, None where
    there is none, and ``volume_words`` why; ``ranges``: rows (number of the event, what, words,
    LakeVolume).
    ``levelling``: dicts of what is left of a sudden change of the surface after some days.
    """

    history: object
    shares: dict
    unjudged: str
    volumes: tuple
    volume_words: tuple
    ranges: tuple
    curves: object
    levelling: tuple


def solve(problem):
    """Return the :class:`LakeSolution` of a :class:`LakeProblem`.

    Raises
    ------
    SolutionError
        Where no station stands over the lake, or the heights are too few.
    """
    share, at_once, unjudged = _shares(problem)
    beds = BEDS[problem.choice.bed] if problem.thickness else (UNIFORM,)
    usual = {name: float(np.mean([own[m] for m in beds])) for name, own in share.items()}
    stations = problem.stations
    if not unjudged:  # else all stations count alike
        stations = [
            replace(s, share=usual.get(s.station, 1.0), at_once=at_once.get(s.station))
            for s in stations
        ]
    choice = problem.choice
    settings = EventSettings(
        false_limit_per_year=choice.false_per_year, least_m=choice.least_m,
        longest_d=choice.longest_d,
    )  # fmt: skip
    history = find_events(
        problem.lake, stations, problem.stream("events"), settings, problem.feeders
    )
    volumes, words, ranges = [], [], []
    for number, event in enumerate((*history.events, *history.slow)):
        volume, why = (None, unjudged) if unjudged else _volume(problem, event)
        volumes.append(volume)
        words.append(why)
        if volume is not None and number < len(history.events):
            ranges += [(number, *row) for row in _ranges(problem, event)]
    levelling = None if unjudged else _levelling(problem)
    curves = lake_curves(history, volumes, levelling, problem.stream("curves"))
    return LakeSolution(
        history, share, unjudged, tuple(volumes), tuple(words), tuple(ranges), curves,
        _left(problem, levelling) if not unjudged and choice.shape == "ice flow" else (),
    )  # fmt: skip


def _shares(problem):
    """Return ({station: {method: share}}, {station: at once}, why it cannot be judged)."""
    needs_ice = problem.choice.shape in OF_ICE
    if problem.thickness is None and needs_ice:
        return {}, {}, (
            f"volumes are not given: {problem.thickness_words}; or set shape = \"uniform\", which "
            "takes the surface as the roof"
        )  # fmt: skip
    if problem.choice.shape == MEASURED and not problem.pattern:
        return {}, {}, f"volumes are not given: {problem.pattern_words}"
    names = list(problem.tracks)
    view = view_of(problem.outlines[0], _points(problem))
    methods = METHODS if problem.thickness else (UNIFORM,)
    table = {method: shares(view, problem.ice, method) for method in methods}
    found = {n: {m: float(table[m][k]) for m in methods} for k, n in enumerate(names)}
    if problem.thickness is None:
        return found, {}, ""
    beds = BEDS[problem.choice.bed]
    usual = np.mean([table[m] for m in beds], axis=0)
    first = at_once_shares(view, problem.ice, beds)
    at_once = {n: float(v) for n, v in zip(names, first, strict=True)}
    try:
        judge_shares(usual if needs_ice else table[UNIFORM])
    except SolutionError as why:
        return found, at_once, str(why)
    return found, at_once, ""


def _points(problem):
    """Return where stations over the lake stood in the middle of their record (n, 2). [m]"""
    return np.array([np.median(t.point_m, axis=0) for t in problem.tracks.values()])


def _levelling(problem):
    """Return the Levelling of a lake by the outlines that its volumes are drawn with."""
    point = _points(problem)
    return Levelling(tuple(view_of(o, point) for o in drawn_for(problem)), problem.ice)


def _left(problem, levelling):
    """Return what is left of a sudden change of the surface after some days, with its interval."""
    rng, spread, one = problem.stream("levelling"), problem.spread, np.ones(FEW * 5)
    thickness, viscosity = rng.standard_normal((2, len(one)))
    draws = IceDraws(
        rng.integers(0, len(levelling.views), len(one)),
        problem.ice.thickness_m * np.maximum(0.2, one + spread.thickness_share * thickness),
        problem.ice.viscosity_Pa_s * np.exp(spread.viscosity_log * viscosity),
        np.array([METHODS.index(bed) for bed in rng.choice(spread.beds, len(one))]), one,
    )  # fmt: skip
    left = levelling.kept(draws, np.arange(len(one)), np.append(0.0, TOLD_D))
    rows = zip(TOLD_D, left.T[1:], strict=True)
    return tuple(
        {"days": days} | dict(zip(("low", "median", "high"), interval(values), strict=True))
        for days, values in rows
    )


def drawn_for(problem, outlines=None, margin_sigma_m=None):
    """Return the outlines that stand for a lake's margin, the same on each call."""
    outlines = problem.outlines if outlines is None else outlines
    margin = problem.choice.margin_sigma_m if margin_sigma_m is None else margin_sigma_m
    return drawn_outlines(
        outlines, None, margin, problem.stream("outlines"),
        OUTLINES if margin or len(outlines) > 1 else 1,
    )  # fmt: skip


def _volume(problem, event, **changes):
    """Return (LakeVolume or None, why there is none) of an event."""
    given = {"margin_sigma_m": problem.choice.margin_sigma_m, "spread": problem.spread}
    given |= {"shape": problem.choice.shape, "outlines": problem.outlines} | changes
    drawn = drawn_for(problem, given["outlines"], given["margin_sigma_m"])
    middle = event.time_ns(np.median(event.peak_days()))
    place = {n: problem.tracks[n].at(middle) for n in event.station_m if n in problem.tracks}
    if given["shape"] == MEASURED:
        place = {n: point for n, point in place.items() if n in problem.pattern}
        if not place:
            return None, "no station that holds the whole event has a measured pattern"
    if not place:
        return None, "no station over the lake holds the whole event"
    try:
        volume = event_volume(
            event, drawn, place, problem.ice, problem.stream("volume"), given["spread"],
            given["shape"], pattern=problem.pattern,
        )  # fmt: skip
    except SolutionError as why:
        return None, str(why)
    return volume, ""


def _ranges(problem, event):
    """Return rows (what, words, LakeVolume): each method, and each cause of doubt alone."""
    few = _thinned(event)
    sure = IceSpread(0.0, 0.0, 0.0, 0.0, problem.spread.beds)
    still = {"margin_sigma_m": 0.0, "outlines": problem.outlines[:1], "spread": sure}
    known = [one for one in SHAPES if (problem.pattern if one == MEASURED else
             problem.thickness or one not in OF_ICE)]  # fmt: skip
    cases = [(f"shape: {shape}", "all causes of doubt together", {"shape": shape})
             for shape in known]  # fmt: skip
    margin = {"margin_sigma_m": problem.choice.margin_sigma_m}
    cases += [
        ("outline", f"margin further out or in by {problem.choice.margin_sigma_m:g} m (1 sigma)"
         + (f", {len(problem.outlines)} variants" if len(problem.outlines) > 1 else ""),
         still | margin | {"outlines": problem.outlines}),
        *(_ice_cases(problem, sure, still) if problem.thickness else ()),
        ("stations", "heights and bed alone", still),
    ]  # fmt: skip
    if len(problem.outlines) > 1:
        cases += [(f"outline {k}", "this variant alone", still | {"outlines": (one,)})
                  for k, one in enumerate(problem.outlines, 1)]  # fmt: skip
    found = [(what, words, _volume(problem, few, **change)[0]) for what, words, change in cases]
    return [row for row in found if row[2] is not None]


def _ice_cases(problem, sure, still):
    """Return what the ice alone leaves open in a volume, as cases of the range."""
    thickness, spread = problem.thickness, problem.spread
    return (
        ("thickness", f"{thickness.value_m:.0f} +-{thickness.sigma_m:.0f} m",
         still | {"spread": replace(sure, thickness_share=spread.thickness_share)}),
        ("viscosity", f"factor {np.exp(spread.viscosity_log):.2f} (1 sigma): levelling while the "
         "roof moves; where the record ends first, with the elastic modulus' "
         f"{np.exp(spread.young_log):.2f}",
         still | {"spread": replace(sure, viscosity_log=spread.viscosity_log,
                                    young_log=spread.young_log)}),
    )  # fmt: skip


def _thinned(event):
    """Return an event with few of its samples, evenly chosen."""
    pick = np.linspace(0, len(event.change_m) - 1, FEW).astype(int)
    names = ("onset_d", "length_d", "rise", "fall", "change_m")
    station = {name: values[pick] for name, values in event.station_m.items()}
    return replace(event, station_m=station, **{n: getattr(event, n)[pick] for n in names})
