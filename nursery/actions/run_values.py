"""The values of a run as they are written down in a change: public keys and names, and the way back.

A person, pairing or session is kept as ``{"key", "name"}``, a sowing as ``{"code", "name"}``: the name as it
was said then, the key to find it again. Changes that were made at the bench hold the bare key or code.
"""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Model
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from nursery.calc.codes import spoken
from nursery.models import Pairing, Session, Sowing, Worker

ROWS: dict[str, Any] = {
    "pairing": Pairing,
    "worker": Worker,
    "second_worker": Worker,
    "scion_cut_by": Worker,
    "rootstock_cut_by": Worker,
    "session": Session,
}
SOWINGS = ("scion_sowings", "rootstock_sowings")


def readable(value: Any) -> Any:
    """Return a value as JSON that a reader understands without the database."""
    if isinstance(value, tuple):
        return sorted(
            ({"code": sowing.code, "name": f"{spoken(sowing.code)} ({sowing.lot})"} for sowing in value),
            key=lambda entry: entry["code"],
        )
    if isinstance(value, Session):
        return {"key": str(value.key), "name": session_name(value)}
    if isinstance(value, Model):
        return {"key": str(value.key), "name": str(value)}  # type: ignore[attr-defined]
    if isinstance(value, date | datetime):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value


def session_name(session: Session) -> str:
    """Name a session by its bench and its beginning, in the farm's time."""
    begun = date_format(timezone.localtime(session.started_at), "j F Y, H:i")
    return _("%(bench)s, %(begun)s") % {"bench": session.place, "begun": begun} if session.place else begun


def value_of(field: str, stored: Any) -> Any:
    """Return the value that ``readable`` (or the bench) wrote down; ValidationError if its row is gone."""
    if field in SOWINGS:
        codes = [_key(entry, "code") for entry in stored or []]
        found = {sowing.code: sowing for sowing in Sowing.objects.named().filter(code__in=codes)}
        return tuple(_there(found.get(code)) for code in codes)
    if stored is None:
        return None
    if field in ROWS:
        rows = ROWS[field].objects
        rows = rows.named() if field == "pairing" else rows
        return _there(rows.filter(key=_key(stored, "key")).first())
    if field == "grafted_on":
        return date.fromisoformat(stored)
    return Decimal(stored) if field == "rested_hours" else stored


def _key(stored: Any, name: str) -> str:
    return str(stored[name] if isinstance(stored, Mapping) else stored)


def _there(row: Any) -> Any:
    if row is None:
        raise ValidationError(_("What stood there before is no longer in the book."), code="gone")
    return row
