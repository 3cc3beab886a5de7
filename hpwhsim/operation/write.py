"""The files on a plant's operation."""

from pathlib import Path

from hpwhsim.evaluation.result import Result
from hpwhsim.operation.document import document, values
from hpwhsim.operation.docx import docx
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.html import html
from hpwhsim.results.files import record_text, write_files

HTML, DOCX = "operation.html", "operation.docx"


def write_operation(result: Result, folder: Path) -> list[Path]:
    """Write operation.html and operation.docx of a year, both or none.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    found = document(Facts(result))
    return write_files(folder, {HTML: html(found), DOCX: docx(found)})


def operation_text(result: Result) -> str:
    """The same as JSON text."""
    return record_text(values(Facts(result)))
