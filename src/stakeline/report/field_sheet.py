"""The field sheet on paper, A4 and Letter: draws what it is given."""

from .typesetting import typeset

PAPERS = {"a4": "a4", "letter": "us-letter"}  # file name, and the typesetter's own


def field_sheet(data, paper="a4"):
    """Return a field sheet as the bytes of a PDF.

    Parameters
    ----------
    data : dict
        Of ``workflows.sheet_parts.Sheet.as_data``.
    paper : str
        Of :data:`PAPERS`.
    """
    return typeset("field_sheet", {**data, "paper": PAPERS[paper]})
