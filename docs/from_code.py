"""What Sphinx needs beside its own: lists made from the code, and formulas without a network.

A page of the manual that holds a line such as ``<<keys>>`` gets the list in its place, so that no list can
be older than the program.
"""

import re
from typing import Any

from docutils.nodes import Element, SkipNode
from docutils.utils.math.latex2mathml import tex2mathml
from lists import LISTS

MARK = re.compile(r"^<<([a-z]+)>>$", re.MULTILINE)


def fill(app: Any, name: str, source: list[str]) -> None:
    """Put the lists in the place of their marks."""
    source[0] = MARK.sub(lambda found: "\n".join(LISTS[found[1]]()), source[0])


def made_anew(*_: Any) -> list[str]:
    """Pages of the lists, which have their names: read again although their own text has not changed."""
    return list(LISTS)


def inline(translator: Any, node: Element) -> None:
    """A formula within a line, which browsers draw themselves."""
    translator.body.append(tex2mathml(node.astext()))
    raise SkipNode


def displayed(translator: Any, node: Element) -> None:
    """A formula on lines of its own."""
    translator.body.append(f'<div class="math">{tex2mathml(node.astext(), as_block=True)}</div>')
    raise SkipNode


def setup(app: Any) -> dict[str, bool]:
    """Register with Sphinx."""
    app.connect("source-read", fill)
    app.connect("env-get-outdated", made_anew)
    app.add_html_math_renderer("mathml", (inline, None), (displayed, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
