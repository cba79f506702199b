"""The part ``placement`` of the verb ``lakes``: where a station would see most of each lake."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from .. import __version__
from ..campaign.folders import LAKES, PLANS, open_campaign
from ..campaign.ledger import fingerprint
from ..campaign.store import sha256_file
from ..earth.projection import projection
from ..errors import SettingsError
from ..formats.grids import read_grids
from ..lakes.network_sight import sigma_together
from ..lakes.outline import drawn_outlines
from ..lakes.placement import (
    Drift,
    best_place,
    change_sigma_m,
    control_place,
    judged_place,
    onset_sigma_d,
    seen_amplitude_m,
    share_sample,
)
from ..lakes.response import FLOWS, PLATES, UNIFORM, Ice
from ..lakes.whitening import START
from ..motion.smoother import MotionModel
from .lakes_carried import carried_from, motion_map
from .lakes_ground import Thickness, ice_thickness, lake_outlines
from .lakes_parts import file_name, settle
from .lakes_placement_tables import (
    BEST,
    CONTROL,
    PLANNED,
    SPEED_SIGMA,
    STANDS,
    Placed,
    Together,
    placement_table,
    sentences,
)
from .map_fields import thickness_maps
from .motion_ground import grid_files
from .motion_network_figures import azimuth_rad
from .motion_results import station_results
from .position import Outcome
from .position_tables import station_positions
from .typed_place import read_plan

RECORDS = "lakes-placement"
FARTHEST_KM = 30.0  # of the station whose motion is taken for that of the lake; choice
QUIET = 5  # nearest stations over no lake whose noise is taken; choice
LEAST_ICE_M = 50.0  # m, below a control; choice
ON_THE_WAY = 0.05  # -, odds of water below a place from which it is no control; choice
_WHITE_M = 0.005  # m, of a height of some hours, where no station's is known; choice
_ROWS = 6.0  # hourly heights behind one row of :data:`_STEP_D`
_STEP_D = 0.25


@dataclass(frozen=True, eq=False)
class Mover:
    """What a station tells: place, motion and noise of its height; NaN where not known."""

    station: str
    latitude_rad: float
    longitude_rad: float
    speed_m_d: float
    azimuth_rad: float
    model: MotionModel
    white_m: float


@dataclass(frozen=True, eq=False)
class PlacementTask:
    """All that the placement on one lake follows from."""

    name: str
    key: str
    campaign: object
    lake: str


def placement_part(doing):
    """Place a station on each lake of a run's campaign, where that is out of date."""
    campaign = doing.campaign
    outlines, settings = lake_outlines(campaign), campaign.settings.lakes
    movers = movers_of(campaign)
    # the grids are inputs as well: thickness, and the odds of water below a control
    files = sorted((*grid_files(campaign), *_odds_file(campaign)))
    shas = [(path.name, sha256_file(path)[1]) for path in files]
    told = [(m.station, m.latitude_rad, m.longitude_rad, m.speed_m_d, m.azimuth_rad,
             vars(m.model), m.white_m) for m in movers]  # fmt: skip
    told += planned_places(campaign)
    common = [__version__, settings.placement.model_dump(), outlines.files, shas, told]
    tasks = []
    for name in outlines.lakes:
        chosen = [settings.chosen(name, k) for k in ("margin_sigma_m", "bed", "shape")]
        chosen += [settings.of(name).thickness_m, settings.map_epsg]
        if doing.wants(name):
            key = fingerprint([*common, name, chosen])
            tasks.append(PlacementTask(file_name(name), key, campaign.root, name))
    settled = settle(doing, RECORDS, solve_placement, tasks)
    return Outcome(
        "", settled.problems,
        (f"placement on {len(settled.done)} lakes",) * bool(settled.done),
        (f"placement on {len(settled.current)} lakes",) * bool(settled.current),
    )  # fmt: skip


def controls_part(doing):
    """Place again where the routes have changed: controls stand where no water passes below."""
    return replace(placement_part(doing), up_to_date=())


def _odds_file(campaign):
    path = campaign.folder(LAKES) / "route_probability.nc"
    return (path,) if path.is_file() else ()


def movers_of(campaign):
    """Return the :class:`Mover` of every station that has a place and moves."""
    found = []
    for result in station_results(campaign):
        place = result.latitude_rad, result.longitude_rad
        if not (np.isfinite(place).all() and result.moves and result.told):
            continue
        noise = result.told["axes"]["up"]["noise"]
        model = MotionModel(
            noise["acceleration_m2_d3"], np.inf, tuple(noise["coloured_sigma_m"]),
            tuple(noise["coloured_memory_d"]), noise["white_scale"],
        )  # fmt: skip
        up = station_positions(campaign, result.station)["sigma_up_m"]
        white = float(np.nanmedian(up)) / np.sqrt(_ROWS) if len(up) else np.nan
        speed = result.mean_speed_m_d[0]
        found.append(Mover(result.station, *place, speed, azimuth_rad(result), model, white))
    return tuple(found)


def planned_places(campaign):
    """Return (station, latitude, longitude) of the station files of ``plans/``. [rad]

    A file that describes no station is left out: the verb plan says why.
    """
    found = []
    for path in sorted(campaign.folder(PLANS).glob("*.toml")):
        try:
            told = read_plan(path)
        except SettingsError:
            continue
        place = np.radians([told.site.latitude_deg, told.site.longitude_deg])
        found.append((told.name, *place.tolist()))
    return found


def solve_placement(task):
    """Return {path below the campaign: bytes} of one lake; for worker processes."""
    campaign = open_campaign(task.campaign)
    placed = place_on(campaign, task.lake, movers_of(campaign))
    folder = f"{LAKES}/{task.name}"
    words = "\n".join(sentences(placed, campaign.settings.lakes.placement)) + "\n"
    return {
        f"{folder}/placement.csv": placement_table(placed, campaign.settings.lakes.placement),
        f"{folder}/placement.txt": words.encode("utf-8"),
    }


def place_on(campaign, lake, movers):
    """Return the :class:`Placed` of one lake.

    Raises
    ------
    SettingsError
        Where the thickness of the ice is not known, or no place is good.
    """
    settings = campaign.settings.lakes
    part, lakes = settings.placement, lake_outlines(campaign).lakes
    variants = lakes[lake]
    rng = np.random.default_rng(part.seed)
    margin = settings.chosen(lake, "margin_sigma_m")
    more = drawn_outlines(variants, None, margin, rng, part.outlines) if part.outlines else ()
    ice = ice_thickness(campaign, variants[0])
    methods = _methods(settings.chosen(lake, "shape"), settings.chosen(lake, "bed"))
    sample = share_sample((variants[0], *more), Ice(ice.value_m), methods)
    near = _by_distance(variants[0], movers)
    drift, moved = _drift_at(variants[0], near)
    (sigma, onset_d), heard = _noise_near([one[0] for one in lakes.values()], near, part)
    best = best_place(sample, drift, part.stay_d, rng)
    rows, notes = [(BEST, "", best)], []
    try:
        control = control_place(
            sample, best.true_m, drift, part.stay_d, allowed=_allowed(campaign, variants[0])
        )
        rows.append((CONTROL, "", control))
    except SettingsError as problem:
        notes.append(str(problem))
    for role, station, at in _over(campaign, variants[0], movers):
        own = judged_place(sample, variants[0].true_m(at), drift, part.stay_d, rng)
        rows.append((role, station, own))
    motion = motion_map(campaign, variants[0], drift)
    ways = [carried_from(motion, one[2], part.strain_limit_per_a, variants[0]) for one in rows]
    words = (
        _ice_words(ice),
        f"{len(more) + 1} outlines, {' and '.join(methods)}",
        moved,
        heard,
        *notes,
        *([] if motion is None else [motion.words]),
    )
    return Placed(variants[0], tuple(rows), sigma, onset_d, drift, words, tuple(ways),
                  _together(rows, sigma, onset_d, part))  # fmt: skip


def _over(campaign, outline, movers):
    """Return (role, station, place on the map) of those over a lake: they stand, or are planned."""
    standing = [(STANDS, m.station, m.latitude_rad, m.longitude_rad) for m in movers]
    known = {mover.station for mover in movers}
    planned = [(PLANNED, *one) for one in planned_places(campaign) if one[0] not in known]
    chart = projection(outline.epsg)
    found = [(role, name, chart.forward(*place)) for role, name, *place in (*standing, *planned)]
    return [one for one in found if outline.contains(one[2])[0]]


def _together(rows, sigma_m, onset_d, part):
    """Return the :class:`Together` of stations over a lake; None for fewer than two."""
    seen = [(name, abs(place.stay_share[1])) for role, name, place in rows
            if role in (STANDS, PLANNED) and place.stay_share[1] != 0.0]  # fmt: skip
    if len(seen) < 2:
        return None
    shares = np.array([share for _, share in seen])
    least = seen_amplitude_m(1.0, sigma_together(sigma_m / shares), part.false_alarm, part.power)
    return Together(tuple(name for name, _ in seen), float(least),
                    24.0 * sigma_together(onset_d / shares))  # fmt: skip


def _ice_words(ice: Thickness):
    return f"ice {ice.value_m:.0f} m thick ({ice.source})"


def _methods(shape, bed):
    """Return the methods of the ice's answer that settings stand for."""
    if shape == "uniform":
        return (UNIFORM,)
    if shape == "plate bulge":
        return PLATES
    return {"stuck": FLOWS[:1], "sliding": FLOWS[1:], "either": FLOWS}[bed]


def _by_distance(outline, movers):
    """Return (distance from the lake's middle, mover) of each, the nearest first. [km]"""
    chart, found = projection(outline.epsg), []
    for mover in movers:
        at = chart.forward(mover.latitude_rad, mover.longitude_rad)
        found.append((float(np.hypot(*outline.true_m(at))) / 1e3, mover))
    return sorted(found, key=lambda pair: pair[0])


def _drift_at(outline, near):
    """Return (Drift, sentence) by the nearest station with motion."""
    if not near or near[0][0] > FARTHEST_KM:
        return Drift(), (
            f"no station with motion within {FARTHEST_KM:g} km: the ice is taken to stand still"
        )
    away_km, mover = near[0]
    turn = projection(outline.epsg).convergence(mover.longitude_rad)
    angle = 0.5 * np.pi - mover.azimuth_rad - turn
    velocity = mover.speed_m_d * np.array([np.cos(angle), np.sin(angle)])
    doubt = SPEED_SIGMA * mover.speed_m_d
    return Drift(tuple(velocity.tolist()), (doubt, doubt)), (
        f"motion of {mover.station}, {away_km:.1f} km from the middle: {mover.speed_m_d:.2f} m/d"
    )


def _noise_near(outlines, near, part):
    """Return ((sigma of a change, of the onset of 1 m), sentence).

    The median of the nearest stations over no lake.

    What ``motion`` calls noise at a station over a lake holds the lake's own events.
    """
    quiet = []
    for _, mover in near:
        inside = (
            one.contains(projection(one.epsg).forward(mover.latitude_rad, mover.longitude_rad))[0]
            for one in outlines
        )
        if not any(inside):
            quiet.append(mover)
    quiet = quiet[:QUIET]
    if not quiet:
        return _sigmas(
            START, _WHITE_M, part
        ), "noise of a height as is common, for want of a station beside the lakes"
    found = np.median([_sigmas(m.model, m.white_m, part) for m in quiet], axis=0).tolist()
    names = ", ".join(mover.station for mover in quiet)
    return found, f"noise of a height: median of {names}, {1e3 * found[0]:.0f} mm for such a change"


def _sigmas(model, white_m, part):
    """Return (sigma of a change of height [m], sigma of the onset of one of 1 m [d])."""
    white = white_m if np.isfinite(white_m) else _WHITE_M
    lengths = part.change_d, part.record_d, part.record_d, _STEP_D
    return change_sigma_m(model, white, *lengths), onset_sigma_d(model, white, *lengths)


def _allowed(campaign, outline):
    """Return a function from true metres (p, 2) to True where a control may stand."""
    readers = []
    for path in _odds_file(campaign):
        grids = read_grids(path)
        odds = [v for name, v in grids.fields.items() if name.startswith("probability_")]
        readers.append(_reader(grids, np.max(odds, axis=0)))
    thickness = next(iter(thickness_maps(campaign)), None)

    def allowed(true_m):
        at = outline.map_m(true_m)
        good = np.ones(len(at), bool)
        for read in readers:
            good &= read(at[:, ::-1]) <= ON_THE_WAY
        if thickness is not None:
            good &= thickness.at(at, outline.epsg) >= LEAST_ICE_M
        return good

    return allowed


def _reader(grids, values):
    """Return a function from map points (n, 2), northing first, to a field; NaN off it."""
    x, y = np.asarray(grids.x_m, float), np.asarray(grids.y_m, float)
    across, down = np.argsort(x), np.argsort(y)
    return RegularGridInterpolator(
        (y[down], x[across]), values[np.ix_(down, across)], bounds_error=False, fill_value=np.nan
    )
