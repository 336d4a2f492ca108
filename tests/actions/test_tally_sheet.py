"""Tallies from a workbook: the same as from CSV, by row; workbooks made to do harm are refused."""

import io
import struct
import zipfile
from datetime import date, datetime

import pytest
from openpyxl import Workbook

from nursery.actions import tally_sheet
from nursery.actions.tallies import import_tallies
from nursery.actions.tally_file import read_tally_file
from nursery.actions.tally_plan import TallyOptions
from nursery.actions.tally_sheet import SheetFault, sheet_lines
from nursery.models import TallyRow
from tests.actions.test_tallies import HEADER, NAMES, ROW, TODAY, file_of, row

DAYS = {"grafted_on": datetime(2025, 3, 3), "checked_on": date(2025, 3, 17)}
NUMBERS = {"grafted": 72, "alive": 68.0, "wilting": 2}


def workbook(*rows, header=NAMES):
    book = Workbook()
    for line in [header, *rows]:
        book.active.append(list(line))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def cells(**changes):
    """Return ``ROW`` as a spreadsheet holds it: days and numbers in cells of their kind."""
    values = dict(zip(NAMES, ROW.split(","), strict=True)) | DAYS | NUMBERS | changes
    return [values[name] for name in NAMES]


def faults(content):
    return [(fault.row, fault.column) for fault in read_tally_file(content, today=TODAY).faults]


def repacked(content, name, part):
    """Return a workbook in which one part holds something else."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for found in old.namelist():
            new.writestr(found, part if found == name else old.read(found))
    return out.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


def test_reads_as_csv_does():
    as_csv = read_tally_file(file_of(ROW, row(flat="A2", grafter="", wilting="")), today=TODAY)
    as_xlsx = read_tally_file(workbook(cells(), cells(flat="A2", grafter=None, wilting=None)), today=TODAY)
    assert as_xlsx.rows == as_csv.rows and as_xlsx.faults == []


def test_days_and_numbers_may_be_text():
    assert (
        read_tally_file(workbook(ROW.split(",")), today=TODAY).rows
        == read_tally_file(file_of(ROW), today=TODAY).rows
    )


@pytest.mark.django_db
def test_is_stored():
    import_tallies(workbook(cells()), TallyOptions(today=TODAY))
    assert TallyRow.objects.get().alive == 68


@pytest.mark.parametrize(
    ("changes", "column"),
    [
        ({"alive": 68.5}, "alive"),
        ({"alive": 73}, "alive"),
        ({"grafted_on": datetime(2025, 3, 3, 9, 30)}, "grafted_on"),
        ({"grafted_on": "3/3/2025"}, "grafted_on"),
        ({"checked_on": 45733}, "checked_on"),
        ({"flat": None}, "flat"),
        ({"method": True}, "method"),
    ],
)
def test_faults_are_told_by_row_and_column(changes, column):
    assert faults(workbook(cells(), cells(**{"flat": "A2", **changes}))) == [(3, column)]


def test_rows_are_counted_as_the_spreadsheet_counts_them():
    content = workbook(cells(), [], [None, None], cells(flat="A2", alive="x"))
    assert faults(content) == [(5, "alive")]
    book = Workbook()
    book.active.append([])
    for number, line in {3: NAMES, 4: cells(alive="x")}.items():
        for column, value in enumerate(line, 1):
            book.active.cell(number, column, value)
    out = io.BytesIO()
    book.save(out)
    assert faults(out.getvalue()) == [(4, "alive")]


def test_columns_to_the_right_that_are_empty_do_not_count():
    assert faults(workbook([*cells(), None, " "], header=[*NAMES, None])) == []
    assert faults(workbook([*cells(), "note"])) == [(2, "")]


def test_a_formula_counts_as_what_it_came_to():
    assert faults(workbook(cells(alive="=60+8"))) == [(2, "alive")]  # never computed: an empty cell


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"PK\x03\x04", "no workbook"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "old Excel file"),
        (workbook(cells())[:-400], "no workbook"),
        (repacked(workbook(cells()), SHEET, b"<worksheet><sheetData><row"), "no workbook"),
        (repacked(workbook(cells()), "xl/workbook.xml", b""), "no workbook"),
    ],
)
def test_what_cannot_be_read_says_so(content, words):
    (fault,) = read_tally_file(content, today=TODAY).faults
    assert fault.row == 0 and words in fault.message


def test_a_bomb_is_refused_before_it_is_opened(monkeypatch):
    monkeypatch.setattr(tally_sheet, "UNPACKED_MOST", 1_000_000)
    bomb = repacked(workbook(cells()), SHEET, b" " * 5_000_000)
    assert len(bomb) < 20_000
    monkeypatch.setattr(tally_sheet, "_lines", pytest.fail)
    with pytest.raises(SheetFault, match="would fill more than"):
        sheet_lines(bomb)


def test_a_part_that_lies_of_its_size_is_refused():
    content = bytearray(repacked(workbook(cells()), SHEET, b" " * 5_000_000))
    with zipfile.ZipFile(io.BytesIO(bytes(content))) as archive:
        true = struct.pack("<L", archive.getinfo(SHEET).file_size)
    while true in content:
        at = content.index(true)
        content[at : at + 4] = struct.pack("<L", 100)
    with pytest.raises(SheetFault, match="no workbook"):
        sheet_lines(bytes(content))


def test_entities_that_grow_are_refused():
    # "Billion laughs" (https://en.wikipedia.org/wiki/Billion_laughs_attack); expat stops it since 2.4.1.
    entities = '<!ENTITY a0 "ha">' + "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    sheet = (
        f"<!DOCTYPE w [{entities}]><worksheet xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'>"
        '<sheetData><row r="1"><c r="A1" t="str"><v>&a9;</v></c></row></sheetData></worksheet>'
    )
    with pytest.raises(SheetFault, match="no workbook"):
        sheet_lines(repacked(workbook(cells()), SHEET, sheet.encode()))


def test_a_row_far_below_does_not_fill_the_memory():
    sheet = zipfile.ZipFile(io.BytesIO(workbook(cells()))).read(SHEET).replace(b'r="2"', b'r="1048576"')
    with pytest.raises(SheetFault, match="more than 100000 rows"):
        sheet_lines(repacked(workbook(cells()), SHEET, sheet))


def test_too_many_columns_are_refused():
    with pytest.raises(SheetFault, match="more than 60 columns"):
        sheet_lines(workbook([1] * 61, header=["x"] * 61))


def test_header_and_names_agree():
    assert HEADER.split(",") == NAMES
