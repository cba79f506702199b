"""``[release]`` of ``campaign.toml``: who made a data set, how it may be used, what is wrong."""

from datetime import date

from pydantic import Field

from .located import Strict


class Creator(Strict):
    """``[[release.creator]]``: a person or group, in the order of the citation."""

    name: str
    email: str = ""
    institution: str = ""
    url: str = ""


class KnownIssue(Strict):
    """``[[release.issue]]``: something wrong in the data that a user must know."""

    what: str
    why: str
    who: str
    day: date
    station: str = ""


class ReleasePart(Strict):
    """``[release]``: what an archive and a citation ask for; what is left empty is told as such.

    ``licence`` is the short name of a licence, such as ``CC-BY-4.0``; ``doi`` without an address
    before it; ``naming_authority`` a domain in reverse; ``field_books`` are scans, by the station
    whose history they belong to (``HV02/2031.pdf``), below ``folder_of_field_books``;
    ``photographs`` says whether those of frozen visits come along, or their checksums alone.
    """

    title: str = ""
    summary: str = ""
    licence: str = ""
    doi: str = ""
    version: str = "1"
    project: str = ""
    naming_authority: str = ""
    keywords: tuple[str, ...] = ("glacier", "GNSS", "ice velocity", "subglacial lakes")
    acknowledgement: str = ""
    creator: tuple[Creator, ...] = ()
    issue: tuple[KnownIssue, ...] = ()
    photographs: bool = True
    folder_of_field_books: str = Field("fieldbooks", pattern=r"^[\w-]+$")
