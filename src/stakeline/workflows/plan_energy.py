"""The energy of a described station as a plan needs it: the study, and its coldest month."""

from dataclasses import dataclass

import numpy as np

from ..station.offered import shadow_losses
from ..station.supply import Supply
from .plan_survival import Study, study_energy

MONTH_H = 730  # h; of the coldest month looked for
COLDEST_SHARE = 0.05  # -; of the years whose battery was colder


@dataclass(frozen=True)
class EnergyOutcome:
    """A study of the energy, and what rules and page take from it.

    Attributes
    ----------
    study : Study
    cut_charge : float
        At which loads are cut off in the coldest month.
    coldest_degC : float
        Battery, of all but 5 % of the years.
    winter_degC, winter_m_s : float
        Means of the coldest month.
    shadow_losses : dict of str to float
        Share of a year's light that the station's own shadows take, by group of panels.
    """

    study: Study
    cut_charge: float
    coldest_degC: float
    winter_degC: float
    winter_m_s: float
    shadow_losses: dict

    @property
    def survival(self):
        """How it fares as described."""
        return self.study.survival

    @property
    def around(self):
        """Weather, Sun and snow of the years."""
        return self.study.around

    @property
    def sizing(self):
        """Its parts in other numbers."""
        return self.study.sizing

    @property
    def source(self):
        """Where the weather is from, in words."""
        return "; ".join(self.study.weather_notes)

    @property
    def first(self):
        """What to add first, in words; empty where nothing helps."""
        best = self.study.helps[0] if self.study.helps else None
        if best is None or max(best.gain, best.hours_gain, best.charge_gain) <= 0.0:
            return ""
        mass = f", {best.mass_kg:.0f} kg" if best.mass_kg else ""
        if best.gain > 0.0:
            then = f"{100.0 * best.chance:.0f} % live then"
        elif best.hours_gain > 0.0:
            then = f"{best.hours_gain / 24.0:.1f} days less lost in a year"
        else:
            then = f"lowest charge {100.0 * best.lowest_charge:.0f} %"
        return f"{best.words}{mass} ({then})"

    @property
    def weakest(self):
        """What it hangs on most, in words; empty where nothing harms."""
        worst = self.study.hangs_on[0] if self.study.hangs_on else None
        if worst is None or (worst.gain >= 0.0 and worst.charge_gain >= 0.0):
            return ""
        return f"{worst.words} ({100.0 * worst.chance:.0f} % live then)"


def energy_of(description, progress=None):
    """Return the :class:`EnergyOutcome` of a described station.

    Parameters
    ----------
    description : StationDescription
    progress : callable, optional
        Called with a sentence before each part.
    """
    study = study_energy(description, progress=progress)
    weather = study.around.weather
    season = weather.temperature_degC.mean(axis=0)
    means = np.convolve(season, np.full(MONTH_H, 1.0 / MONTH_H), "valid")
    cold = slice(int(means.argmin()), int(means.argmin()) + MONTH_H)
    winter = float(season[cold].mean())
    load = max(description.design.mean_W, 1e-3)
    boxes = study.survival.outcome.days[:, 2].min(axis=1)
    return EnergyOutcome(
        study,
        Supply(description.design.bank, winter).charge_at_cut(load),
        float(np.quantile(boxes, COLDEST_SHARE)),
        winter,
        float(weather.wind_m_s[:, cold].mean()),
        shadow_losses(description.design, study.around.sun, float(weather.cloud.mean())),
    )
