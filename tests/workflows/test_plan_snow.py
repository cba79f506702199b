"""Snow and melt of a described station: drift by part, season, anchors, dates and chances."""

import csv
import datetime
import io
from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import DAYS_PER_YEAR
from stakeline.errors import SettingsError
from stakeline.workflows.plan_snow import heights_of, melt_of, snow_of, snow_table
from stakeline.workflows.plan_storm import storm_of

from .plan_examples import described, station_text

QUIET = {"rate_sigma_m_a": 0.0, "year_sigma_m_a": 0.0}
MELT = "melt_m_a = 1.0\nmelt_sigma_m_a = 0.0\n"


def snow(tmp_path, more="", anchors=None, **changed):
    """Return (description, outcome) of the example with more lines under [snow]."""
    text = station_text(**(QUIET | changed)).replace("[snow]\n", f"[snow]\n{more}")
    if more.startswith(MELT):
        text = text.replace('surface = "snow"', 'surface = "ice"')
    if anchors is not None:
        head, _, rest = text.partition("[anchors]\n")
        text = f"{head}[anchors]\n{anchors}\n{rest[rest.index('[') :]}"
    found = described(tmp_path, text=text)
    found = replace(found, snow=replace(found.snow, storm_share=0.0))
    return found, snow_of(found, storm_of(found))


def named(rows):
    return {one.name: one for one in rows}


def line(outcome, name):
    return next(one for one in outcome.lines if one.name.startswith(name))


def test_drift_counts_around_its_part_alone(tmp_path):
    description, found = snow(tmp_path, 'drift_at = {"panel east" = 0.5, antenna = 0.0}\n')
    heights, parts = heights_of(description), named(found.passages)
    assert parts["panel east"].median_a == pytest.approx(heights["panel east"] / 1.1, rel=0.01)
    assert parts["antenna"].median_a == pytest.approx(heights["antenna"] / 0.6, rel=0.01)
    assert hash(description.settings.snow) == hash(description.settings.snow.model_copy())
    assert parts["panel west"].median_a == pytest.approx(heights["panel west"] / 0.7, rel=0.01)


def test_drift_around_what_is_not_there_is_told_with_the_parts(tmp_path):
    with pytest.raises(SettingsError, match=r"HV01.toml: snow.drift_at: .*around mast.*antenna"):
        snow(tmp_path, "drift_at = {mast = 0.5}\n")


def test_melt_keeps_to_its_season(tmp_path):
    season = 'melt_season = ["06-01", "08-31"]\n'
    description, found = snow(tmp_path, MELT + season, anchors='kind = "ice screw"')
    built = description.settings.aim.built
    begin, end = (built + datetime.timedelta(days=a * DAYS_PER_YEAR)
                  for a in melt_of(description).season)  # fmt: skip
    assert (begin.month, begin.day) in ((6, 1), (5, 31))
    assert abs((end - begin).days - 92) <= 1
    mast = named(found.melting)["mast"]  # 1.5 m at 1 m a season: in the midst of the second
    middle = datetime.date(built.year + 1, 7, 16)
    assert abs((datetime.date.fromisoformat(found.day(mast.median_a)) - middle).days) <= 3
    with pytest.raises(SettingsError, match="expected month and day, such as 06-01"):
        snow(tmp_path, MELT + 'melt_season = ["06-31", "08-31"]\n')


def test_deeper_anchors_hold_longer_by_what_melts_in_a_year(tmp_path):
    times = []
    for depth in (1.5, 2.0):
        plate = f'kind = "buried plate"\narea_m2 = 0.04\nwidth_m = 0.2\ndepth_m = {depth}'
        found = snow(tmp_path, MELT, anchors=plate)[1]
        times.append(named(found.melting)["guy anchors"].median_a)
    assert np.diff(times) == pytest.approx(0.5, abs=0.01)


def test_an_anchor_too_short_today_is_said_and_bad(tmp_path):
    leg = 'kind = "drilled leg"\nlength_m = 0.1\ndiameter_m = 0.02'
    found = snow(tmp_path, MELT, anchors=leg)[1]
    short = named(found.melting)["guy anchors"]
    assert short.distance_m < 0.0
    assert short.chance_by(0.0) == 1.0
    told = line(found, "guy anchors still held")
    assert (told.state, told.value) == ("bad", 0.0)
    assert "too short on the day of building" in told.words
    assert any("guy anchors: loose on the day of building" in one for one in found.sentences)


def test_a_bolt_in_rock_does_not_melt_out(tmp_path):
    found = snow(tmp_path, MELT, anchors='kind = "rock bolt"')[1]
    assert "guy anchors" not in named(found.melting)


def test_table_and_sentences_have_days_and_chances(tmp_path):
    description, found = snow(tmp_path, rate_sigma_m_a=0.15, year_sigma_m_a=0.2)
    rows = list(csv.DictReader(io.StringIO(snow_table(found).decode())))
    built = description.settings.aim.built
    assert [row["part"] for row in rows] == [one.name for one in found.passages]
    for row, one in zip(rows, found.passages, strict=True):
        late = datetime.timedelta(days=float(row["median_a"]) * DAYS_PER_YEAR)
        assert abs((built + late - datetime.date.fromisoformat(row["median_day"])).days) <= 1
        assert float(row["chance_by_visit"]) == pytest.approx(
            np.mean(one.times_a <= found.visit_a), abs=1e-4
        )
        assert row["early_day"] <= row["median_day"]
    assert f"buried {rows[0]['median_day']}" in found.sentences[0]
    nowhere = replace(found, built=None)
    assert nowhere.day(1.0) == ""
    assert f"buried {found.passages[0].median_a:.1f} a" in nowhere.sentences[0]
