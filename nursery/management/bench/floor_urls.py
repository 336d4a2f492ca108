"""The floors: what a request costs at the least, with the same middleware and the same database settings."""

import json
import uuid
from functools import cache
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import include, path
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from nursery.models import Mark


@cache
def _insert() -> tuple[str, list[str]]:
    fields = [field for field in Mark._meta.concrete_fields if not field.primary_key]
    columns = ", ".join(str(field.column) for field in fields)
    places = ", ".join(["%s"] * len(fields))
    return f"INSERT INTO {Mark._meta.db_table} ({columns}) VALUES ({places})", [f.attname for f in fields]


def mark_values(check_id: int, cell_id: int) -> dict[str, Any]:
    """Return the columns of one mark as Python values."""
    now = timezone.now()
    return {
        "uuid": uuid.uuid4(), "at": now, "raw_at": now, "received_at": now, "device_id": None,
        "by_worker_id": None, "sent_by_id": None, "check_ref_id": check_id, "cell_id": cell_id,
        "kind": "seen", "state": "dead", "cause": "", "reason": "", "replaces": [], "is_clock_odd": False,
    }  # fmt: skip


@require_POST
@login_not_required
def one_insert(request: HttpRequest) -> JsonResponse:
    """Read the batch and insert one row, in a transaction of its own."""
    if not request.user.is_authenticated:
        return JsonResponse({}, status=401)
    sent = json.loads(request.body)
    sql, names = _insert()
    values = mark_values(sent["floor"]["check"], sent["floor"]["cell"])
    ready = [Mark._meta.get_field(name.removesuffix("_id")) for name in names]
    with connection.cursor() as cursor:
        cursor.execute(
            sql,
            [
                field.get_db_prep_save(values[name], connection)
                for field, name in zip(ready, names, strict=True)
            ],
        )
    return JsonResponse({"v": 1})


@require_safe
def plain_page(request: HttpRequest, flat: int) -> HttpResponse:
    """A page of buttons, one for each cell of a flat: one query, and a string of ints and fixed words."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT place_no, is_present FROM nursery_cell WHERE flat_id = %s", [flat])
        return HttpResponse(buttons(cursor.fetchall()))


def buttons(cells: list[tuple[int, bool]]) -> str:
    """Return the page as a string."""
    parts = [
        f'<button type="button" class="cell" data-place="{place}" data-state="{"firm" if here else "blank"}">'
        f"</button>"
        for place, here in cells
    ]
    return f"<!doctype html><html lang=en><title>Flat</title><main>{''.join(parts)}</main></html>"


urlpatterns = [
    path("floor/insert", one_insert),
    path("floor/page/<int:flat>", plain_page),
    path("", include("nursery.urls")),
]
