import numpy as np
import pyproj
import pytest

from stakeline.earth.ellipsoid import enu_from_xyz, geodetic_from_xyz
from stakeline.earth.frames import frame_name, plate_velocity, transform, transform_rows
from stakeline.errors import SettingsError
from stakeline.time import decimal_year, from_calendar

EPOCH = from_calendar(2020, 6, 25)
ESBJERG = np.array([3582104.7593, 532590.1771, 5232755.1300])
micrometre = 1e-6


@pytest.mark.parametrize(
    ("frame", "epsg"),
    [  # codes of the geocentric systems in the EPSG data base, which PROJ carries
        *(("ITRF2020", 9988), ("ITRF2008", 5332), ("ITRF2005", 4896), ("ITRF2000", 4919)),
        *(("ITRF97", 4918), ("ITRF96", 4917), ("ITRF93", 4915)),
        *(("ETRF2000", 7930), ("ETRF2014", 8401)),
    ],
)
def test_agrees_with_the_epsg_parameters(frame, epsg):
    theirs = pyproj.Transformer.from_crs(7789, epsg).transform(*ESBJERG, decimal_year(EPOCH))
    ours = transform(ESBJERG, "ITRF2014", EPOCH, frame)
    np.testing.assert_allclose(ours, theirs[:3], rtol=0, atol=10 * micrometre)


@pytest.mark.parametrize(
    ("frame", "values_mm", "rates_mm"),
    [  # ITRF centre, "Transfo-ITRF2014_ITRFs" (translations at 2010.0, and their rates)
        ("ITRF94", (7.4, -0.5, -62.8), (0.1, -0.5, -3.3)),
        ("ITRF92", (15.4, 1.5, -70.8), (0.1, -0.5, -3.3)),
        ("ITRF88", (25.4, -0.5, -154.8), (0.1, -0.5, -3.3)),
    ],
)
def test_translation_of_the_centre(frame, values_mm, rates_mm):
    moved = transform(np.zeros(3), "ITRF2014", from_calendar(2010, 1, 1), frame)
    np.testing.assert_allclose(moved * 1e3, values_mm, atol=1e-9)
    later = transform(np.zeros(3), "ITRF2014", from_calendar(2020, 1, 1), frame)
    np.testing.assert_allclose((later - moved) * 1e2, rates_mm, atol=1e-6)


def test_a_european_header_coordinate():
    # ESBC: the header of 2020-06-25 is ETRS89; an independent static solution in IGb14 agrees with
    # it to 4, -1, -16 mm (feasibility study of the project)
    header = np.array([3582105.2910, 532589.7313, 5232754.8054])
    moved = transform(ESBJERG, "IGb14", EPOCH, "ETRS89")
    latitude, longitude, _ = geodetic_from_xyz(header)
    enu = enu_from_xyz(moved - header, latitude, longitude)
    np.testing.assert_allclose(enu * 1e3, (4.0, -1.0, -16.0), atol=0.6)


def test_another_epoch_with_a_velocity():
    velocity = np.array([-0.0161, 0.0153, 0.0091])
    later = from_calendar(2025, 6, 25)
    years = float(decimal_year(later) - decimal_year(EPOCH))
    moved = transform(ESBJERG, "IGS14", EPOCH, "ITRF2014", later, velocity)
    np.testing.assert_allclose(moved, ESBJERG + velocity * years, atol=1e-9)


def test_igs_names_stand_for_their_itrf():
    assert frame_name("IGb14") == "ITRF2014"
    assert frame_name("igs20") == "ITRF2020"
    assert frame_name("ITRF 2008") == "ITRF2008"


def test_unknown_frame_names_the_known_ones():
    with pytest.raises(SettingsError, match=r"'NAD83' is not known; known are .*ITRF2014"):
        transform(ESBJERG, "NAD83", EPOCH, "ITRF2014")


@pytest.mark.parametrize(
    ("frame", "plate", "proj"),
    [  # PROJ carries the published plate models
        ("ITRF2014", "Eurasia", "EURA"),
        ("ITRF2014", "Antarctica", "ANTA"),
        ("ITRF2020", "North America", "NOAM"),
        ("ITRF2020", "Pacific", "PCFC"),
    ],
)
def test_plates_agree_with_proj(frame, plate, proj):
    step = pyproj.Transformer.from_pipeline(f"+init={frame}:{proj} +t_epoch=2010.0")
    x, y, z, _ = step.transform(*ESBJERG, 2011.0)
    velocity = plate_velocity(ESBJERG, plate, frame)
    np.testing.assert_allclose(velocity, np.array([x, y, z]) - ESBJERG, atol=2e-9)


def test_eurasia_moves_north_east():
    # EUREF permanent stations in Denmark move about 15 mm/a north and 18 mm/a east: from memory
    latitude, longitude, _ = geodetic_from_xyz(ESBJERG)
    east, north, up = enu_from_xyz(plate_velocity(ESBJERG, "Eurasia"), latitude, longitude) * 1e3
    assert 16.0 < east < 20.0
    assert 13.0 < north < 17.0
    assert abs(up) < 1e-1  # a sphere's rotation has a little up on the ellipsoid


def test_unknown_plate_and_frame():
    with pytest.raises(SettingsError, match=r"plate 'Atlantis' .* Antarctica"):
        plate_velocity(ESBJERG, "Atlantis")
    with pytest.raises(SettingsError, match="transform first"):
        plate_velocity(ESBJERG, "Eurasia", "ITRF2008")


def test_rows_are_moved_each_at_its_own_time_and_back():
    time_ns = EPOCH + np.arange(5) * 300 * 86_400 * 10**9
    rows = np.tile(ESBJERG, (5, 1)) + np.arange(5)[:, None]
    moved = transform_rows(rows, "IGb14", time_ns, "ETRF2000")
    one_by_one = [
        transform(row, "IGb14", int(t), "ETRF2000") for row, t in zip(rows, time_ns, strict=True)
    ]
    # a leap year's day is shorter than a common one's, as a decimal year: 3e-3 a of 25 mm/a
    np.testing.assert_allclose(moved, one_by_one, rtol=0, atol=1e-4)
    back = transform_rows(moved, "ETRF2000", time_ns, "IGb14")
    np.testing.assert_allclose(back, rows, rtol=0, atol=1e-8)
    assert len(transform_rows(np.zeros((0, 3)), "IGb14", time_ns[:0], "IGS20")) == 0
