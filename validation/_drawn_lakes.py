"""Truths of invented lakes, drawn from what the verb ``lakes`` takes to be known beforehand.

Intervals of 95 % hold 95 of 100 truths where these are drawn from the priors, and others more or
less often (Cook, Gelman and Rubin 2006, J. Comput. Graph. Stat. 15, 675). Drawn here are exponents
of floods, memory of the ice, hold of the bed, and by how much the ice over each station does more
or less than its model; maps and Young's modulus are drawn where they are told.
"""

import functools
from contextlib import contextmanager
from dataclasses import replace
from unittest.mock import patch

import numpy as np

from stakeline.lakes.fit import FORM, FORM_LOG_SIGMA, MEMORY_D, MEMORY_LOG_SIGMA, USUAL_FORM
from stakeline.lakes.volume import IceSpread
from stakeline.simulate import bridging
from stakeline.simulate.campaign import DAY_S

MAPS = bridging._maps.__wrapped__


def exponent(rng):
    """Return an exponent of a ramp, from the prior and within its bounds."""
    draws = iter(lambda: USUAL_FORM * np.exp(FORM_LOG_SIGMA * rng.standard_normal()), None)
    return next(v for v in draws if FORM[0] < v < FORM[1])


def memory_d(rng):
    """Return a memory of the ice, from the prior. [d]"""
    return MEMORY_D * np.exp(MEMORY_LOG_SIGMA * rng.standard_normal())


def slides(wave_rad_m, thickness_m):
    """Return what flowing ice on a bed without drag passes on: as ``bridging``, no stress below.

    (q C + S) / (S C + q), of the kind in Gudmundsson (2003), J. Geophys. Res. 108(B5), 2253.
    """
    q = np.maximum(np.minimum(np.asarray(wave_rad_m, float) * thickness_m, 300.0), 1e-9)
    cosine, sine = np.cosh(q), np.sinh(q)
    return (q * cosine + sine) / (sine * cosine + q)


@functools.cache
def _maps(lake, thickness_m, passes):
    with patch.object(bridging, "flow_passes", passes):
        return MAPS(lake, thickness_m)


class DrawnTruth:
    """What is drawn for one campaign; its world's floods are changed before anything is made.

    ``memory_s``: of the ice; ``share``: {station: over 1, what the ice there does of its model}.
    """

    def __init__(self, world, names, rng):
        events = [replace(e, rise=exponent(rng) - 1.0, fall=exponent(rng) - 1.0)
                  for e in world.water.events]  # fmt: skip
        world.water = replace(world.water, events=tuple(events))
        self.memory_s = memory_d(rng) * DAY_S
        beds = bridging.flow_passes, slides
        self.beds = {lake.name: beds[int(rng.integers(2))] for lake in world.glacier.lakes}
        self.share = {n: 1.0 + IceSpread().share_sigma * rng.standard_normal() for n in names}

    @contextmanager
    def ice(self):
        """Let the ice of the invented world answer as drawn."""

        def maps(lake, thickness_m):
            return _maps(lake, thickness_m, self.beds[lake.name])

        with (
            patch.object(bridging, "_maps", maps),
            patch.object(bridging, "RELAXATION_S", self.memory_s),
        ):
            yield
