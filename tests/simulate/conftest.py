import numpy as np
import pytest

from stakeline.simulate.atmosphere import make_air, make_ionosphere
from stakeline.simulate.ground import Place
from stakeline.simulate.motion import Motion
from stakeline.simulate.observe import Station, make_world, observe
from stakeline.simulate.receiver import Receiver
from stakeline.time import from_calendar

START_NS = from_calendar(2031, 7, 12)
HOURS = 3.0
QUIET = Receiver(
    phase_noise_m=0.0,
    code_noise_m=0.0,
    reflection=0.0,
    slow_code_m=0.0,
    slow_phase_m=0.0,
    slips_a_day=0.0,
    dropout_share=0.0,
)


@pytest.fixture(scope="session")
def place():
    return Place(np.radians(79.1), np.radians(-22.0), 420.0)


def world_of(seed=1, hours=HOURS):
    return make_world(np.random.default_rng(seed), START_NS, 3600.0 * hours)


@pytest.fixture(scope="session")
def world():
    return world_of()


@pytest.fixture(scope="session")
def make_station(place, world):
    def make(receiver=QUIET, **motion):
        by_air, by_ionosphere = np.random.default_rng(5).spawn(2)
        air = make_air(by_air, place, world.duration_s)
        moving = Motion(place, **motion)
        return Station("HV01", moving, 1.5, air, make_ionosphere(by_ionosphere), receiver)

    return make


@pytest.fixture(scope="session")
def quiet(world, make_station):
    """Observations and truth of a receiver without noise."""
    return observe(np.random.default_rng(3), world, make_station(), 60.0)


@pytest.fixture(scope="session")
def noisy(world, make_station):
    """Observations and truth of the usual receiver, with many slips."""
    station = make_station(Receiver(slips_a_day=400.0, gaps_s=((5000.0, 6000.0),)))
    return observe(np.random.default_rng(3), world, station)
