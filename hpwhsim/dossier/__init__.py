"""The calculation handed to a reviewer: content, HTML, PDF, workbook, archive."""
