"""Rows of factors, one below the other: each with its number, whether it may be changed, and its source."""

import re

from hpwhsim.dossier.workbook.formula import Column, Formula
from hpwhsim.dossier.workbook.sheets import Book
from hpwhsim.io.units import Kind, written_in

CHANGEABLE = "may be changed"
UNITS = "conversion of units; Btu and pound as in NIST SP 811, appendix B"


class Page:
    """A sheet of factors, one below the other: label, unit, value, may be changed, name, source."""

    def __init__(self, book: Book, sheet: str, row: int = 0) -> None:
        self.book, self.sheet, self.row = book, sheet, row
        heads = ["factor", "unit", "value", CHANGEABLE, "name of the cell"]
        book.texts(sheet, row, [*heads, "source, or key of the sheet Inputs"])

    def _labels(self, label: str, unit: str, may: str, name: str, source: str) -> None:
        self.row += 1
        self.book.texts(self.sheet, self.row, [label, unit], "wrap")
        self.book.texts(self.sheet, self.row, [may, name, source], "beside", column=3)

    def given(self, label: str, unit: str, value: float, name: str, source: str = "") -> Formula:
        """A number to be changed by hand."""
        self._labels(label, unit, "yes", name, source)
        return self.book.given(self.sheet, self.row, 2, value, name, unit)

    def quantity(
        self, label: str, unit: str, value: float, name: str, source: str, written: object, kind: Kind
    ) -> Formula:
        """A number to be changed by hand in the unit in which it was written, and below it in `unit`.

        `value` is in the unit of `kind`, which `unit` is another name of. Where `written`, what the modeler
        wrote, is in that unit already, or is not what made the value, there is one row.
        """
        as_written = written_in(written, kind)
        if as_written is None or as_written[2] == 1.0 or as_written[0] * as_written[2] != value:
            return self.given(label, unit, value, name, source)
        number, words, factor = as_written
        one = self.given(f"{label}, as it was written", words, number, f"{name}_as_written", source)
        if (words, unit) not in self.book.units:
            ratio = f"{unit} in 1 {words}"
            key = re.sub(r"\W+", "_", f"{unit}_in_{words}")
            converts = self.given(ratio, unit, factor, key, UNITS)
            self.book.units[words, unit] = converts
        times = self.book.units[words, unit]
        return self.follows(label, unit, one * times, name, f"{name}_as_written times {times.text}")

    def follows(self, label: str, unit: str, of: Formula, name: str, source: str = "") -> Formula:
        """What follows from other cells and may be overwritten."""
        self._labels(label, unit, "yes, in place of its formula", name, source)
        return self.book.follows(self.sheet, self.row, 2, of, name, unit)

    def choice(self, label: str, text: str, name: str, among: Column, source: str) -> None:
        """A text picked from a column."""
        self._labels(label, "", "yes, from its list", name, source)
        self.book.choice(self.sheet, self.row, 2, text, name, among)
