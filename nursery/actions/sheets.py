"""Rows for a spreadsheet: CSV and XLSX whose cells are what they say, and never run.

A spreadsheet takes a text that begins with one of a few signs for a formula, and a formula can send data
away (CWE-1236; OWASP, "CSV Injection"). Such a text is written with an apostrophe before it in CSV, and as a
cell of plain text in XLSX, where nothing needs to be added. Numbers stay numbers, days are year-month-day,
moments are ISO 8601 in UTC, yes and no are 1 and 0, nothing is an empty cell.
"""

import csv
import io
import json
import re
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import count
from typing import IO, Any
from uuid import UUID

from django.utils.functional import Promise

FORMULA_SIGNS = "=+-@|%\t\r\n＝＋－＠"
XLSX_ROWS_MOST = 1_048_576  # a sheet's limit (ECMA-376, as Excel has it), the header among them
XLSX_TEXT_MOST = 32_767
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")  # characters that XML 1.0 cannot hold


def plain(value: Any) -> str | int | float | date | None:
    """Return a value as it stands in a cell."""
    if isinstance(value, bool):
        return int(value)
    if value is None or isinstance(value, int | float | str):
        return value
    if isinstance(value, datetime):
        return moment(value)
    if isinstance(value, date):
        return value
    if isinstance(value, Decimal):
        return float(value)
    if isinstance(value, UUID | Promise):
        return str(value)
    return json.dumps(value, ensure_ascii=False)


def moment(at: datetime) -> str:
    """Return a moment in UTC as ISO 8601, to the millisecond where it has one."""
    exact = "milliseconds" if at.microsecond else "seconds"
    return at.astimezone(UTC).isoformat(timespec=exact).replace("+00:00", "Z")


def csv_cell(value: Any) -> str | int | float | None:
    """Return a value for a CSV file; a text that a spreadsheet would run has an apostrophe before it."""
    cell = plain(value)
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, str) and cell.lstrip(" ")[:1] and cell.lstrip(" ")[0] in FORMULA_SIGNS:
        return f"'{cell}"
    return cell


def write_csv(out: IO[str], header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Write a table with CRLF between the rows (RFC 4180)."""
    writer = csv.writer(out)
    writer.writerow([csv_cell(name) for name in header])
    writer.writerows([csv_cell(value) for value in row] for row in rows)


def csv_bytes(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """Return a small table as a file in UTF-8 with a byte order mark, by which Excel knows it."""
    out = io.StringIO(newline="")
    write_csv(out, header, rows)
    return out.getvalue().encode("utf-8-sig")


class Workbook:
    """An XLSX workbook that is written row by row and held on the disk meanwhile, not in memory."""

    def __init__(self) -> None:
        from openpyxl import Workbook as Book

        self._book: Any = Book(write_only=True)
        self._names: set[str] = set()

    def add(self, name: str, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
        """Add a table; where it has more rows than a sheet can hold, it goes on in ``name 2``, ``name 3``."""
        rest = iter(rows)
        row = next(rest, None)
        for number in count(1):
            sheet = self._sheet(name if number == 1 else f"{name} {number}")
            sheet.append([self._cell(sheet, title) for title in header])
            room = XLSX_ROWS_MOST - 1
            while row is not None and room:
                sheet.append([self._cell(sheet, value) for value in row])
                row, room = next(rest, None), room - 1
            if row is None:
                return

    def _sheet(self, name: str) -> Any:
        title = re.sub(r"[\[\]:*?/\\]", " ", name)[:31]  # what Excel allows
        assert title.casefold() not in self._names, title
        self._names.add(title.casefold())
        sheet = self._book.create_sheet(title)
        sheet.freeze_panes = "A2"
        return sheet

    @staticmethod
    def _cell(sheet: Any, value: Any) -> Any:
        from openpyxl.cell import WriteOnlyCell

        cell = plain(value)
        if not isinstance(cell, str):
            return cell
        text = _CONTROL.sub("\ufffd", cell)[:XLSX_TEXT_MOST]
        if text[:1] not in {"=", "#"}:  # openpyxl takes these for a formula and for an error
            return text
        as_text = WriteOnlyCell(sheet, value="")
        as_text.value = text
        as_text.data_type = "s"
        return as_text

    def save(self, target: IO[bytes] | str) -> None:
        self._book.save(target)


def xlsx_bytes(name: str, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """Return a small table as a workbook of one sheet."""
    book, out = Workbook(), io.BytesIO()
    book.add(name, header, rows)
    book.save(out)
    return out.getvalue()
