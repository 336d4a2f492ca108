"""The rows of a workbook (XLSX): its first sheet, as the lines of text that a CSV file would have.

A workbook is a ZIP archive, and one made to do harm grows a thousandfold when it is opened. So what its
parts will fill is added up before one of them is read, and rows and columns are bounded.
"""

import io
import zipfile
from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext as _

ZIP_BEGINS = b"PK\x03\x04"
OLD_EXCEL_BEGINS = b"\xd0\xcf\x11\xe0"
UNPACKED_MOST = 100 * 1024 * 1024  # bytes; 50,000 rows of ours fill some 30 million
PARTS_MOST = 1000
ROWS_MOST = 100_000
COLUMNS_MOST = 60


class SheetFault(Exception):
    """What keeps a workbook from being read, in words."""


def is_workbook(content: bytes) -> bool:
    """True for a file that is a ZIP archive, as every XLSX workbook is, or an old Excel file."""
    return content.startswith((ZIP_BEGINS, OLD_EXCEL_BEGINS))


def sheet_lines(content: bytes) -> list[list[str]]:
    """Return the lines of the first sheet, each as long as the header; SheetFault if there are none."""
    if content.startswith(OLD_EXCEL_BEGINS):
        raise SheetFault(_("This is an old Excel file (.xls). Save it as XLSX or CSV and choose it again."))
    _require_small(content)
    try:
        lines = list(_lines(content))
    except SheetFault:
        raise
    except Exception as error:  # openpyxl passes on whatever its readers of XML, ZIP and numbers raise
        raise SheetFault(_unreadable()) from error
    width = next((_width(line) for line in lines if any(line)), 0)
    return [_fitted(line, width) for line in lines]


def _require_small(content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError) as error:
        raise SheetFault(_unreadable()) from error
    # A part that says less than it holds is cut off there by the reader, and then refused by its checksum.
    if len(parts) > PARTS_MOST or sum(part.file_size for part in parts) > UNPACKED_MOST:
        text = _("Opened, this workbook would fill more than %d MB. Copy the table alone into a new one.")
        raise SheetFault(text % (UNPACKED_MOST // 1024**2))


def _unreadable() -> str:
    return _("This file is no workbook that can be read. Save the table as XLSX or CSV and choose it again.")


def _lines(content: bytes) -> Iterator[list[str]]:
    from openpyxl import load_workbook  # only who brings in a workbook pays for loading it

    book = load_workbook(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
    try:
        if not book.worksheets:
            raise SheetFault(_("The workbook has no sheet with a table."))
        sheet = book.worksheets[0]
        sheet.reset_dimensions()  # what the file says of its size need not be true
        rows = sheet.iter_rows(max_row=ROWS_MOST + 1, max_col=COLUMNS_MOST + 1, values_only=True)
        for number, row in enumerate(rows, 1):
            if number > ROWS_MOST:
                raise SheetFault(_("The sheet has more than %d rows. Divide it.") % ROWS_MOST)
            line = [_text(value) for value in row]
            if any(line[COLUMNS_MOST:]):
                raise SheetFault(_("The sheet has more than %d columns.") % COLUMNS_MOST)
            yield line
    finally:
        book.close()


def _text(value: Any) -> str:
    """Return a cell as it would stand in a CSV file: whole numbers as such, days as year-month-day."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        is_day = (value.hour, value.minute, value.second, value.microsecond) == (0, 0, 0, 0)
        return value.date().isoformat() if is_day else value.isoformat(sep=" ")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _width(line: list[str]) -> int:
    """Return how many columns a line has up to its last cell that is not empty."""
    return max((number for number, text in enumerate(line, 1) if text.strip()), default=0)


def _fitted(line: list[str], width: int) -> list[str]:
    """Fill a short line up; cut off empty cells beyond the header, but not what stands in them."""
    return [*line, *[""] * (width - len(line))] if len(line) < width else line[: max(width, _width(line))]
