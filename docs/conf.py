"""How Sphinx builds the manual: `make docs`. Nothing is fetched, and the result needs no network either."""

import sys
from importlib.metadata import version as version_of
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parent), str(Path(__file__).resolve().parents[1] / "benchmarks")]

project = "tankyear"
author = "the tankyear contributors"
version = release = version_of("tankyear")
html_title = f"tankyear {release}"

extensions = ["myst_parser", "from_code"]
myst_enable_extensions = ["dollarmath", "deflist"]
myst_heading_anchors = 3
html_theme = "furo"
html_math_renderer = "mathml"
html_copy_source = False
html_show_sphinx = False
highlight_language = "text"
