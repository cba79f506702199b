"""What pages ask of a campaign before anything else."""

from ..campaign.folders import PLANS, STATIONS, open_campaign


def opened_name(root):
    """Return a campaign's name; SettingsError where there is none."""
    return open_campaign(root).settings.campaign.name


def station_names(root):
    """Return [(station, has a plan, has a history)] of a campaign, sorted."""
    campaign = open_campaign(root)
    plans = {path.stem for path in (campaign.root / PLANS).glob("*.toml")}
    histories = {path.stem for path in (campaign.root / STATIONS).glob("*.toml")}
    return [(name, name in plans, name in histories) for name in sorted(plans | histories)]
