"""What was found of the motion, in numbers and in words."""

import numpy as np

from ..motion.constituents import alias_table
from ..motion.motion_record import AXES
from ..motion.restlessness import usual_part
from ..motion.surface_slope import GRID
from ..motion.together import widening
from ..time import iso
from .motion_tables import yearly

TIDES_TOLD = 4  # constituents of an axis in the summary
STEPS_TOLD = 12
SEEN = 3.0  # amplitude over sigma


def station_summary(motion, frame=""):
    """Return what is told of one station, as JSON holds it."""
    along = motion.along
    return {
        "station": motion.station,
        "frame": frame,
        "first_gps": iso(motion.rows_ns[0]),
        "last_gps": iso(motion.rows_ns[-1]),
        "positions_used": len(motion.rows_ns),
        "positions_by_reason": motion.cleaned.counts,
        "formal_sigma_m": np.median(motion.rows_sigma_m, axis=0).tolist(),
        "interval_h": 24.0 * motion.interval_d,
        "longest_gap_d": float(np.diff(motion.rows_ns).max() / 86400e9),
        "share_in_gaps": float(motion.in_gap.mean()),
        "azimuth_deg": float(np.degrees(motion.path.azimuth_rad) % 360.0),
        "bending": motion.path.bend is not None,
        "mean_speed_m_d": along.mean_velocity_m_d,
        "mean_speed_sigma_m_d": along.mean_velocity_sigma_m_d,
        "mean_speed_m_a": yearly(along.mean_velocity_m_d),
        "mean_speed_sigma_m_a": yearly(along.mean_velocity_sigma_m_d),
        "slowest_m_d": _edge(motion.speed_m_d, 5.0),
        "fastest_m_d": _edge(motion.speed_m_d, 95.0),
        "speed_sigma_m_d": _edge(along.velocity_sigma_m_d, 50.0),
        "axes": {
            name: _axis(axis, motion.rows_ns) for name, axis in zip(AXES, motion.axes, strict=True)
        },
        "midnights": _midnights(motion.midnights),
        "solar": _solar(motion.solar),
        "steps": _steps(motion.steps),
        "slope": _slope(motion),
        "leans": _leans(motion.leans),
        "notes": list(motion.notes),
        "warnings": _gathered(motion.warnings),
    }


def _edge(values, percent):
    there = values[np.isfinite(values)]
    return float(np.percentile(there, percent)) if there.size else np.nan


def _axis(axis, rows_ns):
    model, fit = axis.model, axis.fit
    usual = usual_part(model, rows_ns[0], rows_ns[-1])
    starts = (rows_ns[0], *model.change_ns)
    return {
        "resolution_d": axis.resolution_d,
        "restless_resolution_d": axis.restless_resolution_d,
        "causal_lag_d": axis.lag_d,
        "noise": {
            "white_scale": model.white_scale,
            "coloured_sigma_m": list(model.coloured_sigma_m),
            "coloured_memory_d": list(model.coloured_memory_d),
            "acceleration_m2_d3": usual.acceleration_m2_d3,
            "parts": [
                {"from_gps": iso(start), "acceleration_m2_d3": model.acceleration_m2_d3 * factor}
                for start, factor in zip(starts, (1.0, *model.change_factor), strict=True)
            ],
            "estimated": fit is not None,
            "not_known": list(fit.at_bound) if fit else [],
        },
        "effective_windows": {str(d): w.effective_count for d, w in axis.windows.items()},
        "mean_velocity": _mean_rate(axis.mean_rate),
        "tides": _tides(axis.tides),
    }


def _mean_rate(rate):
    return {
        "velocity_m_d": rate.velocity_m_d,
        "sigma_m_d": rate.sigma_m_d,
        "spectral_index": rate.noise.spectral_index if rate.noise else np.nan,
        "uneven": rate.uneven,
        "why_not": rate.why,
    }


def _tides(tides):
    if tides is None:
        return []
    order = np.argsort(-tides.amplitude, kind="stable")
    return [
        {
            "constituent": tides.names[k],
            "amplitude_m": float(tides.amplitude[k]),
            "amplitude_sigma_m": float(tides.amplitude_sigma[k]),
            "greenwich_lag_deg": float(tides.phase_deg[k]),
            "greenwich_lag_sigma_deg": float(tides.phase_sigma_deg[k]),
        }
        for k in order
    ]


def _midnights(found):
    return {
        name: {
            "count": one.count,
            "rms_sigmas": one.rms,
            "largest_sigmas": one.largest,
            "largest_gps": iso(one.largest_ns) if one.count else "",
        }
        for name, one in zip(AXES, found, strict=True)
    }


def _solar(waves):
    """Return the waves of a day and half a day of all axes as JSON holds them."""
    return [
        {"axis": name, **vars(wave)} for name, own in zip(AXES, waves, strict=True) for wave in own
    ]


def _steps(steps):
    return [
        {
            "after_gps": iso(steps.after_ns[k]),
            "kind": steps.kind[k],
            "logged": bool(steps.logged[k]),
            "size_m": steps.size_m[k].tolist(),
            "sigma_m": steps.sigma_m[k].tolist(),
            "reason": steps.reason[k],
        }
        for k in range(len(steps))
    ]


def _slope(motion):
    own = motion.vertical.slope
    vertical = motion.vertical
    told = {"source": vertical.slope_source, "grid": vertical.grid}
    if own is not None:
        told |= {"own_path": own.slope, "own_path_sigma": own.sigma, "confounded": own.confounded}
    told["residual_by_source"] = [
        {
            "source": choice.source,
            "slope": choice.slope,
            "residual_rms_m": choice.residual_rms_m,
            "rate_m_d": choice.rate_m_d,
            "rate_sigma_m_d": choice.rate_sigma_m_d,
        }
        for choice in motion.vertical.sources
    ]
    return told


def _leans(leans):
    return [
        {
            "end_gps": iso(lean.end_ns),
            "at_visit": lean.at_visit,
            "wander_m": lean.wander_m,
            "toward_deg": float(np.degrees(lean.toward_rad) % 360.0),
            "loss_m": lean.loss_m,
            "seen_m": lean.seen_m,
            "seen_sigma_m": lean.seen_sigma_m,
        }
        for lean in leans
    ]


def _gathered(warnings):
    """Return sentences that several axes share once, with all these axes before them."""
    by_text = {}
    for sentence in warnings:
        axis, _, rest = sentence.partition(": ")
        known = axis in AXES
        by_text.setdefault(rest if known else sentence, []).extend([axis] if known else [])
    return [f"{', '.join(axes)}: {text}" if axes else text for text, axes in by_text.items()]


def station_words(told):
    """Return the lines of one station's summary."""
    lines = [
        f"{told['station']}: {told['first_gps']} to {told['last_gps']}, "
        f"{told['positions_used']} positions used, every {told['interval_h']:.3g} h, longest gap "
        f"{told['longest_gap_d']:.1f} d"
    ]
    lines += [_speed_words(told), *_mean_words(told["axes"])]
    along = told["axes"]["along"]
    lines.append(
        f"  resolved: changes of speed over {_days(along['resolution_d'])} and longer"
        f"{_restless_words(along)}; the causal speed comes {_days(along['causal_lag_d'])} late"
    )
    apart = {k: n for k, n in told["positions_by_reason"].items() if n and k not in KEPT_WORDS}
    if apart:
        lines.append("  put aside: " + ", ".join(f"{n} {k}" for k, n in apart.items()))
    saved = told["positions_by_reason"].get("protected", 0)
    if saved:
        lines.append(f"  kept because they are protected: {saved} that would be put aside")
    for name in AXES:
        lines += _tide_words(name, told["axes"][name]["tides"])
    lines += _midnight_words(told["midnights"])
    lines += _step_words(told["steps"])
    lines += _slope_words(told["slope"])
    lines += [f"  note: {note}" for note in told["notes"]]
    return [*lines, *(f"  warning: {warning}" for warning in told["warnings"])]


KEPT_WORDS = ("kept", "alone", "protected")


def _restless_words(axis):
    """Return what is resolved where the ice is restless, for records of several parts."""
    count = len(axis["noise"]["parts"])
    if count == 1:
        return ""
    return f", in the most restless of {count} parts over {_days(axis['restless_resolution_d'])}"


def _speed_words(told):
    speed, sigma = told["mean_speed_m_d"], told["mean_speed_sigma_m_d"]
    return (
        f"  mean speed {speed:.5f} +-{sigma:.1g} m/d ({told['mean_speed_m_a']:.3f} "
        f"+-{told['mean_speed_sigma_m_a']:.1g} m/a) towards {told['azimuth_deg']:.1f} deg; "
        f"{told['slowest_m_d']:.3f} to {told['fastest_m_d']:.3f} m/d for nine tenths of the time, "
        f"each known to {told['speed_sigma_m_d']:.4f} m/d (1 sigma)"
    )


def _mean_words(axes):
    """Return lines on the mean velocities under white and power-law noise."""
    found = {name: axes[name]["mean_velocity"] for name in AXES}
    why = found["along"]["why_not"]
    if why:
        return [f"  no mean velocity under power-law noise: {why}"]
    known = {name: rate for name, rate in found.items() if not rate["why_not"]}
    words = [
        f"{name} {rate['velocity_m_d']:.5f} +-{rate['sigma_m_d']:.1g} m/d (index "
        f"{rate['spectral_index']:.1f})"
        for name, rate in known.items()
    ]
    lines = [f"  mean under white and power-law noise: {', '.join(words)}"]
    uneven = [name for name, rate in known.items() if rate["uneven"]]
    if uneven:
        lines.append(
            f"    {', '.join(uneven)}: the speed itself changes; that sigma tells how far means of "
            "such records lie apart, not how well this travel is known"
        )
    return lines


def _days(days):
    if not np.isfinite(days if days is not None else np.nan):
        return "more than the record"
    return f"{days * 24.0:.1f} h" if days < 1.0 else f"{days:.1f} d"


def _tide_words(axis, tides):
    seen = [t for t in tides if t["amplitude_m"] > SEEN * t["amplitude_sigma_m"]]
    if not seen:
        return [f"  tide {axis}: none above 3 sigma"] if tides else []
    words = [
        f"{t['constituent']} {1e3 * t['amplitude_m']:.2f} +-{1e3 * t['amplitude_sigma_m']:.2f} mm "
        f"{t['greenwich_lag_deg']:.0f} deg"
        for t in seen[:TIDES_TOLD]
    ]
    return [f"  tide {axis}: {', '.join(words)}"]


def _midnight_words(found):
    """Return the line on rows on both sides of midnight, where there are enough."""
    known = {name: found[name] for name in AXES if name in found and found[name]["count"]}
    if not known:
        return []
    rms = ", ".join(f"{name} {one['rms_sigmas']:.1f}" for name, one in known.items())
    most = max(known.values(), key=lambda one: one["largest_sigmas"])
    return [
        f"  across midnight rows differ by so many times the usual: {rms} (rms; 1 is expected), at "
        f"most by {most['largest_sigmas']:.1f} sigmas at {most['largest_gps']}"
    ]


def _step_words(steps):
    lines = []
    for step in steps[:STEPS_TOLD]:
        size = ", ".join(f"{100.0 * x:.1f}" if x == x else "?" for x in step["size_m"])
        logged = "logged" if step["logged"] else "not logged"
        done = "removed" if step["kind"] == "equipment" else "left in"
        lines.append(
            f"  step {step['after_gps']} ({step['kind']}, {logged}, {done}): {size} cm along, "
            f"across, up; {step['reason']}"
        )
    more = len(steps) - STEPS_TOLD
    return [*lines, f"  and {more} more steps, see the table"] if more > 0 else lines


def _slope_words(slope):
    choices = slope["residual_by_source"]
    if not choices:
        return []
    words = [
        f"{c['source']} {100.0 * c['rate_m_d']:+.3f} +-{100.0 * c['rate_sigma_m_d']:.3f} cm/d"
        for c in choices
    ]
    used = f"{slope['source']} {slope['grid']}" if slope["source"] == GRID else slope["source"]
    return [f"  rise left by source of the slope ({used} is used): {', '.join(words)}"]


def network_summary(network):
    """Return what is told of the stations together, as JSON holds it."""
    return {
        "stations": list(network.stations),
        "left_out": network.left_out,
        "strain": [
            {
                "stations": list(s.stations),
                "larger_per_a": s.mean.principal[0].value,
                "larger_sigma_per_a": s.mean.principal[0].sigma * widening(s.mean),
                "smaller_per_a": s.mean.principal[1].value,
                "smaller_sigma_per_a": s.mean.principal[1].sigma * widening(s.mean),
                "axis_azimuth_deg": float(np.degrees(0.5 * np.pi - s.mean.axis_rad.value) % 180.0),
                "warnings": list(s.warnings),
            }
            for s in network.strain
        ],
        "lags": [
            {"first": a, "second": b, "lag_d": lag.lag_d, "low_d": lag.low_d, "high_d": lag.high_d,
             "correlation": lag.correlation, "p_value": lag.p_value}
            for a, b, lag in network.lags
        ],
        "baseline_cautions": {n: list(b.cautions) for n, b in network.baselines.items()},
    }  # fmt: skip


def network_words(told):
    """Return the lines about the stations together."""
    lines = ["", "The stations together"]
    for s in told["strain"]:
        lines.append(
            f"  strain {'-'.join(s['stations'])}: {_milli(s, 'larger')} and {_milli(s, 'smaller')} "
            f"per 1000 a year, the larger towards {s['axis_azimuth_deg']:.0f} deg"
        )
        lines += [f"    warning: {warning}" for warning in s["warnings"]]
    for lag in told["lags"]:
        span = f"{lag['low_d']:+.2f} to {lag['high_d']:+.2f}"
        lines.append(
            f"  {lag['second']} after {lag['first']}: {lag['lag_d']:+.2f} d ({span}), "
            f"correlation {lag['correlation']:.2f}, chance {lag['p_value']:.2g}"
        )
    lines += [f"  {name}: {why}" for name, why in told["left_out"].items()]
    if len(told["frames"]) > 1:
        each = "; ".join(f"{f} of {', '.join(names)}" for f, names in told["frames"].items())
        lines.append(
            f"  frames differ: {each}. Speeds differ by less than 1 mm/a between realisations of "
            "the last twenty years; frame in [position] brings all to one"
        )
    cautions = {c for all_of in told["baseline_cautions"].values() for c in all_of}
    lines += [f"  season: {caution}" for caution in sorted(cautions)]
    return [*lines, "", alias_words()]


def _milli(strain, name):
    value, sigma = strain[f"{name}_per_a"], strain[f"{name}_sigma_per_a"]
    return f"{1e3 * value:+.3f} +-{1e3 * sigma:.3f}"


def alias_words():
    """Return how tides would show in daily positions."""
    rows = [(name, daily) for name, _, daily, _ in alias_table()]
    words = [f"{n} {d:.1f} d" if np.isfinite(d) else f"{n} constant" for n, d in rows]
    return f"Daily positions would show tides as: {', '.join(words)}."
