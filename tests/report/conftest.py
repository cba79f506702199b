"""Words of a figure as a reader sees them."""

import xml.etree.ElementTree as ElementTree

import pytest

from stakeline.report.style import svg_bytes


def _words(figure):
    root = ElementTree.fromstring(svg_bytes(figure))
    return ["".join(e.itertext()).strip() for e in root.iter() if e.tag.endswith("}text")]


@pytest.fixture
def words():
    """Give a function from a figure to all its texts."""
    return _words
