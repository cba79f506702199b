"""What may happen on Halvard Glacier: the scenarios, by name."""

from dataclasses import dataclass

from ..errors import SettingsError


@dataclass(frozen=True)
class Scenario:
    """One course of things.

    Attributes
    ----------
    drains : bool
        Whether the lakes fill and drain; where not, they stay as they are.
    response : float
        Greatest change of the flow as a flood passes, as a share of the speed, where the ice
        answers most; negative where water finds efficient channels, 0 for none.
    melt_at_drainage : bool
        Whether warm air that has nothing to do with the lakes melts the ice and speeds it up
        shortly before each drainage.
    wrecked : bool
        Whether everything goes wrong that can.
    words : str
        For people.
    """

    name: str
    drains: bool
    response: float
    melt_at_drainage: bool
    wrecked: bool
    words: str


SCENARIOS = {
    s.name: s
    for s in (
        Scenario("flood-fast", True, 0.08, False, False, "floods, and the ice speeds up"),
        Scenario("flood-slow", True, -0.06, False, False, "floods, and the ice slows down"),
        Scenario("no-response", True, 0.0, False, False, "floods, and the ice does not answer"),
        Scenario(
            "melt-confounded", True, 0.0, True, False, "melt speeds the ice up as lakes drain"
        ),
        Scenario("quiet", False, 0.0, False, False, "the lakes stay as they are"),
        Scenario("wrecked", True, 0.08, False, True, "floods, and all that can go wrong does"),
    )
}


def scenario_of(name):
    """Return the :class:`Scenario` of a name; SettingsError lists those there are."""
    if name not in SCENARIOS:
        raise SettingsError(f"no scenario '{name}'; there are {', '.join(SCENARIOS)}")
    return SCENARIOS[name]
