"""The verb decide: does the ice change speed when a lake drains? Only what is out of date."""

from ..campaign.folders import DECIDE, LEDGER, open_or_find
from ..campaign.store import clean_leftovers, only_one, write_text
from ..errors import SettingsError
from .decide_plan import PLAN, plan_text, planned
from .decide_record import questions
from .motion_results import station_results
from .position import Outcome

VERDICT = "verdict.json"
OTHERWISE = "give a campaign (stakeline decide --campaign FOLDER)"
NO_MOTION = "no motion; run 'stakeline motion' first"


def run(campaign=None, *, workers=1, progress=None):
    """Decide on a campaign's drainages and speeds where that is out of date.

    Parameters
    ----------
    campaign : path, optional
        Its folder; None: the campaign around the folder we stand in.
    workers : int
    progress : callable, optional
        Called as ``progress(done, total, text)``.

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        Where there is no campaign, its settings name what is not there, or another run holds it.
    """
    campaign = open_or_find(campaign, OTHERWISE)
    with only_one(campaign.folder(LEDGER) / "lock"):
        clean_leftovers(campaign.folder(DECIDE))
        results = station_results(campaign)
        if not results:
            return Outcome("", skipped=(NO_MOTION,))
        found, _ = questions(campaign, results)
        return Outcome("".join(f"{question.lake}\n" for question in found))


def freeze(campaign=None, *, day):
    """Write ``7-decide/plan.toml`` from the settings; return the Outcome.

    Parameters
    ----------
    campaign : path, optional
    day : datetime.date
        The day that the plan carries.

    Raises
    ------
    SettingsError
        Where a plan stands there already: it is frozen.
    """
    campaign = open_or_find(campaign, OTHERWISE)
    with only_one(campaign.folder(LEDGER) / "lock"):
        path = campaign.folder(DECIDE) / PLAN
        if path.exists():
            raise SettingsError(
                f"{path}: a plan is frozen already; delete it by hand to give it up"
            )
        seen = (campaign.folder(DECIDE) / VERDICT).exists()
        plan = planned(campaign.settings.decide, stations_of(campaign))
        write_text(path, plan_text(plan, day, seen))
    late = "; results stood there already, and the plan says so" if seen else ""
    return Outcome(f"plan frozen: {DECIDE}/{PLAN}{late}\n")


def stations_of(campaign):
    """Return {lake: stations that may respond}; empty where there are no results yet."""
    results = station_results(campaign)
    found = questions(campaign, results)[0] if results else ()
    return {q.lake: [s.station for s in q.responding] for q in found}
