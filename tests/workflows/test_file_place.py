"""Files without a position in the header stand where the station's history says."""

import csv
import io

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.errors import SettingsError
from stakeline.tables import ObservationHeader
from stakeline.workflows import intake, quality_picture
from stakeline.workflows.file_place import place_of_file, places_for, station_of_file

SETTINGS = (
    '[campaign]\nname = "Trial"\n[[station]]\nname = "HV01"\nraw = ["0-raw/HV01"]\n'
    '[[station]]\nname = "HV02"\nraw = ["0-raw/HV02"]\n'
)
PLACE = "latitude_deg = 79.0412\nlongitude_deg = 17.3580\nheight_m = 212.0\n"
FILE = "0-raw/HV01/a.rnx"


@pytest.fixture
def campaign(tmp_path, sky, histories):
    """Return a campaign with one file of six hours, whose header has no position, and orbits."""
    create(tmp_path)
    (tmp_path / "campaign.toml").write_text(SETTINGS, encoding="utf-8")
    history = histories.set_up(place=PLACE)
    (tmp_path / "stations" / "HV01.toml").write_text(history, encoding="utf-8")
    sky.write_receiver_file(tmp_path / FILE, sky.times(0, 21_600))
    sky.write_orbits(tmp_path / "products" / "day.sp3", -1, 3)
    return open_campaign(tmp_path)


@pytest.mark.parametrize(
    ("path", "marker", "station"),
    [
        (FILE, "HV02", "HV01"),
        ("0-raw/b.rnx", " hv02 ", "HV02"),
        ("0-raw/HV02.rnx", "", "HV02"),
        ("0-raw/b.rnx", "TEST", ""),
    ],
)
def test_a_folder_counts_before_a_marker_and_that_before_a_name(campaign, path, marker, station):
    assert station_of_file(campaign, path, marker) == station


def test_a_header_counts_before_the_history(campaign, sky):
    places = places_for(campaign, FILE, campaign.histories())
    np.testing.assert_allclose(places["HV01"], sky.site, atol=1e-6)
    own = ObservationHeader(marker_name="HV01", approximate_position_m=(1.0, 2.0, 3.0))
    place, said = place_of_file(campaign, FILE, own, places)
    assert (place.tolist(), said) == ([1.0, 2.0, 3.0], "")
    place, said = place_of_file(campaign, FILE, ObservationHeader(marker_name="HV01"), places)
    np.testing.assert_allclose(place, sky.site, atol=1e-6)
    assert "stations/HV01.toml" in said
    nobody = ObservationHeader(marker_name="TEST")
    stray = places_for(campaign, "0-raw/b.rnx", campaign.histories())
    assert np.isnan(place_of_file(campaign, "0-raw/b.rnx", nobody, stray)[0]).all()


def quality(root):
    text = (root / "3-intake" / "quality.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(io.StringIO(text)))


def test_quality_stands_on_the_history_and_is_worked_anew_where_that_moves(campaign):
    report = intake.run(campaign.root)
    assert float(quality(campaign.root)[0]["percent"]) > 90.0
    assert "the header has no position: elevations are by that of stations/HV01.toml" in report.text
    assert intake.run(campaign.root).examined == 0
    path = campaign.root / "stations" / "HV01.toml"
    path.write_text(path.read_text().replace("79.0412", "59.0412"), encoding="utf-8")
    assert intake.run(campaign.root).examined == 1


def test_a_picture_needs_a_position_in_header_or_history(campaign):
    out = quality_picture.draw_file(campaign.root, FILE)
    assert "stations/HV01.toml" in out.read_text(encoding="utf-8")
    path = campaign.root / "stations" / "HV01.toml"
    path.write_text(path.read_text().replace(PLACE, ""), encoding="utf-8")
    with pytest.raises(SettingsError, match="in its header or in its station's history"):
        quality_picture.draw_file(campaign.root, FILE)
