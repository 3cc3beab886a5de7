"""The sheet of price bands: price of electric energy by month and hour, of weekdays and weekends."""

from dataclasses import dataclass
from functools import cached_property
from itertools import groupby

import numpy as np

from hpwhsim.account.calendar import ALL_MONTHS, MONTH_NAMES, When, mask
from hpwhsim.arrays import Array
from hpwhsim.dossier.workbook.factors import Prices
from hpwhsim.dossier.workbook.formula import Column, Formula, added
from hpwhsim.dossier.workbook.sheets import Book, Columns

SHEET = "Price bands"
DAYS = ("weekdays", "weekends")
HEADS = ("month", *(f"{hour:02d}" for hour in range(24)), "hours of these days", "of them at another price")
NOTE = (
    "Price of electric energy in force [USD/kWh] in the hour that begins at the head of the column, local "
    "standard time; weekdays are Monday to Friday, holidays among them. Tiers, demand charges and the charge "
    "for the connection come on top: they stand in the sheet Factors."
)
MEANS = "Prices of the same hour differ from day to day: this sheet has their means, and the bill each price."


@dataclass(frozen=True)
class Days:
    """The days of a month that are weekdays, or those that are not."""

    month: int  # 1 to 12
    weekend: bool
    prices: Prices
    outside: Columns  # of `hourly_factors`

    def of(self, column: Column) -> Array:
        """Values of these days, shape (days, 24)."""
        when = When((self.month,), DAYS[self.weekend])
        return column.values.reshape(365, 24)[mask(when).reshape(365, 24).all(axis=1)]

    def _these(self) -> str:
        """The conditions of a function that picks their hours."""
        weekend = self.outside["weekend"]
        return f"{weekend.months},{self.month},{weekend.range},{int(self.weekend)}"

    def hours(self) -> Formula:
        """How many hours they have."""
        return Formula(f"COUNTIFS({self._these()})", float(self.of(self.outside["weekend"]).size))

    def in_band(self, number: int, first: int, last: int) -> Formula:
        """How many of their hours from `first` to `last` are in a price band."""
        band, hour = self.outside["price_band"], self.outside["hour_of_day"].range
        text = f'COUNTIFS({self._these()},{hour},">={first}",{hour},"<={last}",{band.range},{number})'
        return Formula(text, float(np.count_nonzero(self.of(band)[:, first : last + 1] == number)))

    @cached_property
    def bands(self) -> list[list[int]]:
        """Numbers of the price bands that each hour of the day is in."""
        return [np.unique(of_hour).astype(int).tolist() for of_hour in self.of(self.outside["price_band"]).T]

    def price(self, hour: int) -> Formula:
        """Price of an hour of the day; the mean where it differs from day to day. [USD/kWh]"""
        if self.prices.hourly is not None:
            each = self.prices.hourly
            text = f"AVERAGEIFS({each.range},{self._these()},{self.outside['hour_of_day'].range},{hour})"
            return Formula(text, float(self.of(each)[:, hour].mean()))
        if self.prices.band is None:
            return self.prices.bands[0]
        numbers = self.bands[hour]
        if len(numbers) == 1:
            return self.prices.bands[numbers[0] - 1]
        whole = added(self.prices.bands[n - 1] * self.in_band(n, hour, hour) for n in numbers)
        return whole / (self.hours() / 24.0)

    def elsewhere(self) -> Formula:
        """Hours that are in another band than the sheet has for their hour of the day."""
        left = self.hours()
        for number, run in groupby(enumerate(self.bands), key=lambda item: item[1][0]):
            at = [hour for hour, _ in run]
            left = left - self.in_band(number, at[0], at[-1])
        return left


def price_sheet(book: Book, prices: Prices, outside: Columns) -> Formula | None:
    """Fill the sheet; returns how many hours of the year have another price than it says.

    None where it holds means of prices that differ from day to day.

    Parameters
    ----------
    book : Book
        The workbook.
    prices : Prices
        Cells of the bands of the tariff, or its hourly prices.
    outside : mapping of str to Column
        Columns of `hourly_factors`.
    """
    days = [[Days(month, weekend, prices, outside) for month in ALL_MONTHS] for weekend in (False, True)]
    means = prices.hourly is not None
    if prices.band is not None:
        means = any(len(numbers) > 1 for kind in days for one in kind for numbers in one.bands)
    checked = prices.band is not None and not means
    book.text(SHEET, 0, 0, "Price of electric energy by month and hour", "title")
    book.text(SHEET, 1, 0, NOTE)
    book.widths(SHEET, 10, *([7.5] * 24), *([10, 10] if checked else []), freeze=3, across=1)
    book.texts(SHEET, 2, HEADS if checked else HEADS[:25])
    row, apart = 2, []
    for name, kind in zip(DAYS, days, strict=True):
        row += 1
        book.text(SHEET, row, 0, name, "part")
        for one in kind:
            row += 1
            book.text(SHEET, row, 0, MONTH_NAMES[one.month - 1])
            for hour in range(24):
                book.live(SHEET, row, 1 + hour, one.price(hour), book.in_unit("USD/kWh"))
            if checked:
                book.live(SHEET, row, 25, one.hours(), "text")
                apart.append(book.live(SHEET, row, 26, one.elsewhere(), "text"))
    if means:
        book.text(SHEET, row + 2, 0, MEANS)
    return added(apart) if checked else None
