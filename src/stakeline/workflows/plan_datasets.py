"""Margins of planned stations as xarray objects."""

import json
from pathlib import Path

import numpy as np

from ..campaign.folders import PLAN
from .plan_description import describe_station
from .plan_station import plan_station
from .plan_tables import margin_columns
from .plan_words import verdict
from .result_datasets import columns_dataset, table_dataset


def campaign_margins(campaign):
    """Return the margins of a campaign's stations, as the verb plan has written them."""
    margins, verdicts = {}, []
    for path in sorted(campaign.folder(PLAN).glob("*/plan.json")):
        told = json.loads(path.read_text(encoding="utf-8"))
        verdicts.append(f"{told['station']}: {told['verdict']}")
        rows = table_dataset(path.with_name("margins.csv"))
        margins[told["station"]] = {str(name): rows[name].values for name in rows}
    return _together(margins, verdicts)


def file_margins(paths):
    """Return the margins of the stations of station files; nothing is written.

    Raises
    ------
    SettingsError
        For a file that is not there or says something impossible.
    """
    plans = [plan_station(describe_station(Path(path))) for path in paths]
    verdicts = [f"{one.name}: {verdict(one)[1]}" for one in plans]
    return _together({one.name: margin_columns(one) for one in plans}, verdicts)


def _together(margins, verdicts):
    """Return the columns of stations one below the other, as one Dataset."""
    names = next(iter(margins.values()), ())
    columns = {
        name: np.concatenate([np.asarray(part[name]) for part in margins.values()])
        for name in names
    }
    if margins:
        counts = [len(part["name"]) for part in margins.values()]
        columns = {"station": np.repeat(list(margins), counts)} | columns
    return columns_dataset(columns, "margin", {"verdict": "\n".join(verdicts)})
