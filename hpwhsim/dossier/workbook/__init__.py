"""The workbook whose formulas re-add the year."""
