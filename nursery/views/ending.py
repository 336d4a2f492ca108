"""How the checks of a flat ended: just closed, seen in part only, asked to be opened again."""

from collections.abc import Sequence
from uuid import UUID

from django.utils import timezone

from nursery.models import Check, Closing, Flat
from nursery.models.half import half_seen
from nursery.views.flat_story import DayLine


def ending_of(
    flat: Flat, closed_key: str, *, checks: Sequence[Check], days: Sequence[DayLine]
) -> dict[str, object]:
    """Return what the flat's page says of the end of its checks."""
    closed = _just_closed(checks, closed_key)
    half = half_seen(timezone.localdate(), flat)
    return {
        "closed": closed,
        "closed_day": next((line for line in days if closed and line.day == closed.day), None),
        "half": half[0] if half else None,
        "asked": list(Closing.objects.pending_asks().filter(check_ref__flat=flat)),
    }


def _just_closed(checks: Sequence[Check], key: str) -> Check | None:
    """Return the check that was closed on the page before this one."""
    try:
        uuid = UUID(key)
    except ValueError:
        return None
    return next((check for check in checks if check.uuid == uuid and check.is_closed), None)
