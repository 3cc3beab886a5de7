"""A year on one page of HTML that needs nothing else: no script, no address, its pictures within it."""

from base64 import b64encode
from collections.abc import Mapping
from pathlib import Path

from hpwhsim.evaluation.result import Result
from hpwhsim.io.plain_text import visible
from hpwhsim.sections.document import document
from hpwhsim.sections.parts import Document, Part, Typed
from hpwhsim.sections.rows import command_of

KINDS = {"l": "words", "r": "number", "u": "unit"}
"""Classes of cells by the alignment of their column."""


def page(result: Result, pictures: Mapping[str, bytes]) -> bytes:
    """The bytes of ``page.html``.

    Parameters
    ----------
    result : Result
        What was calculated.
    pictures : mapping of str to bytes
        What `draw_pictures` drew of it.
    """
    command = Typed(f"{command_of(result, 'run')} --pictures")
    return html(
        document(result, pictures, [("command, typed in the folder of the scenario", command)]), pictures
    )


def html(content: Document, pictures: Mapping[str, bytes]) -> bytes:
    """A document as HTML; whatever it says is text, and is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    def safe(value: object) -> object:
        return visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value

    def kind(part: Part) -> str:
        return type(part).__name__

    def source(name: str) -> str:
        image = "svg+xml" if name.endswith(".svg") else "png"
        return f"data:image/{image};base64,{b64encode(pictures[name]).decode('ascii')}"

    frames = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=safe,
    )
    frame = frames.get_template("page.html.jinja")
    return f"{frame.render(content=content, kind=kind, source=source, kinds=KINDS)}\n".encode()
