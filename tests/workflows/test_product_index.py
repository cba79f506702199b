"""Which products are chosen for an arc: one centre, by cover of the day."""

import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.workflows.product_index import ProductEntry, centre_of, choose


@pytest.mark.parametrize("covered", [0, 1])
def test_broadcast_is_used_where_precise_orbits_miss_the_day(covered, sky):
    day = NS_PER_DAY
    index = [
        ProductEntry("b.sp3", "2", "sp3", "BBB", sky.day, sky.day + day // (3 - 2 * covered)),
        ProductEntry("n.rnx", "3", "navigation", "", sky.day, sky.day + day),
    ]
    # the arc reaches 6 h to either side; orbits of a third of the day do not count as the day's
    chosen = choose(index, sky.day - day // 4, sky.day + day * 5 // 4, (sky.day, sky.day + day))
    assert [entry.path for entry in chosen["orbits"]] == (["b.sp3"] if covered else [])
    assert [entry.path for entry in chosen["navigation"]] == ["n.rnx"]


def test_orbits_and_clocks_are_of_one_centre(sky):
    span = (sky.day, sky.day + NS_PER_DAY)
    index = [
        ProductEntry("a.sp3", "1", "sp3", "AAA", *span),
        ProductEntry("b.sp3", "2", "sp3", "BBB", *span),
        ProductEntry("b.clk", "3", "clocks", "BBB", *span),
        ProductEntry("old.sp3", "4", "sp3", "BBB", span[0] - 9 * NS_PER_DAY, span[0] - NS_PER_DAY),
        ProductEntry("all.atx", "5", "antex"),
    ]
    chosen = choose(index, *span)
    assert [e.path for e in (*chosen["orbits"], *chosen["clocks"])] == ["b.sp3", "b.clk"]
    assert [e.path for e in chosen["antennas"]] == ["all.atx"]


@pytest.mark.parametrize(
    ("name", "agency", "centre"),
    [
        # names as of the IGS guidelines for long product file names, and the older short form
        ("products/GRG0MGXFIN_20201770000_01D_15M_ORB.SP3.gz", "GRGS", "GRG0MGXFIN"),
        ("products/GRG0MGXFIN_20201770000_01D_30S_CLK.CLK.gz", "GRG  CNES", "GRG0MGXFIN"),
        ("igs18791.sp3", "IGS", "IGS"),
        ("halvard.sp3", " hvl2 ", "HVL"),
    ],
)
def test_orbits_and_clocks_are_paired_by_their_names(name, agency, centre):
    assert centre_of(name, agency) == centre


def test_lone_orbits_and_lone_clocks_are_a_pair(sky):
    span = (sky.day, sky.day + NS_PER_DAY)
    index = [
        ProductEntry("a", "1", "sp3", "AAA", *span),
        ProductEntry("b", "2", "clocks", "", *span),
    ]
    assert [e.path for e in choose(index, *span)["clocks"]] == ["b"]
