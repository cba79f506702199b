"""Sheets on paper: a template of ours and the numbers it shows become PDF, same input same bytes.

A template is a file ``report/sheets/NAME.typ``. It finds its numbers in ``data.json``, the common
look in ``look.typ`` (``#import "look.typ": *``) and figures by the names given in ``assets``. It
arranges what it is given and computes nothing. Fonts are those of the packages we install, never
the machine's own; nothing is fetched.
"""

import functools
import json
import tempfile
from importlib import resources
from pathlib import Path

import matplotlib as mpl
import typst

from ..errors import StakelineError

SHEETS = "sheets"
DATA_FILE = "data.json"
TIMESTAMP = 0  # s since 1970; the same in every file, so that the same input gives the same bytes
PICTURES = ("svg", "pdf", "png")
FIGURE = "figure.svg"
DPI = 600.0  # of a PNG; what journals ask of line drawings, common practice, no source
STANDARD = "a-2b"  # PDF for archives, ISO 19005-2: fonts inside, no outside parts


def templates():
    """Return the names of the templates there are, sorted, without their ending."""
    found = resources.files(__package__).joinpath(SHEETS).iterdir()
    return sorted(one.name.removesuffix(".typ") for one in found if one.name != "look.typ")


def typeset(template, data, *, assets=None):
    """Return a sheet as the bytes of a PDF.

    Parameters
    ----------
    template : str
        Name of one of :func:`templates`.
    data : dict
        What the template shows, of parts that JSON has: None where there is no number.
    assets : dict of str to bytes, optional
        Figures by file name, such as ``charge.svg``.

    Raises
    ------
    StakelineError
        For a template that is not known, an asset's name that is no plain file name, or data that
        the template cannot show; the sentence says what it stumbled over.
    """
    if template not in templates():
        raise StakelineError(f"no sheet {template!r}; there are {', '.join(templates())}")
    with tempfile.TemporaryDirectory(prefix="stakeline-") as folder:
        root = Path(folder)
        for name in (f"{template}.typ", "look.typ"):
            (root / name).write_bytes(_packaged(name))
        (root / DATA_FILE).write_text(_json(template, data), encoding="utf-8")
        for name, content in (assets or {}).items():
            if Path(name).name != name or (root / name).exists():
                raise StakelineError(f"figure {name!r}: expected a plain file name of its own")
            (root / name).write_bytes(content)
        return _compiled(root, template)


def picture(svg, width_mm, kind):
    """Return a figure as the bytes of a file of its own, as large as the figure.

    Parameters
    ----------
    svg : bytes
    width_mm : float
        Of the figure. [mm]
    kind : str
        One of :data:`PICTURES`.

    Raises
    ------
    StakelineError
        For another kind, or an SVG that cannot be set.
    """
    if kind not in PICTURES:
        raise StakelineError(f"a picture is {', '.join(PICTURES)}, not {kind!r}")
    if kind == "svg":
        return svg
    page = "#set page(width: auto, height: auto, margin: 0pt)"
    sheet = f'{page}\n#image("{FIGURE}", width: {width_mm}mm)'
    with tempfile.TemporaryDirectory(prefix="stakeline-") as folder:
        root = Path(folder)
        (root / FIGURE).write_bytes(svg)
        (root / "figure.typ").write_text(sheet, encoding="utf-8")
        return _compiled(root, "figure", kind)


def _compiled(root, template, kind="pdf"):
    wanted = {"timestamp": TIMESTAMP, "pdf_standards": STANDARD} if kind == "pdf" else {"ppi": DPI}
    try:
        return typst.Compiler(
            root / f"{template}.typ",
            root=root,
            font_paths=_fonts(),
            package_path=root / "none",
            package_cache_path=root / "none",
        ).compile(format=kind, **wanted)
    except typst.TypstError as problem:
        where = problem.diagnostic.strip().replace(str(root), "").splitlines()
        shown = " ".join(line.strip() for line in where if line.strip())[:400]
        raise StakelineError(f"sheet {template!r} cannot be set: {shown}") from None


def _json(template, data):
    try:
        return json.dumps(data, allow_nan=False, ensure_ascii=False, sort_keys=True)
    except (TypeError, ValueError) as problem:
        raise StakelineError(
            f"sheet {template!r}: its data hold what JSON has not ({problem}); expected texts, "
            "finite numbers, lists, dicts, and None where there is nothing"
        ) from None


@functools.cache
def _packaged(name):
    return resources.files(__package__).joinpath(SHEETS, name).read_bytes()


@functools.cache
def _fonts():
    """Return the fonts: those inside the typesetter, and the sans-serif of our figures."""
    figures = Path(mpl.get_data_path()) / "fonts" / "ttf"
    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=True, font_paths=[figures]
    )
