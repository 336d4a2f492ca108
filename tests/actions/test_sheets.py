"""Rows for a spreadsheet: read back, they are what was said, and none of them runs."""

import csv
import io
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from uuid import UUID

import pytest
from openpyxl import load_workbook

from nursery.actions import sheets
from nursery.actions.sheets import Workbook, csv_bytes, xlsx_bytes

# OWASP, "CSV Injection": the signs that begin a formula.
HARMFUL = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    " =1+1",
    '=HYPERLINK("http://192.0.2.1","x")',
    "＝1",
]
VALUES = [
    7, 2.5, Decimal("1.50"), True, None, date(2026, 3, 2), UUID("11111111-2222-4333-8444-555555555555"),
    datetime(2026, 3, 2, 11, 0, tzinfo=timezone(timedelta(hours=2))), [1, "a"], "Amber",
]  # fmt: skip


def from_csv(content):
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def from_xlsx(content):
    book = load_workbook(io.BytesIO(content))
    return {sheet.title: [list(row) for row in sheet.iter_rows()] for sheet in book}


@pytest.mark.parametrize("text", HARMFUL)
def test_csv_writes_an_apostrophe_before_what_would_run(text):
    assert from_csv(csv_bytes(["name"], [[text]]))[1] == [f"'{text}"]


@pytest.mark.parametrize("text", HARMFUL)
def test_xlsx_holds_text_as_text(text):
    cell = from_xlsx(xlsx_bytes("flats", ["name"], [[text]]))["flats"][1][0]
    assert cell.data_type in {"s", "inlineStr"}
    assert cell.value.replace("\n", "\r") == text  # XML reads a return as a new line


def test_negative_numbers_stay_numbers():
    assert from_csv(csv_bytes(["n"], [[-3]]))[1] == ["-3"]
    assert from_xlsx(xlsx_bytes("t", ["n"], [[-3]]))["t"][1][0].value == -3


def test_csv_values():
    assert from_csv(csv_bytes(list("abcdefghij"), [VALUES]))[1] == [
        "7", "2.5", "1.5", "1", "", "2026-03-02", "11111111-2222-4333-8444-555555555555",
        "2026-03-02T09:00:00Z", '[1, "a"]', "Amber",
    ]  # fmt: skip


def test_xlsx_values():
    row = [cell.value for cell in from_xlsx(xlsx_bytes("t", list("abcdefghij"), [VALUES]))["t"][1]]
    assert row[:5] == [7, 2.5, 1.5, 1, None]
    assert row[5] == datetime(2026, 3, 2)  # a day in the sheet, shown as year-month-day
    assert row[6:] == ["11111111-2222-4333-8444-555555555555", "2026-03-02T09:00:00Z", '[1, "a"]', "Amber"]


def test_a_moment_keeps_its_milliseconds():
    assert sheets.moment(datetime(2026, 3, 2, 9, 0, 0, 250_000, tzinfo=UTC)) == "2026-03-02T09:00:00.250Z"


def test_what_xml_cannot_hold_is_replaced_and_long_text_cut():
    row = from_xlsx(xlsx_bytes("t", ["a", "b"], [["a\x00b", "x" * 40_000]]))["t"][1]
    assert (row[0].value, len(row[1].value)) == ("a\ufffdb", 32_767)


@pytest.mark.parametrize(("rows", "lengths"), [(3, [4]), (4, [4, 2]), (6, [4, 4]), (0, [1])])
def test_a_table_too_long_for_a_sheet_goes_on_in_the_next(monkeypatch, rows, lengths):
    monkeypatch.setattr(sheets, "XLSX_ROWS_MOST", 4)
    book = Workbook()
    book.add("cells", ["n"], ([number] for number in range(rows)))
    out = io.BytesIO()
    book.save(out)
    found = from_xlsx(out.getvalue())
    assert [len(lines) for lines in found.values()] == lengths
    assert list(found)[:2] == ["cells", "cells 2"][: len(lengths)]
    numbers = [line[0].value for lines in found.values() for line in lines[1:]]
    assert numbers == list(range(rows))
