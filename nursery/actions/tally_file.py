"""Read a file of tallies: past seasons as counts, one row a run and day.

The file is CSV in UTF-8, with or without a byte order mark, its columns in any order under a header in any
case, divided by comma, semicolon or tab; or the first sheet of an XLSX workbook. Every fault is reported
with its row, counted as a spreadsheet counts them (the header is row 1), and its column. Nothing is
guessed: a date is year-month-day, a method is one of ours by its value or its shown name, and a count is a
whole number.
"""

import csv
import io
import re
import unicodedata
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import override

from nursery.actions.tally_sheet import SheetFault, is_workbook, sheet_lines
from nursery.models import Crop, Cultivar, Flat, Method, Season, Worker

COLUMNS = (
    "season", "flat", "crop", "scion", "rootstock", "method", "grafter", "grafted_on", "checked_on",
    "grafted", "alive", "wilting",
)  # fmt: skip
MAY_BE_EMPTY = ("season", "grafter", "wilting")
DELIMITERS = (",", ";", "\t")
GRAFTED_MOST = 100_000  # far above any flat; a larger number is a slip of the keyboard
FIRST_YEAR = 1900

_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_WHOLE = re.compile(r"[0-9]{1,9}")


@dataclass(frozen=True, slots=True, order=True)
class RowFault:
    """What is wrong and how to mend it. Row 0 is the file as a whole."""

    row: int
    column: str
    message: str

    def __str__(self) -> str:
        if not self.row:
            return self.message
        if not self.column:
            return _("row %(row)d: %(message)s") % {"row": self.row, "message": self.message}
        return _("row %(row)d, column %(column)s: %(message)s") % {
            "row": self.row,
            "column": self.column,
            "message": self.message,
        }


@dataclass(frozen=True, slots=True)
class FileRow:
    """One row of the file. An empty season or grafter was left empty there."""

    number: int
    season: str
    flat: str
    crop: str
    scion: str
    rootstock: str
    method: str
    grafter: str
    grafted_on: date
    checked_on: date
    grafted: int
    alive: int
    wilting: int


@dataclass(slots=True)
class TallyTable:
    """The rows that can be read, the faults of the others, and the columns that were not asked for."""

    rows: list[FileRow] = field(default_factory=list)
    faults: list[RowFault] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)


class _Fault(Exception):
    """A fault of one value; whoever catches it knows the row."""


def read_tally_file(content: bytes, *, today: date) -> TallyTable:
    """Return what stands in the file; ``today`` is the last day on which anything can have been counted."""
    table = TallyTable()
    try:
        lines = sheet_lines(content) if is_workbook(content) else _lines(_text(content))
        first = next((number for number, line in enumerate(lines) if any(line)), 0)
        header = _header(lines[first] if lines else [], table)
    except (_Fault, SheetFault) as fault:
        table.faults.append(RowFault(0, "", str(fault)))
        return table
    for number, values in enumerate(lines[first + 1 :], first + 2):
        if any(value.strip() for value in values):
            _read_row(number, values, header, table=table, today=today)
    if not table.rows and not table.faults:
        table.faults.append(RowFault(0, "", _("The file has a header but no rows.")))
    return table


def _text(content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _Fault(_("The file is in UTF-16. Save it as “CSV UTF-8” and choose it again."))
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        raise _Fault(
            _("The file is not in UTF-8 (row %d). Save it as “CSV UTF-8” and choose it again.") % row
        ) from error
    if "\0" in text:
        raise _Fault(_("This is not a text file. Save the table as “CSV UTF-8” and choose it again."))
    if not text.strip():
        raise _Fault(_("The file is empty."))
    return text


def _lines(text: str) -> list[list[str]]:
    first = text.lstrip("\r\n").split("\n", 1)[0]
    delimiter = max(DELIMITERS, key=lambda sign: len(_known(first.split(sign))))
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise _Fault(
            _("The file cannot be divided into columns (%s). Look for a quotation mark without its pair.")
            % error
        ) from error
    return lines


def _known(names: list[str]) -> list[str]:
    return [name for name in (_plain_name(name) for name in names) if name in COLUMNS]


def _plain_name(name: str) -> str:
    return name.strip().strip('"').strip().lower()


def _header(names: list[str], table: TallyTable) -> list[str]:
    header = [_plain_name(name) for name in names]
    missing = [name for name in COLUMNS if name not in header]
    needed = [name for name in missing if name not in MAY_BE_EMPTY]
    table.unread = [name for name in header if name and name not in COLUMNS]
    twice = [name for name, times in Counter(_known(header)).items() if times > 1]
    if twice:
        raise _Fault(_("A column stands there twice: %s.") % ", ".join(twice))
    if needed:
        raise _Fault(
            _("Columns are missing: %(missing)s. The first row must name the columns: %(all)s.")
            % {"missing": ", ".join(needed), "all": ", ".join(COLUMNS)}
        )
    if missing and table.unread:
        # Perhaps a slip: then "wiltng" would be left out without a word.
        raise _Fault(
            _("Column %(unread)s is not known, and %(missing)s is missing. Rename it or take it out.")
            % {"unread": ", ".join(table.unread), "missing": ", ".join(missing)}
        )
    return header


def _read_row(number: int, values: list[str], header: list[str], *, table: TallyTable, today: date) -> None:
    if len(values) != len(header):
        text = _("%(found)d columns where the header has %(wanted)d; look for a divider within a name.")
        fault = text % {"found": len(values), "wanted": len(header)}
        table.faults.append(RowFault(number, "", fault))
        return
    given = dict(zip(header, values, strict=True))
    read: dict[str, Any] = {}
    faults: list[RowFault] = []
    for column in COLUMNS:
        try:
            read[column] = _value(column, given.get(column, ""))
        except _Fault as fault:
            faults.append(RowFault(number, column, str(fault)))
    faults += [RowFault(number, column, text) for column, text in _contradictions(read, today)]
    if faults:
        table.faults += faults
    else:
        table.rows.append(FileRow(number=number, **read))


def _value(column: str, text: str) -> Any:
    text = " ".join(unicodedata.normalize("NFC", text).split())
    if not text:
        if column not in MAY_BE_EMPTY:
            raise _Fault(_("is empty."))
        return 0 if column == "wilting" else ""
    return _READERS.get(column, _name)(text, column)


def _name(text: str, column: str) -> str:
    longest = _LONGEST[column]
    if len(text) > longest:
        raise _Fault(
            _("is longer than %(longest)d characters (%(length)d).")
            % {"longest": longest, "length": len(text)}
        )
    if not text.isprintable():
        raise _Fault(_("holds a character that cannot be printed."))
    return text


def _date(text: str, column: str) -> date:
    try:
        if _DATE.fullmatch(text) and int(text[:4]) >= FIRST_YEAR:
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise _Fault(_("“%s” is not a date. Write year-month-day, such as 2026-03-02.") % _short(text))


def _whole(text: str, column: str) -> int:
    if not _WHOLE.fullmatch(text):
        raise _Fault(_("“%s” is not a whole number of plants.") % _short(text))
    if int(text) > GRAFTED_MOST:
        raise _Fault(
            _("%(number)s plants are more than a flat can hold (at most %(most)d).")
            % {"number": text, "most": GRAFTED_MOST}
        )
    return int(text)


def _method(text: str, column: str) -> str:
    for method in Method:
        if text.casefold() in {method.value.casefold(), *_labels(method)}:
            return method.value
    raise _Fault(
        _("“%(text)s” is not a method. Write one of: %(methods)s.")
        % {"text": _short(text), "methods": ", ".join(Method.values)}
    )


def _labels(method: Method) -> set[str]:
    with override("en"):
        in_english = str(method.label)
    return {str(method.label).casefold(), in_english.casefold()}


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:39]}…"


def _contradictions(read: dict[str, Any], today: date) -> list[tuple[str, str]]:
    """Return (column, message) for values that are fine alone but not together."""
    found = []
    grafted, alive, wilting = read.get("grafted"), read.get("alive"), read.get("wilting")
    grafted_on, checked_on = read.get("grafted_on"), read.get("checked_on")
    if grafted == 0:
        found.append(("grafted", _("must be at least 1.")))
    elif grafted is not None and alive is not None and alive > grafted:
        text = _("%(alive)d alive are more than the %(grafted)d grafted.")
        found.append(("alive", text % {"alive": alive, "grafted": grafted}))
    if alive is not None and wilting is not None and wilting > alive:
        text = _("%(wilting)d wilting are more than the %(alive)d alive, and wilting counts as alive.")
        found.append(("wilting", text % {"wilting": wilting, "alive": alive}))
    if grafted_on and checked_on and checked_on < grafted_on:
        text = _("%(checked)s lies before the grafting on %(grafted)s.")
        found.append(("checked_on", text % {"checked": checked_on, "grafted": grafted_on}))
    for column, day in (("grafted_on", grafted_on), ("checked_on", checked_on)):
        if day and day > today:
            found.append((column, _("%s lies in the future.") % day))
    return found


_READERS: dict[str, Callable[[str, str], Any]] = {
    "method": _method,
    "grafted_on": _date,
    "checked_on": _date,
    "grafted": _whole,
    "alive": _whole,
    "wilting": _whole,
}
_LONGEST: dict[str, int] = {
    "season": Season._meta.get_field("name").max_length or 0,
    "flat": Flat._meta.get_field("own_name").max_length or 0,
    "crop": Crop._meta.get_field("name").max_length or 0,
    "scion": Cultivar._meta.get_field("name").max_length or 0,
    "rootstock": Cultivar._meta.get_field("name").max_length or 0,
    "grafter": Worker._meta.get_field("name").max_length or 0,
}
