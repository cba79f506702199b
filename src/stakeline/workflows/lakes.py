"""The verb lakes: when each lake filled and drained, part by part, only what is out of date."""

from dataclasses import dataclass

from ..campaign.folders import LAKES, LEDGER, open_or_find
from ..campaign.ledger import Ledger
from ..campaign.store import clean_leftovers, only_one
from .lakes_altimetry_part import altimetry_part
from .lakes_events import events_part
from .lakes_figures import figures_part
from .lakes_parts import LakesRun
from .lakes_passings import passings_part
from .lakes_placement import controls_part, placement_part
from .lakes_routes import routes_part
from .lakes_together import together_part
from .position import Outcome


@dataclass(frozen=True)
class Part:
    """One part of the verb: ``function(LakesRun)`` returns an :class:`Outcome`.

    A part finds its input in the campaign and in what earlier parts have written, keeps its own
    records in the ledger (:func:`~.lakes_parts.settle`) and writes its own files. An input that is
    missing is a sentence in ``skipped``.
    """

    name: str
    function: object


PARTS = (
    Part("events", events_part),
    Part("figures", figures_part),
    Part("placement", placement_part),
    Part("altimetry", altimetry_part),
    Part("together", together_part),
    Part("routes", routes_part),
    Part("passings", passings_part),
    Part("controls", controls_part),
)
"""The parts in their order; one that is added here joins the verb.

Placement comes twice: tracks and routes are asked at the best places, and controls stand off the
routes.
"""


def run(campaign=None, *, lakes=(), workers=1, progress=None):
    """Work out what is out of date of a campaign's lakes.

    Parameters
    ----------
    campaign : path, optional
        Its folder; None: the campaign around the folder we stand in.
    lakes : sequence of str
        Only these; all where none is named.
    workers : int
    progress : callable, optional
        Called as ``progress(done, total, text)``.

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        Where there is no campaign, a lake is not known, or another run holds it.
    """
    campaign = open_or_find(campaign, "give a campaign (stakeline lakes --campaign FOLDER)")
    with only_one(campaign.folder(LEDGER) / "lock"):
        clean_leftovers(campaign.folder(LAKES))
        doing = LakesRun(campaign, Ledger(campaign.root, LEDGER), tuple(lakes), workers, progress)
        return _together([part.function(doing) for part in PARTS])


def _together(outcomes):
    """Return the outcomes of parts as one."""
    joined = {
        name: tuple(dict.fromkeys(x for outcome in outcomes for x in getattr(outcome, name)))
        for name in ("problems", "done", "up_to_date", "skipped", "notes")
    }
    return Outcome("".join(outcome.text for outcome in outcomes), **joined)
