"""The centre list: addresses filled in for a day, and what is refused with its line."""

import datetime
from pathlib import Path

import pytest

from stakeline.campaign.centre_list import file_name, filled, read_centre_list
from stakeline.errors import SettingsError

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "products.md"
PLAIN = """
[[product]]
name = "orbits"
address = ["https://archive.example.org/{gps_week}/HVL0OPSFIN_{year}{doy}0000_01D_15M_ORB.SP3.gz"]
"""


@pytest.mark.parametrize("day", ["2031-05-01", "2032-12-31", "1999-08-22", "2031-05-04"])
def test_an_address_is_filled_in_for_a_day(day):
    date = datetime.date.fromisoformat(day)
    since = (date - datetime.date(1980, 1, 6)).days  # GPS time begins on that Sunday, IS-GPS-200
    form = "{year} {yy} {month} {day} {doy} {gps_week} {dow}"
    assert filled(form, day) == f"{date:%Y %y %m %d %j} {since // 7:04d} {since % 7}"


def test_braces_that_are_meant_stay():
    assert filled("a{{b}}{doy}", "2031-02-01") == "a{b}032"


@pytest.mark.parametrize(
    ("address", "name"),
    [
        ("https://example.org/a/HVL.SP3.gz?key=1", "HVL.SP3.gz"),
        ("ftp://example.org/a%2Db.clk", "a-b.clk"),
        ("https://example.org/a/", ""),
        ("https://example.org/..", ""),
        ("https://example.org/%2e%2e%2fa", ""),
        ("https://example.org/.hidden", ""),
    ],
)
def test_a_file_keeps_the_name_it_has_there(address, name):
    assert file_name(address) == name


@pytest.fixture
def read(tmp_path):
    def from_text(text):
        path = tmp_path / "centres.toml"
        path.write_text(text, encoding="utf-8")
        return read_centre_list(path)

    return from_text


def test_a_list_is_read(read):
    listed = read("[days]\nfirst = 2031-05-01\nlast = 2031-05-03\n" + PLAIN)
    assert (listed.days.last - listed.days.first).days == 2
    assert listed.product[0].changes
    assert listed.attempts > 1


def test_the_example_of_the_handbook_is_a_list(read):
    text = PAGE.read_text(encoding="utf-8").partition("```toml\n")[2].partition("```")[0]
    assert [product.changes for product in read(text).product] == [True, False]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (PLAIN.replace("{doy}", "{date}"), r"toml:4: .*holds \{date\}; placeholders are year, yy"),
        (PLAIN.replace("{doy}", "{doy:03d}"), r"holds \{doy:03d\}"),
        (PLAIN.replace("{doy}", "{doy"), "brace without its partner"),
        (PLAIN.replace("https", "gopher"), "must begin with one of https://, http://"),
        (PLAIN + f'sha256 = "{"0" * 64}"', "the address changes with the day; give the archive's"),
        (PLAIN + 'sha256 = "0"', "product.1.sha256"),
        (PLAIN + PLAIN, "product orbits stands there more than once"),
        ("[days]\nfirst = 2031-05-03\nlast = 2031-05-01\n" + PLAIN, "ends before it begins"),
        (PLAIN.replace("address", "adress"), "did you mean 'address'"),
        ("", "product: is missing"),
        (
            '[[product]]\nname = "a"\naddress = ["file:///a"]\nchecksums = "file:///{doy}"',
            "checksums changes with the day, but the address does not",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_line(read, text, said):
    with pytest.raises(SettingsError, match=said):
        read(text)
