"""Formulas as drawings inside the page: no script, no font, nothing from outside."""

import html
import io
import re

from docutils.nodes import SkipNode
from matplotlib.font_manager import FontProperties
from matplotlib.mathtext import math_to_image

FONT = FontProperties(size=11.0, math_fontfamily="stix")
INK = "#010203"  # a colour that stands for "the colour of the text around it"


def drawing(formula):
    """Return (SVG element, depth below the line [pt]) of a formula in TeX's mathematics."""
    buffer = io.BytesIO()
    text = " ".join(formula.split())
    depth = math_to_image(f"${text}$", buffer, prop=FONT, format="svg", color=INK)
    svg = buffer.getvalue().decode("utf-8")
    svg = svg[svg.index("<svg") :].replace(INK, "currentColor")
    for unwanted in (r"<metadata>.*?</metadata>", r"<style.*?</style>", r'<g id="patch_1">.*?</g>'):
        svg = re.sub(unwanted, "", svg, flags=re.DOTALL)
    svg = re.sub(r' xmlns:xlink="[^"]*"', "", svg).replace("xlink:href", "href")
    label = html.escape(text, quote=True)
    return svg.replace("<svg", f'<svg role="img" aria-label="{label}"', 1), depth


def visit_inline(writer, node):
    """Put a formula into the line."""
    svg, depth = drawing(node.astext())
    style = f'style="vertical-align: {-depth:.2f}pt; overflow: visible"'
    writer.body.append(svg.replace("<svg", f"<svg {style}", 1))
    raise SkipNode


def visit_block(writer, node):
    """Put a formula on a line of its own, one for each line divided by a double backslash."""
    writer.body.append('<div class="math" style="margin: 1em 2em; overflow-x: auto">')
    for line in node.astext().split(r"\\"):
        if line.strip():
            writer.body.append(f'<div style="margin: 0.5em 0">{drawing(line)[0]}</div>')
    writer.body.append("</div>")
    raise SkipNode


def setup(app):
    """Register the renderer under the name ``drawn``."""
    app.add_html_math_renderer("drawn", (visit_inline, None), (visit_block, None))
    return {"version": "1", "parallel_read_safe": True, "parallel_write_safe": True}
