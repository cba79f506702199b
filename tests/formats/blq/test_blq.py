"""BLQ: an invented site, damage, and the real files."""

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.blq import parse_blq, read_blq

HEADER = "$$ COLUMN ORDER:  M2  S2  N2  K2  K1  O1  P1  Q1  MF  MM SSA\n$$ END HEADER\n"
ROWS = [
    *("".join(f"  .{100 * row + column:05d}" for column in range(11)) for row in range(1, 4)),
    *("".join(f"{10.0 * row + column:8.1f}" for column in range(11)) for row in range(4, 7)),
]
SITE = "  HV01\n$$ HV01,   RADI TANG  lon/lat:  -21.5000   79.2500   60.000\n"


def parse(text):
    return parse_blq(text.encode(), "halvard.blq")


def test_rows_are_radial_west_south_amplitudes_then_phases():
    site = parse(HEADER + SITE + "\n".join(ROWS))["HV01"]
    # Row order as every header of the loading service states it: radial, EW, NS; m and degrees.
    assert site.amplitude_m.shape == site.phase_deg.shape == (3, 11)
    np.testing.assert_allclose(site.amplitude_m[:, 0], [0.001, 0.002, 0.003], rtol=1e-14)
    np.testing.assert_allclose(site.phase_deg[:, 10], [50.0, 60.0, 70.0], rtol=1e-14)
    assert (site.longitude_deg, site.latitude_deg) == (-21.5, 79.25)


def test_a_site_without_a_place_has_nan():
    site = parse("  HV01\n" + "\n".join(ROWS))["HV01"]
    assert np.isnan(site.longitude_deg)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "no site"),
        (HEADER + SITE + "\n".join(ROWS[:4]), r"halvard\.blq:3: found 4 rows after site 'HV01'"),
        (HEADER + SITE + "\n".join(ROWS).replace(".00203", ".0020x"), r"halvard\.blq:6: found"),
        (HEADER + SITE + "\n".join(ROWS).replace("    50.0", "   850.0"), "phases in degrees"),
        (HEADER + SITE + "\n".join([*ROWS[3:], *ROWS[:3]]), "amplitudes of 0 to 10 m"),
        (HEADER.replace("M2  S2", "S2  M2") + SITE, "columns S2"),
    ],
)
def test_damage_is_refused_as_an_error_of_order_would_stay_unseen(text, match):
    with pytest.raises(FormatError, match=match):
        parse(text)


@pytest.mark.real
def test_real_files(reference_data):
    folder = reference_data / "gnss" / "auxiliary" / "blq"
    # REFERENCE_VALUES.md, section 2, and sed of the file: first rows of Onsala are
    # .00352 .00123 ..., phases -64.7 -52.0 ...
    onsala = read_blq(folder / "hardisp.blq")["ONSALA"]
    assert onsala.amplitude_m[0, 0] == 0.00352
    assert onsala.amplitude_m[2, 0] == 0.00086  # third row: .00086 .00023
    assert onsala.phase_deg[1, 10] == -177.7
    assert (onsala.longitude_deg, onsala.latitude_deg) == (11.9264, 57.3958)
    assert len(read_blq(folder / "complete-format.blq")) == 4  # grep -c lon/lat
    for name, line in (("corrupted.blq", 11), ("truncated.blq", 4)):
        with pytest.raises(FormatError, match=f"{name}:{line}: "):
            read_blq(folder / name)
    stations = read_blq(reference_data / "gnss" / "world_2016_044" / "gnss.blq")
    assert stations["SHLD/C1"].amplitude_m[0, 4] == 0.00949
