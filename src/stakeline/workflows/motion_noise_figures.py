"""Figures of how a station's velocity is estimated: spectrum of what is left, and responses."""

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SolutionError
from ..motion.constituents import SIDEREAL_DAY_H, constituent
from ..motion.response import response
from ..motion.smoother import MotionModel
from ..motion.spectrum import noise_power, power_spectrum
from ..report.response_figure import EstimatorResponse, draw_responses
from ..report.tide_figures import Spectrum, draw_spectrum

SEGMENT_D = 64.0  # d, parts N2 from M2 (27 d) in each segment of the spectrum; our choice
ESTIMATORS = {"smooth": "looking both ways", "filtered": "looking back only"}
LINES = ("M2", "S2", "N2", "K2", "K1", "O1", "P1", "Q1")
MM = 1e3


def noise_figures(result):
    """Return {name: Figure}: the spectrum of the up motion, and the responses along the flow."""
    along, across, up = result.told["formal_sigma_m"]
    sigma_m = np.hypot(along, across) / np.sqrt(2.0), up
    figures = {}
    record = spectrum(result, sigma_m[1])
    if record is not None:
        figures["spectrum"] = draw_spectrum(record)
    answers = responses(result, sigma_m[0])
    if answers:
        figures["responses"] = draw_responses(
            answers, f"{result.station}: what each estimator of speed makes of a sudden change",
            "For the noise and the usual restlessness of this station, along the flow.",
        )  # fmt: skip
    return figures


def model_of(told):
    """Return the MotionModel of one axis of a summary."""
    noise = told["noise"]
    return MotionModel(
        noise["acceleration_m2_d3"], np.inf, tuple(noise["coloured_sigma_m"]),
        tuple(noise["coloured_memory_d"]), noise["white_scale"],
    )  # fmt: skip


def spectrum(result, sigma_m):
    """Return the Spectrum of the up motion that was measured but not taken as motion.

    None where the record is too short or too broken.
    """
    columns, told = result.columns, result.told["axes"]["up"]
    left = columns["residual_up_unsmoothed_m"] - columns["residual_up_m"]
    time_ns = result.time_ns
    if len(time_ns) < 2 or not np.isfinite(sigma_m):
        return None
    interval_d = float(np.median(np.diff(time_ns))) / NS_PER_DAY
    try:
        found = power_spectrum(MM * left, interval_d, round(SEGMENT_D / interval_d))
    except SolutionError:
        return None
    model = model_of(told)
    sampled = max(result.told["interval_h"] / 24.0, 1e-9)
    mean_of = max(interval_d / sampled, 1.0)  # positions behind one value
    white = MM * sigma_m * model.white_scale / np.sqrt(mean_of)
    coloured = [MM * sigma for sigma in model.coloured_sigma_m]
    power = noise_power(found.frequency_cpd, interval_d, white, coloured, model.coloured_memory_d)
    width = told["resolution_d"]
    lines = tuple((name, 24.0 / constituent(name).period_h) for name in LINES)
    return Spectrum(
        f"{result.station}: spectrum of what is left of the up motion", found.frequency_cpd,
        found.power, power, 2.0 * interval_d * white**2, lines, 1.0 / width if width else np.nan,
        found.interval,
        f"{found.segments} segments of up to {SEGMENT_D:g} d. Sidereal day {SIDEREAL_DAY_H:.4f} h: "
        "errors of satellite geometry and reflections repeat.",
    )  # fmt: skip


def responses(result, sigma_m):
    """Return the EstimatorResponse of each estimator of the speed; none where not to be had."""
    told = result.told
    if not np.isfinite(sigma_m):
        return ()
    found = []
    for name, words in ESTIMATORS.items():
        try:
            one = response(
                name, model_of(told["axes"]["along"]), told["interval_h"] / 24.0, sigma_m
            )
        except SolutionError:
            continue
        found.append(
            EstimatorResponse(
                words, one.offset_d, one.step, one.impulse, one.width_d, one.lag_d, one.lead_d
            )
        )
    return tuple(found)
