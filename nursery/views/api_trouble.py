"""What the door for scripts says when it refuses, in words that a page may show."""

from typing import Any

from django.db import InterfaceError, OperationalError
from django.http import JsonResponse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

RETRY_AFTER_S = 1
REFUSALS: dict[str, tuple[int, str | Promise]] = {
    "malformed": (400, _("This cannot be read.")),
    "login": (401, _("Log in again; nothing was lost.")),
    "origin": (403, _("This was sent from a page of another site.")),
    "failed": (500, _("Something failed here that should not; nothing was lost.")),
    "busy": (503, _("The book is busy or cannot be reached; nothing was lost. Send it again.")),
    "full": (507, _("The disk on which the book lies is full; nothing was lost. Make room on it.")),
}
# How SQLite says it; other databases have states for it.
_FULL, _BUSY = "disk is full", ("is locked", "unable to open database file")
_PG_DISK_FULL = "53100"
# Of what PostgreSQL calls an operational error, these pass: no connection, no resources, a lock, a shutdown.
_PG_PASSING = ("08", "40", "53", "55", "57")


def refusal(error: str, message: str = "", **more: Any) -> JsonResponse:
    """Return the answer that names ``error``, with a ``message`` in place of the usual one."""
    status, usual = REFUSALS[error]
    answer = JsonResponse({"error": error, "message": message or str(usual), **more}, status=status)
    if error == "busy":
        answer.headers["Retry-After"] = str(RETRY_AFTER_S)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def trouble_answer(error: BaseException | None) -> JsonResponse | None:
    """Return the answer to a fault of the database that passes or that people can mend; None to any other."""
    if isinstance(error, InterfaceError):  # the connection was lost before this request
        return refusal("busy")
    if not isinstance(error, OperationalError):
        return None
    cause = error.__cause__
    if hasattr(cause, "sqlstate"):  # PostgreSQL; None where it did not answer at all
        state = cause.sqlstate
        if state == _PG_DISK_FULL:
            return refusal("full")
        return refusal("busy") if state is None or state.startswith(_PG_PASSING) else None
    text = str(error)
    if _FULL in text:
        return refusal("full")
    return refusal("busy") if any(words in text for words in _BUSY) else None
