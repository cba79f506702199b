"""Stations and satellite passes in one volume: do intervals hold a truth drawn from the doubts?

    python validation/lakes_together.py [LAKES [OUTLINES]]

Exit code 1 where one falls short. Invented lakes (100 unless told otherwise), outlines drawn for
each as many as the verb draws (unless told otherwise), below 700 m of ice:
margin, thickness, viscosity, bed and roof are drawn; two stations measure the surface where they
stand, passes its mean over the outline that one believes in. Bars are our own, set before the first
run.
"""

import sys

import numpy as np
from _measured import Table

from stakeline.lakes.event_record import LakeEvent
from stakeline.lakes.outline import drawn_outlines, ellipse_outline
from stakeline.lakes.pass_changes import PassChange
from stakeline.lakes.response import FLOWS, Ice
from stakeline.lakes.surface import mean_view, shares, view_of
from stakeline.lakes.volume import IceSpread, event_volume
from stakeline.lakes.volume_together import AGREE, together
from stakeline.workflows.lakes_solve import OUTLINES

LAKES, DRAWS = 100, 400
MARGIN_M, STATION_M, PASSES_M = 200.0, 0.03, 0.08  # m, 1 sigma
BELIEVED = ellipse_outline("Upper Halvard", np.zeros(2), (2600.0, 2000.0))
PLACES = {"HV02": (0.0, 0.0), "HV03": (1200.0, 500.0)}
THICK_M = 700.0
SPREAD = IceSpread()
SOURCE = "drawn truth, own bar"


def truth(rng):
    """Return (volume, height change at stations (2,), change of the mean) of one drawn lake."""
    outline = drawn_outlines([BELIEVED], None, MARGIN_M, rng, 1)[0]
    ice = Ice(THICK_M * (1.0 + SPREAD.thickness_share * rng.standard_normal()))
    method = FLOWS[int(rng.integers(2))]
    share = shares(view_of(outline, np.array(list(PLACES.values()))), ice, method)
    share = share * (1.0 + SPREAD.share_sigma * rng.standard_normal(2))
    roof = -rng.uniform(1.0, 4.0)
    mean = mean_view(outline, BELIEVED, ice).share(ice, method)
    return outline.area_m2 * abs(roof), share * roof, mean * roof


def measured(rng, heights):
    """Return the LakeEvent that stations make of their heights."""
    seen = heights + STATION_M * rng.standard_normal(2)
    samples = seen + STATION_M * rng.standard_normal((DRAWS, 2))
    even = np.full(DRAWS, 2.0)
    return LakeEvent(
        "Upper Halvard", "drain", 0, np.full(DRAWS, 40.0), np.full(DRAWS, 6.0), even, even,
        samples.mean(axis=1), dict(zip(PLACES, samples.T, strict=True)), 1.0, 0.0,
    )  # fmt: skip


def one(seed, drawn=OUTLINES, off_m=0.0):
    """Return (true volume, LakeVolume of stations, TogetherVolume) of one lake."""
    rng = np.random.default_rng(seed)
    volume, heights, mean = truth(rng)
    outlines = drawn_outlines([BELIEVED], None, MARGIN_M, rng, drawn)
    found = event_volume(
        measured(rng, heights), outlines, PLACES, Ice(THICK_M), rng, SPREAD, over=BELIEVED
    )
    seen = mean + off_m + PASSES_M * rng.standard_normal()
    passes = PassChange(np.full(DRAWS, seen), np.full(DRAWS, PASSES_M), 12)
    return volume, found, together(found, passes, rng)


def ends(samples):
    return np.quantile(samples, [0.025, 0.975])


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else LAKES
    drawn = int(sys.argv[2]) if len(sys.argv) > 2 else OUTLINES
    table = Table(
        f"Stations and passes in one volume: {count} lakes, {drawn} outlines drawn for each"
    )
    rows = [one(seed, drawn) for seed in range(count)]
    held = [ends(found.volume_m3)[0] < v < ends(found.volume_m3)[1] for v, found, _ in rows]
    both = [(v, found, b) for v, found, b in rows if b.verdict == AGREE]
    inside, width = [], []
    for volume, found, one_both in both:
        low, high = ends(one_both.together["volume_m3"])
        inside.append(low < volume < high)
        width.append((high - low) / np.subtract(*ends(found.volume_m3)[::-1]))
    table.say(f"95 % intervals of stations alone that hold the truth: {100 * np.mean(held):.1f} %")
    share = 100.0 * np.mean(inside)
    table.line("95 % intervals of both that hold the truth", share, 92.0, "%", SOURCE, least=True)
    table.line("95 % intervals of both that hold the truth", share, 99.0, "%", SOURCE)
    table.line("width of both over stations alone, median", np.median(width), 0.8, "", SOURCE)
    off = [np.median(b.together["volume_m3"]) / v - 1.0 for v, _, b in both]
    table.line("volume of both against the truth, median", 100 * abs(np.median(off)), 5.0, "%",
               SOURCE)  # fmt: skip
    odd = 100.0 * (count - len(both)) / count
    table.line("lakes said to disagree though nothing is wrong", odd, 4.0, "%", SOURCE)
    wrong = [one(seed, drawn, 3.0)[2].verdict != AGREE for seed in range(0, count, 4)]
    table.line("passes off by 3 m: said to disagree", 100.0 * np.mean(wrong), 80.0, "%", SOURCE,
               least=True)  # fmt: skip
    table.end()


if __name__ == "__main__":
    main()
