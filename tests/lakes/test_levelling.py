"""Water behind a surface that levels itself: round trips, limits, what is not undone."""

import numpy as np
import pytest

from stakeline.lakes.event_record import LakeEvent
from stakeline.lakes.levelling import Levelling, grid_of, hidden_m, kept_of, metre_draws
from stakeline.lakes.outline import ellipse_outline, moved_margin
from stakeline.lakes.response import FLOWS, METHODS, UNIFORM, Ice
from stakeline.lakes.surface import shares, surface_from_roof, view_of
from stakeline.lakes.volume import IceDraws, IceSpread, event_volume

LAKE = ellipse_outline("lake", (0.0, 0.0), (2600.0, 1600.0))
POINT = np.array([[0.0, 0.0], [800.0, 600.0]])
ICE = Ice(800.0)
DAY = np.arange(0.0, 400.0, 0.5)


def draws(method, viscosity, count=1):
    one = np.ones(count)
    number = np.full(count, METHODS.index(method))
    return IceDraws(np.zeros(count, int), 800.0 * one, viscosity * one, number, one)


@pytest.mark.parametrize("flow", FLOWS)
def test_the_roof_comes_back_from_its_surface(flow):
    levelling = Levelling((view_of(LAKE, POINT),), ICE)
    grid = grid_of(DAY)
    kept = levelling.kept(draws(flow, 1e14), np.array([0]), grid)
    assert kept[0, 0] == 1.0
    assert (np.diff(kept[0]) < 0.0).all()
    # second formula: the forward model of the stations, by exact shares at each lag
    view = levelling.views[0]
    exact = np.array([shares(view, ICE, flow, 86400.0 * d).mean() for d in grid])
    roof = np.where(grid < 100.0, -0.02 * grid, -2.0 + 0.004 * (grid - 100.0))
    surface = surface_from_roof(exact[None] / exact[0], roof)
    rows = np.interp(DAY, grid, surface[0])[None]
    hidden, rate = hidden_m(DAY, rows, kept, grid)
    assert rows[0] + hidden[0] == pytest.approx(np.interp(DAY, grid, roof), abs=4e-3)
    assert hidden[0, -1] < -0.1  # unseen, a tenth of a metre and more
    late = DAY > 110.0
    seen = np.gradient(rows[0], DAY)
    assert (seen + rate[0])[late][:-3] == pytest.approx(0.004, abs=3e-4)


def test_stiff_ice_hides_nothing_and_a_block_never_does():
    levelling = Levelling((view_of(LAKE, POINT),), ICE)
    grid = grid_of(DAY)
    rows = -2.0 * np.clip(DAY / 50.0, 0.0, 1.0)[None]
    for one in (draws(FLOWS[1], 1e30), draws(UNIFORM, 1e14)):
        hidden, rate = hidden_m(DAY, rows, levelling.kept(one, np.array([0]), grid), grid)
        assert np.abs(hidden).max() < 1e-9
        assert np.abs(rate).max() < 1e-9


def test_metres_hold_the_volume_of_events_that_are_short():
    rng = np.random.default_rng(2)
    one, names = np.ones(500), ("HV02", "HV03")
    places = dict(zip(names, POINT, strict=True))
    seen = dict.fromkeys(names, -2.0 + 0.02 * rng.standard_normal(500))
    event = LakeEvent("lake", "drain", 0, 10.0 * one, 3.0 * one, 2.0 * one, 2.0 * one,
                      seen["HV02"], seen, 1.0, 0.0)  # fmt: skip
    outlines = [LAKE, moved_margin(LAKE, 150.0)]
    volume = event_volume(event, outlines, places, ICE, rng, IceSpread())
    per_m, samples = metre_draws([event, event], [volume, None], rng, 100)
    assert 2.0 * np.median(per_m) == pytest.approx(np.median(volume.volume_m3), rel=0.01)
    levelling = Levelling(tuple(view_of(o, POINT) for o in outlines), ICE)
    kept = kept_of(levelling, samples, grid_of(DAY))
    assert kept.shape == (100, len(grid_of(DAY)))
    # each draw keeps its own ice: softer ice keeps less after a year
    soft = np.array([v.ice.thickness_m[k] / v.ice.viscosity_Pa_s[k] for v, k in samples])
    slides = np.array([v.ice.method[k] == METHODS.index(FLOWS[1]) for v, k in samples])
    for some in (slides, ~slides):
        order = np.argsort(soft[some])
        assert np.corrcoef(np.arange(some.sum()), kept[some, 365][order])[0, 1] < -0.8
    assert metre_draws([event], [None], rng, 100) == (None, ())
