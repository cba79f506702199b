"""Figures of decisions: what they show is what they were given; no file differs by chance."""

import numpy as np

from stakeline.report.decide_figures import (
    AlignedRow,
    ChanceResult,
    Effect,
    PowerCurve,
    draw_aligned,
    draw_chance,
    draw_choices,
    draw_effects,
    draw_power,
)
from stakeline.report.style import svg_bytes

SINCE = np.arange(-5.0, 10.5)


def row(label, size=5.0, **more):
    each = np.stack([size * (SINCE > 0.0), 0.8 * size * (SINCE > 0.0)])
    each[0, 3] = np.nan
    return AlignedRow(label, SINCE, each, 0.9 * size * (SINCE > 0.0), size * (SINCE > 0.0), **more)


def effects(*values):
    return [
        Effect(f"choice {k}", (v, v - 1.0, v + 1.0), strong=not k) for k, v in enumerate(values)
    ]


def test_stations_stand_in_order_with_one_reach():
    rows = [row("HV05, 6.5 km"), row("HV06, 15.1 km"), row("HV01", 0.1, placebo=True)]
    figure = draw_aligned(rows, "As Upper drains", ("2031-06-01", "2031-08-01"), 8.0)
    titles = [panel.get_title(loc="left") for panel in figure.axes]
    assert titles == ["HV05, 6.5 km", "HV06, 15.1 km", "HV01"]
    assert len({panel.get_ylim() for panel in figure.axes}) == 1
    assert figure.axes[0].get_ylim()[1] > 5.0
    assert svg_bytes(figure).startswith(b"<?xml")


def test_lags_are_drawn_only_where_there_are_any():
    lines = [*effects(5.0), Effect("HV05", (4.0, 3.0, 5.0), (0.5, 0.0, 1.0))]
    change, lag = draw_effects(lines, "Changes").axes
    assert [t.get_text() for t in change.get_yticklabels()] == ["choice 0", "HV05"]
    assert len(change.get_lines()) - len(lag.get_lines()) == 2
    ends = change.get_lines()[0].get_xdata()
    assert list(ends) == [4.0, 6.0]


def test_chance_shows_shares_and_what_was_observed():
    null = np.array([0.5, 0.6, 1.2, 2.0])
    (panel,) = draw_chance([ChanceResult("Upper", null, 4.0, 0.01, 0.002)], "Chance").axes
    values = panel.patches[0].get_data().values
    assert values.sum() == 100.0
    assert panel.get_lines()[0].get_xdata()[0] == 4.0


def test_power_marks_the_change_that_is_seen():
    change = np.linspace(0.0, 2.0, 9)
    curve = PowerCurve("Upper", change, change / 2.0, change / 2.0, 1.6, 5.0)
    (panel,) = draw_power([curve], "Power").axes
    assert any(t.get_text() == "1.6 %" for t in panel.texts)
    nothing = PowerCurve("Upper", change, change / 2.0, change / 2.0, np.nan, 5.0)
    assert not draw_power([nothing], "Power").axes[0].texts


def test_choices_keep_their_places_where_one_is_missing():
    whole, short = effects(5.0, 4.0, 3.0), effects(5.0, 4.0, 3.0)[::2]
    figure = draw_choices([("all", whole), ("Upper", short)], "Choices")
    places = [line.get_ydata()[0] for line in figure.axes[1].get_lines()[:4:2]]
    assert places == [0, 2]
    again = draw_choices([("all", whole), ("Upper", short)], "Choices")
    assert svg_bytes(figure) == svg_bytes(again)


def test_a_choice_of_one_lake_alone_has_a_row_in_all_panels():
    more = [*effects(1.0, 2.0), Effect("fortnight taken off", (1.0, 0.0, 2.0), strong=False)]
    figure = draw_choices([("all", effects(1.0, 2.0)), ("Lower", more)], "Choices")
    labels = [label.get_text() for label in figure.axes[0].get_yticklabels()]
    assert labels == ["choice 0", "choice 1", "fortnight taken off"]
    places = [line.get_ydata()[0] for line in figure.axes[1].get_lines()[:6:2]]
    assert places == [0, 1, 2]
