"""A table on screen as a file for a spreadsheet."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.http import Http404, HttpResponse
from django.utils import timezone
from django.utils.text import slugify

from nursery.actions.sheets import csv_bytes, xlsx_bytes

TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def table_answer(kind: str, name: str, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> HttpResponse:
    """Return the table as a file to keep; ``kind`` is "csv" or "xlsx", 404 for any other."""
    if kind not in TYPES:
        raise Http404
    content = csv_bytes(header, rows) if kind == "csv" else xlsx_bytes(name[:31], header, rows)
    response = HttpResponse(content, content_type=TYPES[kind])
    file_name = f"{slugify(name)}-{timezone.localdate().isoformat()}.{kind}"
    response["Content-Disposition"] = f'attachment; filename="{file_name}"'
    return response
