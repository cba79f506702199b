"""What was found of the lakes, in numbers and in words."""

import numpy as np

from .. import __version__
from ..time import iso
from .lakes_places import CONTROL, NEITHER, OVER
from .lakes_tables import event_told, minutes, phase_told, range_told, slow_told

FLOW_CAUTION = (
    "volume and discharge are of the water below the outline that moved the surface; water that "
    "runs through while the level stays is not in them"
)


def lake_summary(name, problem, solution, facts):
    """Return what is told of one lake, as JSON holds it."""
    history = solution.history
    series = history.series
    told = zip((*history.events, *history.slow), solution.volumes, solution.volume_words,
               strict=True)  # fmt: skip
    every = [event_told(*one, history) for one in told]
    events = every[: len(history.events)]
    per_m = [
        abs(e["volume_m3_median"] / e["change_m_median"])
        for e in every
        if np.isfinite(e["volume_m3_median"])
    ]
    per_m = float(np.mean(per_m)) if per_m else np.nan
    return {
        "lake": problem.lake,
        "name": name,
        "version": __version__,
        "first_gps": iso(minutes(series.time_ns(series.day[0]))),
        "last_gps": iso(minutes(series.time_ns(series.day[-1]))),
        "years": float(series.years),
        "step_h": 24.0 * float(series.step_d),
        "area_m2": problem.outlines[0].area_m2,
        "variants_area_m2": [outline.area_m2 for outline in problem.outlines],
        "ice": _ice(problem),
        "settings": vars(problem.choice),
        "shares": solution.shares,
        "unjudged": solution.unjudged,
        "volume_per_metre_m2": per_m,
        "events": events,
        "ranges": [range_told(history.events, row) for row in solution.ranges],
        "phases": phase_rows(solution),
        "levelling": solution.levelling,
        "noise": _noise(history.model),
        "false_limit_per_year": history.false_limit_per_year,
        "notes": [
            *history.notes,
            *facts["step_notes"],
            *([solution.curves.note] * bool(solution.curves.note)),
        ],
        **facts,
    }


def phase_rows(solution):
    """Return what is told of phases, then of changes that last too long for events."""
    history = solution.history
    flows = solution.curves.inflow_m3_s.T
    slow = zip(history.slow, solution.volumes[len(history.events) :], strict=True)
    return [
        *(phase_told(*one) for one in zip(history.phases, flows, strict=True)),
        *(slow_told(*one) for one in slow),
    ]


def _ice(problem):
    if problem.thickness is None:
        return {"unknown": problem.thickness_words}
    ice = {"thickness_m": problem.thickness.value_m, "sigma_m": problem.thickness.sigma_m}
    return ice | {
        "source": problem.thickness.source,
        "viscosity_Pa_s": problem.choice.viscosity_Pa_s,
    }


def _noise(model):
    return {
        "white_scale": float(model.white_scale),
        "coloured_sigma_m": [float(v) for v in model.coloured_sigma_m],
        "coloured_memory_d": [float(v) for v in model.coloured_memory_d],
        "acceleration_m2_d3": float(model.acceleration_m2_d3),
    }


def lake_words(told, events):
    """Return the lines of one lake's summary; ``events`` as people have reviewed them."""
    lines = [
        f"{told['lake']}: {told['first_gps'][:10]} to {told['last_gps'][:10]}, outline "
        f"{told['area_m2'] / 1e6:.2f} km2{_variants(told)}, {_ice_words(told['ice'])}"
    ]
    lines += _station_lines(told)
    if not events:
        lines.append(
            f"  no event: nothing in {told['years']:.2f} a that noise would make less often than "
            f"{told['false_limit_per_year']:g} times a year, and {told['settings']['least_m']:g} m "
            "or larger"
        )
    for event in events:
        lines += _event_lines(event)
        lines += _range_lines([r for r in told["ranges"] if r["event"] == event["event"]])
    lines += [_phase_line(phase) for phase in told["phases"]]
    lines += _levelling_lines(told)
    if told["unjudged"]:
        lines.append(f"  no volumes: {told['unjudged']}")
    elif events:
        lines.append(f"  caution: {FLOW_CAUTION}")
    return [*lines, *(f"  note: {note}" for note in told["notes"])]


def _variants(told):
    areas = told["variants_area_m2"]
    if len(areas) < 2:
        return ""
    return f" ({len(areas)} variants, {min(areas) / 1e6:.2f} to {max(areas) / 1e6:.2f} km2)"


def _ice_words(ice):
    if "unknown" in ice:
        return "ice of unknown thickness"
    return f"ice {ice['thickness_m']:.0f} +-{ice['sigma_m']:.0f} m thick ({ice['source']})"


def _station_lines(told):
    lines = []
    for one in told["roles"]:
        if one["role"] == OVER:
            share = told["shares"].get(one["station"], {})
            flows = [v for k, v in share.items() if k.startswith("flow")]
            does = f"; does {min(flows):.2f} to {max(flows):.2f} of the roof" if flows else ""
            lines.append(f"  over it: {one['station']}, {one['words']}{does}")
        elif one["role"] == CONTROL:
            lines.append(f"  control: {one['station']}, {one['words']}")
        elif one["role"] == NEITHER and one["inside_share"] > 0.0:
            lines.append(f"  left out: {one['station']}, {one['words']}")
    return lines


def span(event, name):
    """Return a time of an event with its 95 % interval in words."""
    low, middle, high = (event[f"{name}_{w}_gps"] for w in ("low", "median", "high"))
    return f"{_hour(middle)} ({_hour(low)} to {_hour(high)})"


def _hour(text):
    return text[:16].replace("T", " ")


def amount(event, key, scale=1.0, form=".2f"):
    """Return a quantity of an event with its 95 % interval in words; '' where there is none."""
    values = [event[f"{key}_{w}"] for w in ("median", "low", "high")]
    if any(v is None or v != v for v in values):
        return ""
    middle, low, high = (f"{scale * v:{form}}" for v in values)
    return f"{middle} ({low} to {high})"


def _event_lines(event):
    verb = "drained" if event["kind"] == "drain" else "filled"
    lines = [
        f"  {verb} from {span(event, 'onset')} GPS, fastest {span(event, 'peak')}, to "
        f"{span(event, 'end')}: surface {amount(event, 'change_m', form='+.2f')} m "
        f"[{event['status']}]"
    ]
    volume = amount(event, "volume_m3", 1e-6, ".1f")
    if volume:
        lines.append(
            f"    {volume} million m3; mean {amount(event, 'mean_m3_s', form='.0f')} m3/s, "
            f"greatest {amount(event, 'peak_m3_s', form='.0f')} m3/s"
        )
    elif event["volume_note"]:
        lines.append(f"    no volume: {event['volume_note']}")
    if volume and event["volume_note"]:
        lines.append(f"    note: {event['volume_note']}")
    lines.append(
        f"    probability that it is real and the lake's {event['probability_real']:.3f}; "
        f"{'; '.join(event['reasons'])}"
    )
    bounds = [f"{n}: {event[f'{n}_bound']}" for n in ("onset", "end") if event[f"{n}_bound"]]
    return [*lines, *(f"    {bound}" for bound in bounds)]


def _range_lines(ranges):
    """Return one line on what outline, ice and method change in the volume."""
    if not ranges:
        return []
    parts = [
        f"{r['what']} {1e-6 * r['volume_m3_low']:.1f} to {1e-6 * r['volume_m3_high']:.1f}"
        for r in ranges
    ]
    return [f"    volume by cause of doubt (million m3): {', '.join(parts)}"]


def _phase_line(phase):
    flow = amount(phase, "inflow_m3_s", form="+.2f")
    water = f", {flow} m3/s into the lake" if flow else ""
    line = (
        f"  {phase['kind']} {phase['begin_median_gps'][:10]} to {phase['end_median_gps'][:10]}: "
        f"{1e3 * phase['rate_m_d']:+.2f} +-{1e3 * phase['sigma_m_d']:.2f} mm/d{water}"
    )
    whole = amount(phase, "change_m", form="+.2f")
    if not whole:
        return line
    volume = amount(phase, "volume_m3", 1e-6, ".1f")
    return (
        f"{line}; too long to be an event; begins {phase['begin_low_gps'][:10]} to "
        f"{phase['begin_high_gps'][:10]}, ends {phase['end_low_gps'][:10]} to "
        f"{phase['end_high_gps'][:10]}; surface {whole} m"
        f"{f', {volume} million m3' if volume else ''}"
    )


def _levelling_lines(told):
    """Return a line on how fast the surface levels itself, as far as it is known."""
    if not told["levelling"]:
        return []
    left = ", ".join(
        f"{one['low']:.2f} to {one['high']:.2f} after {one['days']:.0f} d"
        for one in told["levelling"]
    )
    return [
        f"  levelling: of a sudden change of the surface its own weight leaves {left} (95 %: "
        "viscosity, thickness, bed); inflow and curves of water hold it. What moved before the "
        "first row levels on and is not known: it counts as nothing"
    ]
