"""Settings of the handbook. It is built, and read, without any network."""

import sys
import tomllib
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE / "_extensions"))

with (HERE.parent / "pyproject.toml").open("rb") as _file:
    _project = tomllib.load(_file)["project"]

project = "Stakeline"
author = _project["authors"][0]["name"]
copyright = author
release = version = _project["version"]

extensions = ["myst_parser", "drawn_math", "format_pages"]
myst_enable_extensions = ["dollarmath", "deflist", "colon_fence"]
myst_heading_anchors = 3
exclude_patterns = ["_build", "_extensions"]
nitpicky = True

html_theme = "furo"
html_title = f"Stakeline {release}"
html_copy_source = False
html_show_sphinx = False
html_math_renderer = "drawn"
