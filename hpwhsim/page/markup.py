"""HTML in parts: what is not marked as HTML is text, and is escaped."""

from base64 import b64encode
from collections.abc import Iterable, Sequence
from html import escape

VOID = ("img", "meta")  # elements that hold nothing


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


def text(content: str) -> Html:
    """Text as HTML: signs of markup and quotes are escaped, and signs that HTML does not allow replaced."""
    allowed = "".join(c if c >= " " or c in "\n\t" else "\N{REPLACEMENT CHARACTER}" for c in content)
    return content if isinstance(content, Html) else Html(escape(allowed))


def element(tag: str, /, *inside: str, **attributes: str) -> Html:
    """An element with its attributes; ``class_`` is ``class``, and ``_`` within a name is ``-``."""
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"' for key, value in attributes.items()
    )
    if tag in VOID:
        return Html(f"<{tag}{given}>")
    return Html(f"<{tag}{given}>{''.join(map(text, inside))}</{tag}>")


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], align: str, caption: str) -> Html:
    """A table whose first column names the rows.

    Parameters
    ----------
    heads, rows : sequence of str, iterable of those
        Cells as text, or as `Html`.
    align : str
        For each column l, r if it holds numbers, or u if it holds units.
    caption : str
        What the table holds.
    """
    kinds = [{"l": "words", "r": "number", "u": "unit"}[letter] for letter in align]
    top = [element("th", cell, scope="col", class_=kind) for cell, kind in zip(heads, kinds, strict=True)]
    body = []
    for first, *rest in rows:
        cells = [element("td", cell, class_=kind) for cell, kind in zip(rest, kinds[1:], strict=True)]
        body.append(element("tr", element("th", first, scope="row"), *cells))
    inside = element("caption", caption), element("thead", element("tr", *top)), element("tbody", *body)
    return element("div", element("table", *inside), class_="wide")


def figure(name: str, picture: bytes, caption: str, alternative: str) -> Html:
    """A picture held in the page, with its caption and its text alternative; its kind by the file's name."""
    kind = "svg+xml" if name.endswith(".svg") else "png"
    source = f"data:image/{kind};base64,{b64encode(picture).decode('ascii')}"
    return element("figure", element("img", src=source, alt=alternative), element("figcaption", caption))


def listing(items: Iterable[str]) -> Html:
    """A list."""
    return element("ul", *(element("li", item) for item in items))
