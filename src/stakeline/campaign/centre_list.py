"""The centre list: from which archives products come, as addresses that the user gives."""

import datetime
import re
import string
import urllib.parse
from typing import Annotated

from pydantic import AfterValidator, Field, model_validator

from ..time import day_of_year, from_iso, gps_week
from .located import Strict, read_located

SCHEMES = ("https", "http", "ftp", "file")
PLACEHOLDERS = {
    "year": "four figures",
    "yy": "last two figures of the year",
    "month": "two figures",
    "day": "day of the month, two figures",
    "doy": "day of the year, three figures",
    "gps_week": "four figures",
    "dow": "day of the GPS week, 0 on Sundays",
}
"""What may stand in braces in an address: all of the day wanted, in GPS time."""

_PLAIN_NAME = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9._-]*")


def _checked(address, extra=()):
    """Return an address; ValueError where its form cannot be filled in or fetched."""
    known = (*PLACEHOLDERS, *extra)
    try:
        parts = list(string.Formatter().parse(address))
    except ValueError:
        raise ValueError("has a brace without its partner") from None
    for _, name, form, conversion in parts:
        if name is not None and (name not in known or form or conversion):
            given = name + (f"!{conversion}" if conversion else "") + (f":{form}" if form else "")
            raise ValueError(f"holds {{{given}}}; placeholders are {', '.join(known)}")
    if urllib.parse.urlsplit(address).scheme not in SCHEMES:
        raise ValueError(f"must begin with one of {', '.join(f'{s}://' for s in SCHEMES)}")
    return address


def _checked_sums(address):
    return _checked(address, ("file",))


def placeholders(address):
    """Return the names that stand in braces in an address."""
    return {name for _, name, _, _ in string.Formatter().parse(address) if name is not None}


Address = Annotated[str, AfterValidator(_checked)]
SumsAddress = Annotated[str, AfterValidator(_checked_sums)]


class WantedProduct(Strict):
    """``[[product]]``: one kind of file, the addresses to try in turn, how it is checked."""

    name: str = Field(min_length=1)
    address: tuple[Address, ...] = Field(min_length=1)
    checksums: SumsAddress | None = None
    sha256: str | None = Field(None, pattern=r"^[0-9a-f]{64}$")

    @model_validator(mode="after")
    def _checked_by_what_fits(self):
        if self.sha256 and self.changes:
            raise ValueError(
                "sha256 is of one file, but the address changes with the day; give the archive's "
                "list of checksums instead: checksums = '...'"
            )
        if self.checksums and not self.changes and placeholders(self.checksums) - {"file"}:
            raise ValueError("checksums changes with the day, but the address does not")
        return self

    @property
    def changes(self):
        """Say whether there is a file for each day, or one for all."""
        return any(placeholders(address) for address in self.address)


class Days(Strict):
    """``[days]``: first and last day wanted, where receiver files do not say it."""

    first: datetime.date
    last: datetime.date

    @model_validator(mode="after")
    def _in_order(self):
        if self.last < self.first:
            raise ValueError("ends before it begins")
        return self


class CentreList(Strict):
    """All of a centre list."""

    days: Days | None = None
    wait_s: float = Field(60.0, gt=0, le=600)
    attempts: int = Field(4, ge=1, le=10)
    product: tuple[WantedProduct, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _each_once(self):
        names = [part.name for part in self.product]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"product {', '.join(twice)} stands there more than once")
        return self


def read_centre_list(path):
    """Return the checked :class:`CentreList` of a TOML file; SettingsError with line numbers."""
    return read_located(path, CentreList)


def filled(address, day, **more):
    """Return an address with its placeholders filled in for a day such as ``2031-05-01``."""
    time_ns = from_iso(day)
    week, seconds = gps_week(time_ns)
    year, month, of_month = day.split("-")
    return address.format(
        year=year,
        yy=year[2:],
        month=month,
        day=of_month,
        doy=f"{int(day_of_year(time_ns)[1]):03d}",
        gps_week=f"{int(week):04d}",
        dow=int(seconds // 86400),
        **more,
    )


def file_name(address):
    """Return the name of the file at an address; '' where it is none that can be kept."""
    path = urllib.parse.urlsplit(address).path
    name = urllib.parse.unquote(path.rpartition("/")[2])
    return name if _PLAIN_NAME.fullmatch(name) else ""
