"""Figure: how each estimator of velocity answers to a sudden change and to a sudden slip."""

from dataclasses import dataclass

import numpy as np

from .style import DEEP, INK, WARM, new_figure, styled

_LOOKS = (
    {"color": DEEP, "linewidth": 1.8},
    {"color": WARM, "linewidth": 2.2},
    {"color": INK, "linewidth": 1.0, "linestyle": (0, (5, 2))},
    {"color": "#5f9fc4", "linewidth": 1.4, "linestyle": (0, (1, 1.5))},
)


@dataclass(frozen=True)
class EstimatorResponse:
    """One estimator: ``step`` [-] and ``impulse`` [1/d] at ``offset_d`` (n,) from the cause.

    ``width_d``: effective resolution; ``lag_d``: when half the step is reached; ``lead_d``: how
    long before the cause the estimate begins to move.
    """

    name: str
    offset_d: np.ndarray
    step: np.ndarray
    impulse: np.ndarray
    width_d: float
    lag_d: float
    lead_d: float


@styled
def draw_responses(responses, title, note=""):
    """Return step and impulse responses of :class:`EstimatorResponse` estimators, and a legend.

    Each curve is drawn over three widths about the cause; the dot is where half the step is
    reached.
    """
    figure = new_figure(9.0, 4.6, title)
    panels = figure.subplots(1, 2)
    reach = 3.0 * max((r.width_d for r in responses if np.isfinite(r.width_d)), default=1.0)
    for response, looks in zip(responses, _LOOKS * len(responses), strict=False):
        inside = np.abs(response.offset_d) <= reach
        offset = response.offset_d[inside]
        panels[0].plot(offset, response.step[inside], label=_text(response), **looks)
        panels[1].plot(offset, response.impulse[inside], **looks)
        panels[0].plot(response.lag_d, 0.5, marker="o", markersize=5, color=looks["color"],
                       markeredgecolor="white", zorder=5)  # fmt: skip
    for panel, name in zip(panels, ("step of the speed", "slip of 1 m"), strict=True):
        panel.axvline(0.0, color=INK, linewidth=0.7, linestyle=(0, (1, 2)))
        panel.set_xlim(-reach, reach)
        panel.set_xlabel("days after the cause")
        panel.set_title(f"answer to a {name}", loc="left", fontsize=9)
    panels[0].axhline(1.0, color=INK, linewidth=0.5)
    panels[0].set_ylabel("share of the step (-)")
    panels[1].set_ylabel("speed ((m/d) per m)")
    figure.legend(
        loc="outside lower left", frameon=False, fontsize=8, handlelength=3.0,
        title=note or None, title_fontsize=8, alignment="left",
    )  # fmt: skip
    return figure


def _text(response):
    return (
        f"{response.name}: lag {response.lag_d:.2f} d, resolution {response.width_d:.2f} d, "
        f"begins {response.lead_d:.2f} d before the cause"
    )
