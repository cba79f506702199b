"""The page of formats is made of the SPEC.md that stands beside each reader."""

from pathlib import Path

FORMATS = Path(__file__).parents[2] / "src" / "stakeline" / "formats"
MARK = "<!-- every SPEC.md -->"


def gather(app, docname, source):
    """Replace the mark on the page of formats by all specifications, in alphabetical order."""
    if docname != "formats":
        return
    pages = sorted(FORMATS.glob("*/SPEC.md"))
    directive = "```{{include}} ../src/stakeline/formats/{}/SPEC.md\n:heading-offset: 1\n```"
    source[0] = source[0].replace(MARK, "\n\n".join(directive.format(p.parent.name) for p in pages))


def setup(app):
    """Hook into the reading of the pages."""
    app.connect("source-read", gather)
    return {"version": "1", "parallel_read_safe": True, "parallel_write_safe": True}
